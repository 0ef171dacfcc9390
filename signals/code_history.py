"""What became of codes over two drives: cleared, come back, kept, not tested again.

The newest reading of each drive does not tell it all: a code can be set and cleared
within the second drive, or be gone because someone cleared it and the car has not
looked again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bankwise.signals import trouble_codes
from bankwise.signals.clue import clock_words
from bankwise.signals.columns import CodeRead
from bankwise.signals.evidence import Snapshot

if TYPE_CHECKING:
    from bankwise.signals.comparison import Drive

_SETS = ("stored", "pending")
_MONITORS = {
    trouble_codes.FUEL: "fuel system",
    trouble_codes.SENSOR: "oxygen sensors",
    trouble_codes.HEATER: "oxygen sensor heaters",
    trouble_codes.CATALYST: "catalyst",
    trouble_codes.MISFIRE: "misfire",
    trouble_codes.CAM: "EGR or cam timing",
    trouble_codes.AIR: "components",
    trouble_codes.COOLING: "components",
}
"""The self-test that sets a system's codes. Source: SAE J1979 monitors, from memory."""


@dataclass(frozen=True, slots=True)
class CodeNote:
    """One thing that happened to codes.

    Attributes:
        text: in words.
        open: True when it keeps the repair from being proven.
    """

    text: str
    open: bool


def code_notes(gone: Sequence[str], before: Drive, after: Drive) -> Iterator[CodeNote]:
    """What happened to codes between and during two drives.

    Args:
        gone: codes that the comparison found gone.
        before: the earlier drive.
        after: the later one.
    """
    yield from _cleared_between(before.snapshot, after)
    yield from _within(after)
    stored = set(before.snapshot.codes["stored"].codes)
    now_pending = set(after.snapshot.codes["pending"].codes)
    for code in sorted(
        stored & now_pending - set(after.snapshot.codes["stored"].codes)
    ):
        yield CodeNote(f"{code} was stored before and is pending now", False)
    for code in after.snapshot.codes["permanent"].codes:
        yield CodeNote(
            f"{code} is kept as permanent: it leaves when the car's own test has run "
            "and passed",
            True,
        )
    left = {m for status in after.snapshot.since_clear.values() for m in status.open}
    for code in gone:
        monitor = _MONITORS.get(trouble_codes.system(code))
        if monitor in left:
            yield CodeNote(
                f"{code} is gone, but the car's own test of it ({monitor}) has not "
                "run to its end since codes were cleared: drive until it has",
                True,
            )


def _cleared_between(before: Snapshot, after: Drive) -> Iterator[CodeNote]:
    """Counters since clearing that went back: nobody can drive backwards.

    A control unit that lost its supply begins anew, too.
    """
    if after.cleared_s:
        return
    one, two = before.counters, after.snapshot.counters
    names = ("cleared_min", "cleared_km", "warmups")
    if not any(two[n] < one[n] for n in names if n in one and n in two):
        return
    since = [
        f"{two[name]:.0f} {unit}"
        for name, unit in (("cleared_km", "km"), ("warmups", "warm-ups"))
        if name in two
    ]
    told = f", {' and '.join(since)} before the end of the second" if since else ""
    yield CodeNote(
        "codes were cleared between the two drives, or the control unit was without "
        f"supply{told}",
        False,
    )


def _within(after: Drive) -> Iterator[CodeNote]:
    """Codes that came, went or came back during the later drive."""
    reads = [read for read in after.engine.frame.columns.codes if read.when in _SETS]
    last = {c for when in _SETS for c in after.snapshot.codes[when].codes}
    for code in dict.fromkeys(c for read in reads for c in read.codes):
        yield from _one(code, reads, code in last, after.cleared_s)


def _one(
    code: str, reads: Sequence[CodeRead], there: bool, cleared: Sequence[float]
) -> Iterator[CodeNote]:
    seen = [read for read in reads if code in read.codes]
    first, newest = seen[0], seen[-1]
    wiped = next((t for t in cleared if t >= newest.t), None)
    back = _back_after(seen, cleared)
    if back is not None:
        ended = "" if there or wiped is None else f", and cleared at {_at(wiped)}"
        yield CodeNote(
            f"{code} was cleared at {_at(back[0])} of the second drive and read again "
            f"at {_at(back[1])}{ended}",
            True,
        )
    elif there:
        return
    elif wiped is None:
        yield CodeNote(
            f"{code} was read at {_at(newest.t)} of the second drive and not at its "
            "end, though nothing was cleared in it",
            True,
        )
    elif any(r.when == first.when and r.t < first.t for r in reads):
        yield CodeNote(
            f"{code} came at {_at(first.t)} of the second drive and was cleared at "
            f"{_at(wiped)} in it",
            True,
        )
    else:
        yield CodeNote(
            f"{code} still stood when the second drive began and was cleared at "
            f"{_at(wiped)} in it",
            False,
        )


def _back_after(
    seen: Sequence[CodeRead], cleared: Sequence[float]
) -> tuple[float, float] | None:
    """The first clearing after which a code was read again, and when it was."""
    for moment in cleared:
        later = [read.t for read in seen if read.t > moment]
        if later and any(read.t <= moment for read in seen):
            return moment, later[0]
    return None


def _at(t: float) -> str:
    return clock_words(t)
