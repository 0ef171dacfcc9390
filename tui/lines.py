"""Flags and state changes as plain lines, for who cannot watch a screen.

Made to be spoken as well as read: severity in words, then the sentence, the
flag's name last.
"""

from __future__ import annotations

from typing import TextIO

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.live import Live
from bankwise.adapters.records import FlagRecord, LinkRecord, Record
from bankwise.signals.severity import Severity
from bankwise.tui.limits import in_force
from bankwise.tui.print_check import verdict
from bankwise.tui.words import clock

BELL = "\a"
_LOOPS = {
    1: "open loop, still cold",
    2: "closed loop",
    8: "open loop because of a fault",
    16: "closed loop, with a fault",
}
"""Loop states worth a line, in words; engine off and open on demand come and go with
the key and the pedal. Source of the numbers: from memory of SAE J1979, PID 03."""


class Lines:
    """Judges a drive while it is recorded and prints what changes.

    Args:
        source: the drive; what is printed is kept in its session.
        out: where lines go, one a change, each flushed.
        bell: rings for flags that ask to act or stop.
    """

    def __init__(self, source: Live, out: TextIO, bell: bool = True) -> None:
        self._source = source
        self._out = out
        self._bell = bell
        self._analysis: Analysis | None = None
        self._early: list[Record] = []
        self._loops: dict[str, int] = {}
        self._told_to: dict[str, int] = {}

    def seen(self, records: list[Record]) -> None:
        """Takes the next records and prints what they changed."""
        for record in records:
            if isinstance(record, LinkRecord):
                why = f": {record.why}" if record.why else ""
                self._print(record.t, f"link {record.state}{why}")
        if self._analysis is None:
            header = self._source.header
            if header is None:
                self._early += records
                return
            self._analysis = Analysis(header, in_force())
            records = [*self._early, *records]
            self._early = []
        for event in self._analysis.feed(records):
            self._source.note(
                FlagRecord(event.t, event.id, event.state, event.about, event.text)
            )
            raised = event.state == "raised"
            urgent = raised and event.severity >= Severity.ACT
            ring = BELL if urgent and self._bell else ""
            sign = event.severity.value.upper() if raised else "cleared"
            told = event.text if raised else ""
            place = "" if told.startswith(event.about) else f"{event.about}: "
            words = f"{place}{told}".rstrip(": ")
            self._print(event.t, f"{ring}{sign}: {words} ({event.id})")
        self._tell_loops(self._analysis)

    def verdict(self) -> str:
        """What the whole drive supports, in one sentence; empty when it never began."""
        if self._analysis is None:
            return ""
        self._analysis.finish()
        engine = self._analysis.engine
        return f"Verdict: {verdict(engine.explanations(), engine.cannot_tell())}"

    def _tell_loops(self, analysis: Analysis) -> None:
        """Tells when a bank's fuel control opens or closes."""
        for bank in ("b1", "b2"):
            column = analysis.columns[f"fuel_status_{bank}"]
            start = self._told_to.get(bank, 0)
            for t, value in zip(column.t[start:], column.v[start:], strict=True):
                code = int(value)
                if code not in _LOOPS or code == self._loops.get(bank):
                    continue
                self._loops[bank] = code
                self._print(float(t), f"{bank.upper()}: {_LOOPS[code]}")
            self._told_to[bank] = len(column)

    def _print(self, t: float, text: str) -> None:
        print(f"{clock(t):>7}  {text}", file=self._out, flush=True)
