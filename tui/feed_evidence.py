"""What was read of codes and their history, made again only when more was read."""

from __future__ import annotations

from dataclasses import replace

from bankwise.adapters.newest_answers import BITMAPS, plain
from bankwise.adapters.pids import Layout
from bankwise.adapters.records import CodesRecord, Exchange, Record
from bankwise.adapters.snapshot import snapshot
from bankwise.signals import evidence as codes
from bankwise.signals.columns import Columns
from bankwise.signals.similar_conditions import Entered, entered_at, window_of

_OVERLAP_S = 10.0
"""How far back a window is looked for again; longer than a stay in it. Unit: s."""

_NOTHING: tuple[int, Layout, codes.Snapshot | None] = (0, Layout.TWO_BANKS, None)


class Evidence:
    """The records that tell of codes or the car, and what they come to.

    Attributes:
        kept: those records, in order.
        layout: which places the sensor PIDs of a freeze frame stand for.
    """

    def __init__(self) -> None:
        self.kept: list[Record] = []
        self.layout = Layout.TWO_BANKS
        self._made: tuple[int, Layout, codes.Snapshot | None] = _NOTHING
        self._entered: dict[str, Entered] = {}
        self._looked_s = 0.0

    def clear(self) -> None:
        """Forgets everything."""
        self.kept.clear()
        self._made = _NOTHING
        self._entered.clear()
        self._looked_s = 0.0

    def keep(self, record: Record) -> None:
        """Keeps a record if it tells of codes or the car."""
        if isinstance(record, Exchange):
            if is_evidence(record.q):
                self.kept.append(record)
        elif isinstance(record, CodesRecord):
            self.kept.append(record)

    def asked_since(self, count: int) -> list[Record]:
        """What was asked after the first `count` records, and what can be asked.

        That was told at the start, and need not be asked again.
        """
        told = [r for r in self.kept[:count] if _tells_support(r)]
        return [*told, *self.kept[count:]]

    def found(self, protocol: str) -> codes.Snapshot | None:
        """What the records come to; None before the first."""
        if self._made[:2] != (len(self.kept), self.layout):
            made = snapshot(self.kept, protocol, self.layout) if self.kept else None
            self._made = (len(self.kept), self.layout, made)
        return self._made[2]

    def windows(self, protocol: str, columns: Columns) -> tuple[Entered, ...]:
        """Each freeze frame's conditions, and when the drive had been in them.

        A drive that tells no engine speed or no load knows nothing of them: empty.
        """
        found = self.found(protocol)
        if found is None or not len(columns["rpm"]) or not len(columns["load_pct"]):
            return ()
        since = max(self._looked_s - _OVERLAP_S, 0.0)
        entered: dict[str, Entered] = {}
        for frame in found.frames:
            code, window = frame.code, window_of(frame.values)
            if not code or window is None:
                continue
            before = self._entered.get(code)
            if before is None or before.window != window:
                before = Entered(code, window, entered_at(window, columns))
            elif before.at_s is None:
                before = replace(before, at_s=entered_at(window, columns, since))
            entered[code] = before
        self._entered = entered
        self._looked_s = columns.end_s
        return tuple(entered.values())


def _tells_support(record: Record) -> bool:
    return isinstance(record, Exchange) and plain(record.q) in BITMAPS


def is_evidence(request: str) -> bool:
    """Whether an answer tells of codes or the car, and not of a moment's values."""
    service = request[:2]
    if service == "AT":
        return False
    if service == "01":
        return request[:4] in _EVIDENCE_PIDS
    if service == "22":
        return request[:6] in _EVIDENCE_IDENTIFIERS
    return True


_EVIDENCE_IDENTIFIERS = frozenset(
    f"22F4{number}"
    for number in ("00", "20", "21", "30", "31", "40", "41", "44", "4D", "4E")
)
_EVIDENCE_PIDS = frozenset(
    ("0100", "0101", "0120", "0121", "0130", "0131", "0140", "0141", "014D", "014E")
)
