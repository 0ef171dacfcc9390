"""From a source to snapshots: drains records, feeds the engine, keeps what is shown.

Everything runs in small bites, so that a long session read at once never freezes the
screen.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from bankwise.adapters.code_table import description, failure_type
from bankwise.adapters.records import (
    CodesRecord,
    Exchange,
    FlagRecord,
    Header,
    Record,
)
from bankwise.adapters.snapshot import next_requests, snapshot
from bankwise.adapters.source import Source
from bankwise.signals import evidence as codes
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.columns import Columns
from bankwise.signals.contradictions import contradictions
from bankwise.tui.snapshot import Cause, Flag, Limit, Link, Snapshot, Unsaid

if TYPE_CHECKING:
    from bankwise.signals.engine import FlagEvent, FlagSpan

_BITE = 250
_BUDGET_S = 0.03
_FAR, _MOST = 2000, 3000
_FAR_BUDGET_S = 0.08
_COSTLY_S = 2.0
_RATE_S = 5.0
_ASK_S = 0.4


class Engine(Protocol):
    """What the screen reads of the engine."""

    frame: Any
    flags: list[FlagSpan]

    def explanations(self) -> list[Any]:
        """The ledger, most likely first."""
        ...

    def figures(self) -> dict[str, Any]:
        """Figures of the session, ready for JSON."""
        ...

    def cannot_tell(self) -> list[Any]:
        """What the data cannot tell."""
        ...


class Reader(Protocol):
    """Records in, columns and engine out."""

    @property
    def columns(self) -> Columns:
        """What was measured so far."""
        ...

    @property
    def engine(self) -> Any:
        """The engine that watches the columns."""
        ...

    def feed(self, records: list[Record]) -> list[FlagEvent]:
        """Takes records in order; returns the flags that rose or cleared."""
        ...

    def finish(self) -> list[FlagEvent]:
        """Judges the last moments, once no more records will come."""
        ...

    def holes(self) -> list[tuple[float, float]]:
        """Stretches without a usable answer. Unit: s."""
        ...


@runtime_checkable
class Playing(Protocol):
    """What a replay can do beyond a source."""

    speed: float
    epoch: int

    @property
    def paused(self) -> bool:
        """Whether it stands still."""
        ...

    @property
    def duration_s(self) -> float:
        """Length of the session. Unit: s."""
        ...

    def pause(self) -> None:
        """Stands still."""
        ...

    def resume(self) -> None:
        """Goes on."""
        ...

    def seek(self, t: float) -> None:
        """Goes to a moment of the session. Unit: s."""
        ...


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
        self._kept: list[Record] = []
        self._epoch = getattr(source, "epoch", 0)
        self._seen: deque[tuple[float, int]] = deque(maxlen=64)
        self._exchanges = 0
        self._asked: set[str] | None = None
        self._look_at = 0.0
        self._left = 0
        self._costly: dict[str, tuple[float, Any]] = {}
        self._made: tuple[object, tuple[Flag, ...]] = (None, ())

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
            self._kept.clear()
            self._costly.clear()
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
            if time.perf_counter() >= until:
                break
        self._seen.append((self.source.now(), self._exchanges))
        self._read_on()
        return told

    def _keep(self, records: list[Record]) -> None:
        for record in records:
            if isinstance(record, Exchange):
                self._exchanges += 1
                if is_evidence(record.q):
                    self._kept.append(record)
            elif isinstance(record, CodesRecord):
                self._kept.append(record)

    def _note(self, event: FlagEvent) -> None:
        self.source.note(
            FlagRecord(event.t, event.id, str(event.state), event.about, event.text)
        )

    def read_codes(self) -> None:
        """Reads codes and their history afresh, a few requests after the others."""
        self._kept.clear()
        self._costly.pop("evidence", None)
        self._asked = set()
        self._look_at = 0.0

    def _read_on(self) -> None:
        """Asks what the answers so far make worth asking, until nothing is left."""
        clock = time.perf_counter()
        header = self.source.header
        if self._asked is None or header is None or clock < self._look_at:
            return
        self._look_at = clock + _ASK_S
        left = next_requests(self._kept, header.adapter.protocol)
        fresh = [request for request in left if request not in self._asked]
        self._left = len(left)
        if fresh:
            self.source.ask(*fresh)
            self._asked.update(fresh)
        elif not left:
            self._asked = None

    def snapshot(self, needs: frozenset[str], lag_ms: float = 0.0) -> Snapshot:
        """The session so far, with the costly parts only where needed."""
        now = self.source.now()
        if self._reader is None:
            return Snapshot(
                now, Columns(), _NoTicks(), link=self._link(), lag_ms=lag_ms
            )
        engine = self._reader.engine
        causes: tuple[Cause, ...] = ()
        unsaid: tuple[Unsaid, ...] = ()
        figures: Mapping[str, Any] = {}
        evidence: codes.Snapshot | None = None
        if "causes" in needs:
            causes = self._lately("causes", lambda: _causes(engine))
            unsaid = self._lately("unsaid", lambda: _unsaid(engine))
        if "figures" in needs:
            figures = self._lately("figures", engine.figures)
        if "evidence" in needs:
            evidence = self._lately("evidence", self._evidence)
        return Snapshot(
            now,
            self._reader.columns,
            engine.frame,
            self._flags(engine),
            causes,
            unsaid,
            figures,
            self._link(),
            tuple(self._reader.holes()),
            lag_ms,
            self._hz(),
            evidence,
            self._left if self._asked is not None else None,
            _code_words(evidence),
            len(self._waiting),
            self._lately("against", lambda: _against(evidence, engine))
            if evidence is not None
            else {},
        )

    def _lately(self, name: str, make: Callable[[], Any]) -> Any:
        clock = time.perf_counter()
        made, value = self._costly.get(name, (float("-inf"), None))
        if clock - made > _COSTLY_S:
            value = make()
            self._costly[name] = (clock, value)
        return value

    def _evidence(self) -> codes.Snapshot | None:
        header = self.source.header
        if header is None or not self._kept:
            return None
        return snapshot(self._kept, header.adapter.protocol)

    def _hz(self) -> float:
        recent = [row for row in self._seen if row[0] >= self._seen[-1][0] - _RATE_S]
        if len(recent) < 2:
            return 0.0
        (a, before), (b, after) = recent[0], recent[-1]
        return (after - before) / (b - a) if b > a else 0.0

    def _flags(self, engine: Any) -> tuple[Flag, ...]:
        flags = [_flag(span, engine.thresholds) for span in engine.flags]
        return tuple(sorted(flags, key=lambda flag: -flag.first_s))

    def _link(self) -> Link:
        source = self.source
        record = source.recording
        link = Link(
            source.kind,
            source.state.value,
            source.status,
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


def is_evidence(request: str) -> bool:
    """Whether an answer tells of codes or the car, and not of a moment's values."""
    service = request[:2]
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


