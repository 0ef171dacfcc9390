"""Per-sample figures of a sensor, computed once as its column grows.

A track never looks ahead: what it says of a sample depends on that sample and earlier
ones, so it does not matter in how many pieces the samples came. Nothing is joined
across a hole.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from bankwise.signals.columns import Bools, Column, Floats
from bankwise.signals.windows import Growing, reduce_windows

LEAN_V, RICH_V = 0.300, 0.600
"""A full switch goes from below the first to above the second. Source: GM 2000 and
1999, P0133 and P1133."""

MIDDLE_V, HYSTERESIS_V = 0.450, 0.050
"""Where rich and lean part, and the margin of a crossing.

Source: GM 2000, P0133; the margin is our choice, because ten counts of a switching
sensor are more than its noise.
"""

NOISE_V = 0.02
"""A pass that turns back by more than this is not one edge. Source: our choice: four
counts of PID 14."""

HOLE_S, HOLE_INTERVALS = 2.0, 3.0
"""A gap longer than both this and so many sample intervals is a hole.

Source: our choice, because a pass through a hole was not seen.
"""

_BEFORE = 8

Carry = dict[str, float]
Tracker = Callable[[Column, int, int, Carry], Mapping[str, Floats]]


class Track:
    """Arrays parallel to a column's samples, by name."""

    def __init__(self, tracker: Tracker) -> None:
        self._tracker = tracker
        self._carry: Carry = {}
        self._arrays: dict[str, Growing] = {}
        self.n = 0
        """Number of samples followed."""

    def __getitem__(self, name: str) -> Floats:
        """One figure of every sample followed; shape (n,)."""
        stored = self._arrays.get(name)
        return stored.values if stored else np.empty(0)

    def follow(self, column: Column, upto: int) -> None:
        """Takes in the samples below index `upto`."""
        if upto <= self.n:
            return
        for name, values in self._tracker(column, self.n, upto, self._carry).items():
            self._arrays.setdefault(name, Growing()).extend(values)
        self.n = upto


def holes(column: Column, lo: int, hi: int) -> Bools:
    """Which of the samples `lo` to `hi` come after a hole; the first one does."""
    at = np.arange(lo, hi)
    previous = np.maximum(at - 1, 0)
    back = np.maximum(previous - _BEFORE, 0)
    t = column.t
    interval = (t[previous] - t[back]) / np.maximum(previous - back, 1)
    gap = t[at] - t[previous]
    broken: Bools = gap > np.maximum(HOLE_S, HOLE_INTERVALS * interval)
    if lo == 0:
        broken[0] = True
    return broken


def _last_true(flags: Bools, lo: int, before: float) -> Floats:
    """Index of the newest true sample at or before each one; `before` carries."""
    at = np.arange(lo, lo + len(flags), dtype=np.float64)
    return np.maximum.accumulate(np.where(flags, at, before))


def sides(
    level: Floats, broken: Bools, lo: int, before: float, side: float
) -> tuple[Floats, Floats]:
    """The side held with hysteresis, and the sample that decided it.

    `level` is −1, 0 (between) or +1; after a hole the side is unknown (0) until the
    signal shows it.
    """
    decided = _last_true((level != 0) | broken, lo, before)
    inside = decided >= lo
    at = np.maximum(decided - lo, 0).astype(np.intp)
    return np.where(inside, level[at], side), decided


def _run_s(flags: Bools, broken: Bools, t: Floats, before: float) -> Floats:
    """Seconds a flag has been true without a break; 0 where it is false."""
    start = flags & (broken | ~np.concatenate(([before >= 0], flags[:-1])))
    first = np.where(start, t, np.nan)
    first = np.where(flags, first, -1.0)
    known = ~np.isnan(first)
    at = np.maximum.accumulate(np.where(known, np.arange(len(t)), -1))
    since = np.where(at >= 0, first[np.maximum(at, 0)], before)
    return np.where(flags, since, -1.0)


