"""From a source to snapshots: drains records, feeds the engine, keeps what is shown.

Everything runs in small bites, so that a long session read at once never freezes the
screen.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from bankwise.adapters.errors import AdapterError
from bankwise.adapters.records import Exchange, FlagRecord, Header, Record
from bankwise.adapters.snapshot import next_requests
from bankwise.adapters.source import LinkState, Source
from bankwise.signals import evidence as codes
from bankwise.signals.columns import Columns
from bankwise.signals.severity import Severity
from bankwise.tui import feed_rows
from bankwise.tui.advice import with_advice
from bankwise.tui.feed_evidence import Evidence
from bankwise.tui.feed_kinds import Playing, Reader
from bankwise.tui.snapshot import Flag, Link, Snapshot

if TYPE_CHECKING:
    from bankwise.signals.engine import FlagEvent

_BITE = 250
_BUDGET_S = 0.03
_FAR, _MOST = 2000, 3000
_FAR_BUDGET_S = 0.08
_COSTLY_S = 2.0
_RATE_S = 5.0
_ASK_S = 0.4
_QUIET_S = 3.0
"""So long nothing more of codes may come over a link that was lost and is back, until
what it swallowed is asked for again. Our choice: requests that wait take less."""
_CALM_S = 0.25
_SOON_S = 0.5


def start_reader(header: Header) -> Reader:
    """The real reader of a session's records."""
    from bankwise.adapters.analysis import Analysis
    from bankwise.tui.limits import in_force

    return Analysis(header, in_force())


@dataclass(frozen=True, slots=True)
class Told:
    """A flag that rose or cleared, and whether it happened long before now."""

    event: FlagEvent
    late: bool

    @property
    def urgent(self) -> bool:
        """Whether something to act on has risen just now."""
        rose = not self.late and str(self.event.state) == "raised"
        return rose and self.event.severity >= Severity.ACT


