"""Before and after a repair: what changed where both drives can tell.

Nothing is compared that was not driven in both. The verdict is one of three, with its
reasons: proven, not proven yet, worse.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum

from bankwise.signals.catalogue import BANKS
from bankwise.signals.claims import exists
from bankwise.signals.code_history import CodeNote, code_notes
from bankwise.signals.driven import driven, missing_phases, not_shared
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import MonitorResult, Snapshot
from bankwise.signals.figures import ONCE_BANK, ONCE_ENGINE, ONCE_SENSOR, last
from bankwise.signals.places import EACH_BANK, EACH_SENSOR, Place
from bankwise.signals.repair_verdict import lacking, proof, swapped, worse
from bankwise.signals.severity import Severity
from bankwise.signals.shared_cells import SharedCell, shared_cells
from bankwise.signals.tests_done import newest_tests
from bankwise.signals.trim_proof import out_of_limits_before_only


class Verdict(Enum):
    """What the pair of drives shows."""

    PROVEN = "repair proven"
    NOT_YET = "not proven yet"
    WORSE = "worse"


class NotComparable(ValueError):
    """The two sessions are not a pair: says why."""


@dataclass(frozen=True, slots=True)
class Drive:
    """One analysed session: the engine after its last tick, and what was read.

    `session` is its identity and `started` its RFC 3339 moment in UTC, both empty when
    not known. `cleared_s` are the moments at which codes were cleared during it,
    `odd` what was odd about its file.
    """

    name: str
    engine: Engine
    snapshot: Snapshot
    vin: str | None = None
    session: str = ""
    started: str = ""
    cleared_s: tuple[float, ...] = ()
    odd: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FigureChange:
    """One figure of both drives; None where a drive could not tell."""

    name: str
    before: float | None
    after: float | None


@dataclass(frozen=True, slots=True)
class FlagChange:
    """One flag over both drives.

    Attributes:
        id, about, severity: of the flag.
        change: gone, new, still, or `not driven` when the later drive lacked the
            driving in which the flag rose.
        why: what was missing, when it was not driven.
    """

    id: str
    about: str
    severity: Severity
    change: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class MarginChange:
    """One on-board test result in both readings; margins as shares of the span."""

    about: str
    title: str
    before: float | None
    after: float | None


@dataclass(frozen=True, slots=True)
class TestChange:
    """One test that a person did in either drive; empty words where it was not done."""

    __test__ = False

    title: str
    about: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that two drives say together."""

    verdict: Verdict
    reasons: tuple[str, ...]
    cells: tuple[SharedCell, ...]
    flags: tuple[FlagChange, ...]
    figures: tuple[FigureChange, ...]
    codes_gone: tuple[str, ...]
    codes_new: tuple[str, ...]
    codes_still: tuple[str, ...]
    margins: tuple[MarginChange, ...]
    not_shared: tuple[str, ...]
    tests: tuple[TestChange, ...] = ()
    code_notes: tuple[CodeNote, ...] = ()


def compare(before: Drive, after: Drive) -> Comparison:
    """Compares two drives of one car.

    Raises:
        NotComparable: the VINs differ, both are one recording, or one holds nothing.
    """
    if before.session and before.session == after.session:
        raise NotComparable(f"{before.name} and {after.name} are the same recording")
    if before.vin and after.vin and before.vin != after.vin:
        raise NotComparable(f"two different cars: {before.vin:.40} and {after.vin:.40}")
    for drive in (before, after):
        if drive.engine.frame.n == 0:
            raise NotComparable(f"{drive.name} holds no drive")
    cells = tuple(
        cell
        for bank in BANKS
        for cell in shared_cells(before.engine.frame, after.engine.frame, bank)
    )
    flags = tuple(_flag_changes(before.engine, after.engine))
    earlier, later = _codes(before.snapshot), _codes(after.snapshot)
    made = Comparison(
        Verdict.NOT_YET,
        (),
        cells,
        flags,
        tuple(_figure_changes(before.engine, after.engine)),
        tuple(c for c in earlier if c not in later) if _read(after.snapshot) else (),
        tuple(c for c in later if c not in earlier),
        tuple(c for c in earlier if c in later),
        tuple(_margins(before.snapshot, after.snapshot)),
        (
            *not_shared(before.engine, after.engine),
            *out_of_limits_before_only(before.engine, cells),
            *_on_trust(before, after),
        ),
        tuple(_test_changes(before.engine, after.engine)),
    )
    made = replace(made, code_notes=tuple(code_notes(made.codes_gone, before, after)))
    verdict, reasons = _verdict(made, before, after)
    return replace(made, verdict=verdict, reasons=reasons)