def _passes(
    column: Column, lo: int, switched: Floats, decided: Floats
) -> dict[str, Floats]:
    """Bounds on the time of every pass between the two thresholds.

    The samples strictly between the thresholds lie inside the pass, the samples on both
    sides outside. Each time is known to half its interval.

    Args:
        column: the sensor's samples.
        lo: index of the first sample of `switched`.
        switched: a number a sample, not zero where a pass ended.
        decided: index of the last sample outside the thresholds before each.

    Returns:
        `pass_at` its last sample; `pass_way` +1 to rich, −1 to lean; `low_s`, `high_s`
        proven bounds; `middle_s` their middle, right on average; `clean` 1 when the
        signal never turned back on the way; `inside` how many samples lay between the
        thresholds, and `again` how many of them repeated the one before exactly.
    """
    k = np.flatnonzero(switched)
    at, start = k + lo, np.maximum(decided[k], 0).astype(np.intp)
    first, last = start + 1, at - 1
    t, d, way = column.t, column.d, switched[k]
    clean, again = np.empty(len(k)), np.zeros(len(k))
    if len(k):
        base = int(start[0])
        step = np.diff(column.v[base : at[-1] + 1])
        i, j = start - base, at - base
        rise = reduce_windows(np.minimum, step, i, j)
        fall = -reduce_windows(np.maximum, step, i, j)
        clean = (np.where(way > 0, rise, fall) >= -NOISE_V).astype(np.float64)
        # A signal on its way never stands still: an exact repeat there is an old
        # value handed out again, and proves nothing about later moments.
        still = np.concatenate(([0], np.cumsum(step == 0)))
        inside = j - i > 2
        again = np.where(inside, still[j - 1] - still[np.minimum(i + 1, j - 1)], 0)
        moves = np.where(step != 0, np.arange(len(step)), -1)
        newest = np.maximum.accumulate(moves)[np.maximum(j - 2, 0)]
        known = np.where(newest > i, newest + 1 + base, first)
        last = np.where(again > 0, known, last)
        again = again.astype(np.float64)
    low = t[last] - t[first] - (d[last] + d[first]) / 2
    high = t[at] - t[start] + (d[at] + d[start]) / 2
    return {
        "pass_at": at.astype(np.float64),
        "pass_way": way,
        "low_s": np.maximum(low, 0.0),
        # Between two samples without one inside, the low bound is below zero; the
        # middle must keep that, else it would lean to the long side.
        "middle_s": (low + high) / 2,
        "high_s": high,
        "clean": clean,
        "inside": (at - first).astype(np.float64),
        "again": again,
    }


def volts(column: Column, lo: int, hi: int, carry: Carry) -> Mapping[str, Floats]:
    """What each sample of a switching sensor adds.

    Returns:
        A number a sample: `travel` |ΔV|; `span_s` time since the sample before;
        `rich_s` the part of it above 450 mV on a straight line; `switched` +1 for lean
        to rich, −1 for rich to lean, else 0; `crossed` 1 for a crossing of 450 mV with
        hysteresis; `rich_run_s`, `lean_run_s` seconds on that side of 450 mV. And a
        number a pass, as `_passes` says.
    """
    broken = holes(column, lo, hi)
    t, v = column.t[lo:hi], column.v[lo:hi]
    previous = np.maximum(np.arange(lo, hi) - 1, 0)
    t0, v0 = column.t[previous], column.v[previous]
    span = np.where(broken, 0.0, t - t0)
    step = v - v0

    above, above0 = v - MIDDLE_V, v0 - MIDDLE_V
    apart = np.abs(step) > 0
    share = np.where(
        above * above0 < 0,
        np.maximum(above, above0) / np.where(apart, np.abs(step), 1.0),
        (above + above0 > 0).astype(np.float64),
    )

    level = np.where(v < LEAN_V, -1.0, np.where(v > RICH_V, 1.0, 0.0))
    before, side_before = carry.get("decided", -1.0), carry.get("side", 0.0)
    side, decided = sides(level, broken, lo, before, side_before)
    was = np.concatenate(([side_before], side[:-1]))
    switched = np.where((side * was < 0) & ~broken, side, 0.0)

    half = np.where(above < -HYSTERESIS_V, -1.0, np.where(above > HYSTERESIS_V, 1.0, 0))
    half_before, half_side = carry.get("half_at", -1.0), carry.get("half", 0.0)
    halves, half_at = sides(half, broken, lo, half_before, half_side)
    half_was = np.concatenate(([half_side], halves[:-1]))
    crossed = ((halves * half_was < 0) & ~broken).astype(np.float64)

    rich_from = _run_s(v > MIDDLE_V, broken, t, carry.get("rich_from", -1.0))
    lean_from = _run_s(v <= MIDDLE_V, broken, t, carry.get("lean_from", -1.0))

    carry |= {
        "decided": float(decided[-1]),
        "side": float(side[-1]),
        "half_at": float(half_at[-1]),
        "half": float(halves[-1]),
        "rich_from": float(rich_from[-1]),
        "lean_from": float(lean_from[-1]),
    }
    return {
        "travel": np.where(broken, 0.0, np.abs(step)),
        "span_s": span,
        "rich_s": span * share,
        "switched": switched,
        "crossed": crossed,
        "rich_run_s": np.where(rich_from >= 0, t - rich_from, 0.0),
        "lean_run_s": np.where(lean_from >= 0, t - lean_from, 0.0),
        **_passes(column, lo, switched, np.concatenate(([before], decided[:-1]))),
    }


def changes(count: float) -> Tracker:
    """A tracker of the time of the last change by more than one `count`."""

    def tracker(column: Column, lo: int, hi: int, carry: Carry) -> Mapping[str, Floats]:
        broken = holes(column, lo, hi)
        previous = np.maximum(np.arange(lo, hi) - 1, 0)
        moved = np.abs(column.v[lo:hi] - column.v[previous]) > 1.5 * count
        at = _last_true(moved | broken, lo, carry.get("at", 0.0))
        carry["at"] = float(at[-1])
        return {"changed_t": column.t[at.astype(np.intp)]}

    return tracker
