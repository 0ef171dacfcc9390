"""Flags and state changes as plain lines, for who cannot watch a screen."""

from __future__ import annotations

from typing import TextIO

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.live import Live
from bankwise.adapters.records import FlagRecord, LinkRecord, Record
from bankwise.signals.severity import Severity
from bankwise.tui.limits import in_force
from bankwise.tui.print_check import SIGNS
from bankwise.tui.words import clock

BELL = "\a"


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
            urgent = event.state == "raised" and event.severity >= Severity.ACT
            sign = SIGNS[event.severity] if event.state == "raised" else "✓"
            ring = BELL if urgent and self._bell else ""
            told = f": {event.text}" if event.state == "raised" else " cleared"
            self._print(event.t, f"{ring}{sign} {event.about} {event.id}{told}")

    def _print(self, t: float, text: str) -> None:
        print(f"{clock(t):>7}  {text}", file=self._out, flush=True)