class _NoTicks:
    """Before the first answer there is nothing derived."""

    @property
    def ticks(self) -> Any:
        """No tick."""
        return Columns()["rpm"].t

    def __getitem__(self, name: str) -> Any:
        return Columns()[name].v

    def why(self, name: str) -> str:
        """Nothing is known yet."""
        return ""


def _code_words(found: codes.Snapshot | None) -> dict[str, str]:
    if found is None:
        return {}
    known = {code for reading in found.codes.values() for code in reading.codes}
    return {
        code: ", ".join(filter(None, (description(code), failure_type(code))))
        for code in known
    }


def _against(found: codes.Snapshot, engine: Any) -> dict[str, str]:
    return {one.code: one.text for one in contradictions(found, engine.frame)}


def _flag(span: FlagSpan, thresholds: Any) -> Flag:
    rule = span.rule
    return Flag(
        span.id,
        span.about,
        span.severity,
        span.text,
        span.first_s,
        span.last_s,
        span.total_s,
        tuple((a, b) for a, b in span.spans),
        span.active,
        rule.does_not_prove,
        rule.causes,
        rule.next,
        CAUTIONS.get(rule.caution, ""),
        rule.source,
        tuple(
            Limit(
                row.name,
                row.value,
                row.unit,
                row.source
                if row.changed_from is None
                else f"changed by hand, shipped {row.changed_from:g}",
            )
            for row in map(thresholds.row, dict.fromkeys((*rule.limits, rule.hold)))
        ),
    )


def _causes(engine: Engine) -> tuple[Cause, ...]:
    return tuple(
        Cause(e.id, e.about, e.share, tuple(e.for_), tuple(e.against), e.next)
        for e in engine.explanations()
    )


def _unsaid(engine: Engine) -> tuple[Unsaid, ...]:
    return tuple(Unsaid(u.about, u.what, u.why) for u in engine.cannot_tell())