class Feed:
    """One source, read for the screen.

    Args:
        source: started by its owner.
        reader: makes the reader once the header is known.
    """

    def __init__(
        self, source: Source, reader: Callable[[Header], Reader] = start_reader
    ) -> None:
        self.source = source
        self._make = reader
        self._reader: Reader | None = None
        self._waiting: deque[Record] = deque()
        self._evidence = Evidence()
        self._from = 0
        self._epoch = getattr(source, "epoch", 0)
        self._seen: deque[tuple[float, int]] = deque(maxlen=64)
        self._exchanges = 0
        self._asked: set[str] | None = None
        self._look_at = 0.0
        self._left = 0
        self._cut = False
        self._grew: tuple[int, float] = (0, 0.0)
        self._costly: dict[str, tuple[float, Any]] = {}
        self._read_s = 0.0
        self._busy = False

    @property
    def behind(self) -> int:
        """Records drained but not yet read."""
        return len(self._waiting)

    def pull(self, budget_s: float = _BUDGET_S) -> list[Told]:
        """Reads what has come in, as far as the time allows.

        Returns:
            Flags that rose or cleared; each is also handed back to the source, so
            that the session keeps what the person was told.
        """
        epoch = getattr(self.source, "epoch", 0)
        if epoch != self._epoch:
            self._epoch = epoch
            self._reader = None
            self._waiting.clear()
            self._evidence.clear()
            self._from = 0
            self._costly.clear()
            self._read_s = 0.0
        self._waiting.extend(self.source.drain())
        header = self.source.header
        if header is None:
            return []
        if self._reader is None:
            self._reader = self._make(header)
        told: list[Told] = []
        far = len(self._waiting) > _FAR
        until = time.perf_counter() + (_FAR_BUDGET_S if far and budget_s else budget_s)
        while self._waiting:
            # Bigger bites cost less each; but keys must not wait long.
            count = max(_BITE, min(len(self._waiting) // 20, _MOST))
            count = min(count, len(self._waiting))
            bite = [self._waiting.popleft() for _ in range(count)]
            self._keep(bite)
            late = bool(self._waiting)
            for event in self._reader.feed(bite):
                self._note(event)
                told.append(Told(event, late))
                self._costly.pop("flags", None)
            if time.perf_counter() >= until:
                break
        self._seen.append((self.source.now(), self._exchanges))
        self._read_on()
        return told

    def _keep(self, records: list[Record]) -> None:
        self._exchanges += sum(isinstance(record, Exchange) for record in records)
        self._read_s = max(self._read_s, records[-1].t)
        for record in records:
            self._evidence.keep(record)

    def _note(self, event: FlagEvent) -> None:
        self.source.note(
            FlagRecord(event.t, event.id, str(event.state), event.about, event.text)
        )

    def read_codes(self) -> None:
        """Reads codes and their history afresh, a few requests after the others.

        What was read stays until something new takes its place.
        """
        self._from = len(self._evidence.kept)
        self._asked = set()
        self._cut = False
        self._look_at = 0.0

    def _read_on(self) -> None:
        """Asks what the answers so far make worth asking, until nothing is left."""
        clock = time.perf_counter()
        header = self.source.header
        if self._asked is None or header is None or clock < self._look_at:
            return
        self._look_at = clock + _ASK_S
        if self._swallowed(clock):
            self._asked.clear()
        asked = self._evidence.asked_since(self._from)
        left = next_requests(asked, header.adapter.protocol)
        fresh = [request for request in left if request not in self._asked]
        self._left = len(left)
        if fresh:
            self.source.ask(*fresh)
            self._asked.update(fresh)
        elif not left:
            self._asked = None

    def _swallowed(self, clock: float) -> bool:
        """Whether a link that was lost is back, and no answer comes any more."""
        lost = self.source.state is not LinkState.UP
        self._cut |= lost
        count = len(self._evidence.kept)
        if lost or count != self._grew[0]:
            self._grew = (count, clock)
        if not self._cut or clock - self._grew[1] < _QUIET_S:
            return False
        self._cut = False
        return True

    def snapshot(self, needs: frozenset[str], lag_ms: float = 0.0) -> Snapshot:
        """The session so far, with the costly parts only where needed."""
        self._busy = False
        now = self.source.now()
        reader, header = self._reader, self.source.header
        if reader is None or header is None:
            return Snapshot(
                now, Columns(), feed_rows.NoTicks(), link=self._link(), lag_ms=lag_ms
            )
        if self._waiting and isinstance(self.source, Playing):
            # A recording is shown as far as it has been read.
            now = min(now, self._read_s)
        engine, protocol = reader.engine, header.adapter.protocol
        self._evidence.layout = reader.layout
        found = self._found(protocol)
        shot = Snapshot(
            now,
            reader.columns,
            engine.frame,
            self._lately("flags", lambda: _flags(engine), _CALM_S),
            link=self._link(),
            holes=tuple(reader.holes()),
            lag_ms=lag_ms,
            exchanges_hz=self._hz(),
            unread=self._left if self._asked is not None else None,
            evidence=found,
            code_words=feed_rows.code_words(found),
            behind=len(self._waiting),
            windows=self._lately(
                "windows", lambda: self._evidence.windows(protocol, reader.columns)
            ),
        )
        return replace(shot, **self._needed(needs, engine, protocol))

    def _needed(
        self, needs: frozenset[str], engine: Any, protocol: str
    ) -> dict[str, Any]:
        made: dict[str, Any] = {}
        if "causes" in needs:
            made["causes"] = self._lately("causes", lambda: feed_rows.causes(engine))
            made["unsaid"] = self._lately("unsaid", lambda: feed_rows.unsaid(engine))
        if "figures" in needs:
            made["figures"] = self._lately("figures", engine.figures)
        found = self._found(protocol)
        if found is not None and "evidence" in needs:
            made["code_against"] = self._lately(
                "against", lambda: feed_rows.against(found, engine)
            )
        return made

    def _found(self, protocol: str) -> codes.Snapshot | None:
        made: codes.Snapshot | None = self._lately(
            "evidence", lambda: self._evidence.found(protocol), _SOON_S
        )
        return made

    def _lately(
        self, name: str, make: Callable[[], Any], every_s: float = _COSTLY_S
    ) -> Any:
        clock = time.perf_counter()
        made, value = self._costly.get(name, (float("-inf"), None))
        # One costly part a frame: together they would make a frame late.
        first = made == float("-inf")
        if first or (clock - made > every_s and not self._busy):
            self._busy = self._busy or every_s >= _COSTLY_S
            value = make()
            self._costly[name] = (clock, value)
        return value

    def _hz(self) -> float:
        recent = [row for row in self._seen if row[0] >= self._seen[-1][0] - _RATE_S]
        if len(recent) < 2:
            return 0.0
        (a, before), (b, after) = recent[0], recent[-1]
        return (after - before) / (b - a) if b > a else 0.0

    def _link(self) -> Link:
        source = self.source
        record = source.recording
        link = Link(
            source.kind,
            source.state.value,
            source.status + _advice(source),
            record.path.name if record.path is not None else "",
            record.size,
            record.sealed_s,
            record.error or "",
        )
        if isinstance(source, Playing):
            return Link(
                link.kind,
                link.state,
                link.words,
                speed=source.speed,
                playing=not source.paused,
                length_s=source.duration_s,
            )
        return link


def _flags(engine: Any) -> tuple[Flag, ...]:
    flags = [feed_rows.flag(span, engine.thresholds) for span in engine.flags]
    return tuple(sorted(flags, key=lambda flag: -flag.first_s))


def _advice(source: Source) -> str:
    """What to do about the link's error, to stand after the source's own words."""
    error = getattr(source, "error", None)
    if not isinstance(error, AdapterError):
        return ""
    return with_advice(error).removeprefix(str(error))
