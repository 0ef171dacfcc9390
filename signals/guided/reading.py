"""How one sensor answered during one step, with the bounds that sampling allows.

Delays are counted from the moment the step's key was pressed. A value's own interval
and the time since the value before it bound every time; nothing is claimed beyond.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import Bools, Floats
from bankwise.signals.guided.case import Case

FRONT_RICH_V, FRONT_LEAN_V = 0.6, 0.3
"""Sides of a switching sensor. Unit: V. Source: `sources.GM_2000` and `GM_1999`."""
LAMBDA_RICH, LAMBDA_LEAN = 0.95, 1.05
"""Sides of a wide-band sensor. Common practice, no source."""
GAP_S = 0.5
"""A silence longer than this, and than the time a reading must hold, leaves a step
unjudged. Unit: s. Our choice, because a sensor may go there and back meanwhile."""


@dataclass(frozen=True, slots=True)
class Trace:
    """One sensor's values in a stretch of time.

    Attributes:
        t, v, d: as in `Column`, shape (n,).
        wide: True for lambda of a wide-band sensor, False for volts.
    """

    t: Floats
    v: Floats
    d: Floats
    wide: bool

    @property
    def step_s(self) -> float:
        """Median time between values; infinite with fewer than three. Unit: s."""
        return float(np.median(np.diff(self.t))) if len(self.t) > 2 else float("inf")

    @property
    def gap_s(self) -> float:
        """Longest time between values; infinite with fewer than two. Unit: s."""
        return float(np.max(np.diff(self.t))) if len(self.t) > 1 else float("inf")

    def on_side(self, rich: bool) -> Bools:
        """Where the value lies on the rich (or lean) side; shape (n,)."""
        if self.wide:
            return self.v < LAMBDA_RICH if rich else self.v > LAMBDA_LEAN
        return self.v > FRONT_RICH_V if rich else self.v < FRONT_LEAN_V


def trace(case: Case, place: str, start: float, end: float) -> Trace | None:
    """A sensor's values between two moments of a run; None when it has none there.

    Args:
        case: the run and its data.
        place: such as `B1S1`.
        start: first moment. Unit: s.
        end: last moment; nothing after the run's end is taken. Unit: s.
    """
    stop = min(end, case.run.until)
    for name, wide in (
        (f"o2_{place.lower()}_v", False),
        (f"lambda_{place.lower()}", True),
    ):
        column = case.columns[name]
        lo, hi = np.searchsorted(column.t, (start, stop), side="right")
        if hi > lo:
            return Trace(column.t[lo:hi], column.v[lo:hi], column.d[lo:hi], wide)
    return None


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether a sensor went to a side and stayed there.

    Attributes:
        followed: True, False, or None when it cannot be told.
        why: when it cannot be told.
        delay_s: least and most time from the step's begin to the side. Unit: s.
        passage_s: least and most time between the two sides, 0.3 to 0.6 V; None when
            it was not seen whole. Unit: s.
        extreme: farthest value on the way, in V or λ.
        already: whether it was on that side from the begin on.
        touched: whether it came to that side at all, however briefly.
    """

    followed: bool | None
    why: str = ""
    delay_s: tuple[float, float] | None = None
    passage_s: tuple[float, float] | None = None
    extreme: float | None = None
    already: bool = False
    touched: bool = False


def longest_stay(seen: Trace | None, rich: bool) -> float:
    """The most that one stay on a side can have lasted, as sampled. Unit: s."""
    if seen is None or len(seen.t) < 3:
        return 0.0
    longest, start = 0.0, None
    for i, on in enumerate(seen.on_side(rich).tolist()):
        if not on:
            start = None
            continue
        start = i if start is None else start
        longest = max(longest, float(seen.t[i] - seen.t[start]) + 2 * seen.step_s)
    return longest


def answer(
    seen: Trace | None,
    begin: float,
    rich: bool,
    hold_s: float,
    longer_s: float = 0.0,
) -> Answer:
    """How a sensor answered a stimulus that began at `begin`.

    Only a stay that began while it was watched counts: a reading that is on the side
    from the first value on must leave it first.

    Args:
        seen: its values during the step.
        begin: when the step began. Unit: s.
        rich: the direction it was forced to.
        hold_s: how long it must stay on that side to count. Unit: s.
        longer_s: how long it must stay there when it also goes there by itself.
            Unit: s.
    """
    if seen is None or len(seen.t) < 3:
        return Answer(None, "no values in this step")
    if seen.step_s > hold_s / 2:
        rate, need = 1 / seen.step_s, 2 / hold_s
        return Answer(None, f"sampled at {rate:.1f} Hz, needs {need:.0f} Hz")
    lowest = seen.wide == rich
    extreme = float(np.min(seen.v) if lowest else np.max(seen.v))
    side = seen.on_side(rich)
    off = np.flatnonzero(~side)
    if not len(off):
        word = "rich" if rich else "lean"
        return Answer(None, f"was {word} already", extreme=extreme, already=True)
    fresh = side.copy()
    fresh[: off[0]] = False
    first = _held(seen, fresh, max(hold_s, longer_s))
    if first is None:
        if seen.gap_s > max(GAP_S, hold_s):
            return Answer(None, f"a hole of {seen.gap_s:.1f} s in the values")
        if np.any(side):
            why = "it came there, but no longer than by itself"
            return Answer(None, why, extreme=extreme, touched=True)
        return Answer(False, extreme=extreme)
    before = seen.t[first - 1] - seen.d[first - 1] / 2 if first else begin
    delay = (
        max(0.0, float(before) - begin),
        max(0.0, float(seen.t[first] + seen.d[first] / 2) - begin),
    )
    passed = _passage(seen, first, rich)
    return Answer(True, "", delay, passed, extreme, touched=True)


def _held(seen: Trace, side: Bools, hold_s: float) -> int | None:
    """First value of the first stay on the side that lasts long enough.

    A stay is broken by a silence in which the reading may have left that side.
    """
    breaks = np.diff(seen.t, prepend=seen.t[0]) > max(GAP_S, hold_s)
    start: int | None = None
    for i, (on, gap) in enumerate(zip(side.tolist(), breaks.tolist(), strict=True)):
        if not on:
            start = None
            continue
        if start is None or gap:
            start = i
        if seen.t[i] - seen.t[start] >= hold_s - seen.step_s:
            return start
    return None


def _passage(seen: Trace, first: int, rich: bool) -> tuple[float, float] | None:
    """Bounds on the time between the sides, ending at value `first`."""
    if seen.wide:
        return None
    other = np.flatnonzero(seen.on_side(not rich)[:first])
    if not len(other):
        return None
    last = int(other[-1])
    inner = seen.t[last + 1 : first]
    least = float(inner[-1] - inner[0]) if len(inner) > 1 else 0.0
    unsure = float(seen.d[last] + seen.d[first]) / 2
    return max(0.0, least - unsure), float(seen.t[first] - seen.t[last]) + unsure
