"""Which kinds of driving two drives share, and what each was too short for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from bankwise.signals.engine import Engine, FlagSpan
from bankwise.signals.phases import phases
from bankwise.signals.windows import TICK_S

LEAST_PHASE_S = 10.0
"""A phase driven this long or longer was driven. Unit: s. Our choice."""

SHORT_PHASES_S: Mapping[str, float] = {
    "key-on": 1.0,
    "acceleration": 3.0,
    "wide-open": 2.0,
    "deceleration": 3.0,
    "fuel-cut": 2.0,
}
"""Phases that last seconds by nature need less. Unit: s. Source: wide open as the
threshold `wide_open_hold_s`; the others our choice, because a road allows no more."""


def least_s(phase: str) -> float:
    """How long a phase must be driven to count as driven. Unit: seconds."""
    return SHORT_PHASES_S.get(phase, LEAST_PHASE_S)


def driven(engine: Engine) -> dict[str, float]:
    """How long each phase was driven, by its name. Unit: seconds."""
    return {phase.name: phase.seconds for phase in phases(engine.frame)}


def not_shared(before: Engine, after: Engine) -> Iterator[str]:
    """The phases that only one drive holds long enough, with both lengths."""
    earlier, later = driven(before), driven(after)
    for name, seconds in earlier.items():
        least, other = least_s(name), later.get(name, 0.0)
        if (seconds >= least) == (other >= least):
            continue
        if not min(seconds, other):
            only = "before" if seconds else "after"
            yield f"{name} was driven {only} only ({max(seconds, other):.1f} s)"
        else:
            yield (
                f"{name}: {seconds:.1f} s before, {other:.1f} s after, and both must "
                f"hold {least:.0f} s"
            )


def missing_phases(flag: FlagSpan, before: Engine, later: Mapping[str, float]) -> str:
    """The kinds of driving a flag rose in, when the later drive lacks all of them.

    Args:
        flag: of the earlier drive.
        before: the earlier drive.
        later: how long the later drive held each phase, as `driven`.
    """
    rises = [round(start / TICK_S) for start, _ in flag.spans]
    seen = [
        phase.name
        for phase in phases(before.frame)
        if any(tick < len(phase.ticks) and phase.ticks[tick] for tick in rises)
    ]
    lacking = [name for name in seen if later.get(name, 0.0) < least_s(name)]
    return f"no {', '.join(lacking)} driven" if lacking == seen and seen else ""