def _on_trust(before: Drive, after: Drive) -> Iterator[str]:
    if not (before.vin and after.vin):
        yield "no VIN in both: that it is the same car is taken on trust"
    for drive, when in ((before, "before"), (after, "after")):
        for words in drive.odd:
            yield f"the file of the drive {when}: {words}"
        if not _read(drive.snapshot):
            yield f"stored and pending codes were not read {when}"


def _flag_changes(before: Engine, after: Engine) -> Iterator[FlagChange]:
    earlier = {(f.id, f.about): f for f in before.flags}
    later = {(f.id, f.about): f for f in after.flags}
    held = driven(after)
    for key, flag in earlier.items():
        if key in later:
            yield FlagChange(flag.id, flag.about, flag.severity, "still")
            continue
        missing = missing_phases(flag, before, held)
        change = "not driven" if missing else "gone"
        yield FlagChange(flag.id, flag.about, flag.severity, change, missing)
    for key, flag in later.items():
        if key not in earlier:
            yield FlagChange(flag.id, flag.about, flag.severity, "new")


def _figure_changes(before: Engine, after: Engine) -> Iterator[FigureChange]:
    names = [
        *ONCE_ENGINE,
        *(p.fill(x) for p in _seen(EACH_BANK, before, after) for x in ONCE_BANK),
        *(p.fill(x) for p in _seen(EACH_SENSOR, before, after) for x in ONCE_SENSOR),
    ]
    for name in names:
        one, two = _figure(before, name), _figure(after, name)
        if one is not None or two is not None:
            yield FigureChange(name, one, two)


def _seen(
    places: tuple[Place, ...], before: Engine, after: Engine
) -> tuple[Place, ...]:
    """The places that the car of both drives has shown anything of."""
    frames = before.frame, after.frame
    return tuple(p for p in places if any(exists(frame, p) for frame in frames))


def _figure(engine: Engine, name: str) -> float | None:
    try:
        return last(engine.frame[name])
    except KeyError:  # a derived signal of the other kind of sensor
        return None


def _codes(seen: Snapshot) -> tuple[str, ...]:
    sets = (seen.codes[when].codes for when in ("stored", "pending"))
    return tuple(dict.fromkeys(code for codes in sets for code in codes))


def _read(seen: Snapshot) -> bool:
    """True when codes that are not there are known not to be there."""
    return all(seen.codes[when].known for when in ("stored", "pending"))


def _margins(before: Snapshot, after: Snapshot) -> Iterator[MarginChange]:
    def key(result: MonitorResult) -> tuple[str, int, int]:
        return result.unit, result.monitor, result.test

    earlier = {key(result): result for result in before.results}
    for result in after.results:
        one = earlier.get(key(result))
        if one is not None and (one.margin is not None or result.margin is not None):
            title = f"{result.subject}, {result.title}"
            yield MarginChange(result.about, title, one.margin, result.margin)


def _test_changes(before: Engine, after: Engine) -> Iterator[TestChange]:
    earlier, later = newest_tests(before), newest_tests(after)
    for key in dict.fromkeys((*earlier, *later)):
        one, two = earlier.get(key), later.get(key)
        title = (one or later[key]).title
        yield TestChange(
            title, key[1], one.text if one else "", two.text if two else ""
        )


def _verdict(
    made: Comparison, before: Drive, after: Drive
) -> tuple[Verdict, tuple[str, ...]]:
    bad = tuple(worse(made, before, after))
    if bad:
        return Verdict.WORSE, (*swapped(before, after), *bad)
    missing = tuple(lacking(made, before, after))
    if missing:
        return Verdict.NOT_YET, missing
    return Verdict.PROVEN, tuple(proof(made))
