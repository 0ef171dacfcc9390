"""How fast a sensor was really sampled, and what that rate can carry.

A switch count from too few samples is not a small count, it is no count: 3 Hz polled
at 4 Hz looks like 1 Hz, and 2 Hz polled at 2 Hz looks stuck. A control unit that
refreshes a value seldom hands the old one out again, however quickly it is asked: what
counts is the rate of fresh values.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.places import EACH_SENSOR
from bankwise.signals.tracks import HOLE_INTERVALS, HOLE_S, volts
from bankwise.signals.view import TickView
from bankwise.signals.windows import Window, reduce_windows, yes

WINDOW_S = 20.0
"""Over how long a rate is measured, and most sensor figures. Source: our choice."""

COVERED = 0.9
"""Share of the window that must lie between its first and last sample.

Source: our choice, because a window half empty says nothing about its empty half.
"""

LEAST_INSIDE = 10.0
"""So many samples on the way between lean and rich tell repeats from fresh values.

Source: our choice: with a fresh value each, not one in ten repeats exactly by chance,
because an edge passes sixty counts of PID 14 in a fraction of a second.
"""

LONGEST_S = 3.0
"""What takes longer is a mixture that moved, not an edge. Source: our choice, because
a sensor this slow would not switch at all."""

SWING_HZ, STUCK_HZ, PARKED_HZ = 5.0, 2.0, 1.0
"""Least honest rates of swing and shares, of stuck, and of parked.

Source: common practice, no source.
"""

MAIN = ("o2_{s}_v", "lambda_{s}", "o2_{s}_ma")
"""What a sensor may be read by: volts when it switches, λ or current when wide-band."""


def wide(see: TickView) -> Bools:
    """Whether the sensor is wide-band, by which signals exist.

    Source: from memory of J1979.
    """
    return see.seen("lambda_{s}") | see.seen("o2_{s}_ma")


def switching(see: TickView, values: Floats) -> Floats:
    """The values where the sensor is a switching one, NaN on a wide-band one."""
    return np.where(wide(see), np.nan, values)


def _ends(w: Window) -> tuple[Floats, Floats]:
    """Times of the first and last sample a window, NaN when it is empty."""
    if not len(w.column):
        nothing = np.full(len(w.ticks), np.nan)
        return nothing, nothing
    t = w.column.t
    full = w.ends > w.starts
    first = np.where(full, t[np.minimum(w.starts, len(t) - 1)], np.nan)
    return first, np.where(full, t[np.maximum(w.ends - 1, 0)], np.nan)


def _main(see: TickView, of: Function) -> Floats:
    """A figure of the sensor's main signal: λ or current if there, else volts."""
    out = see.nothing()
    for pattern in MAIN:
        name = see.place.fill(pattern)
        if see.frame.seen_from(name) > see.ticks[-1]:
            continue
        out = np.where(see.seen(pattern), of_pattern(see, pattern, of), out)
    return out


def of_pattern(see: TickView, pattern: str, of: Function) -> Floats:
    """Calls `of` with the pattern remembered in `see.own` and restores it."""
    own, see.own = see.own, pattern
    try:
        return of(see)
    finally:
        see.own = own


def _hz(see: TickView) -> Floats:
    w = see.window(see.own, WINDOW_S)
    first, last = _ends(w)
    span = last - first
    fresh = see.known(see.own)
    ok = (w.n >= 3) & (span > 0) & fresh
    return np.where(ok, (w.n - 1) / np.where(span > 0, span, 1.0), np.nan)


def _fresh(see: TickView) -> Floats:
    """The sample rate less the share of samples that repeat an old value.

    Only a signal on its way between lean and rich must differ from sample to sample.
    With too few of these nothing speaks against the sample rate.
    """
    hz = see["hz_{s}"]
    if not see.frame.seen(see.place.fill("o2_{s}_v")):
        return hz
    track = see.track("volts", "o2_{s}_v", volts)
    w = see.window("o2_{s}_v", WINDOW_S)
    edge = track["high_s"] <= LONGEST_S
    ends = np.searchsorted(track["pass_at"], w.ends, side="left")
    starts = np.searchsorted(track["pass_at"], w.starts, side="left")
    inside, again = (
        reduce_windows(np.add, np.where(edge, track[name], 0.0), starts, ends, 0.0)
        for name in ("inside", "again")
    )
    told = inside >= LEAST_INSIDE
    return hz * (1.0 - np.where(told, again, 0.0) / np.where(told, inside, 1.0))


def _gap(see: TickView) -> Floats:
    w = see.window(see.own, WINDOW_S)
    _, last = _ends(w)
    steps = np.diff(w.column.t, prepend=w.column.t[:1])
    inner = w.reduce(np.maximum, steps)
    return np.where(w.n >= 2, np.maximum(inner, see.ticks - last), np.nan)


def _covered(see: TickView) -> Floats:
    w = see.window(see.own, WINDOW_S)
    first, last = _ends(w)
    return (last - first) / WINDOW_S


def _whole(see: TickView) -> Floats:
    """1 where the window is covered without a hole."""
    hz, gap, covered = see["hz_{s}"], see["gap_{s}_s"], see["covered_{s}"]
    longest = np.maximum(HOLE_S, HOLE_INTERVALS / hz)
    return np.where(np.isnan(hz), np.nan, yes((covered >= COVERED) & (gap <= longest)))


def _honest(least: float | str) -> Function:
    def function(see: TickView) -> Floats:
        hz, whole = see["fresh_hz_{s}"], see["whole_{s}"]
        limit = see.limit(least) if isinstance(least, str) else least
        return np.where(np.isnan(whole), np.nan, yes((whole == 1) & (hz >= limit)))

    return function


def _row(
    name: str,
    title: str,
    unit: str,
    function: Function,
    why: str,
    window_s: float = 20.0,
) -> Derived:
    return Derived(name, title, unit, function, MAIN, why, EACH_SENSOR, window_s)


_WHY = s.DERIVED + ": five samples per shortest half-cycle claimed"

ROWS: tuple[Derived, ...] = (
    _row("wideband_{s}", "wide-band", "", lambda see: yes(wide(see)), s.COMMON, 0.0),
    _row("hz_{s}", "sample rate", "Hz", lambda see: _main(see, _hz), s.DERIVED),
    _row("fresh_hz_{s}", "rate of fresh values", "Hz", _fresh, s.DERIVED),
    _row("gap_{s}_s", "longest gap", "s", lambda see: _main(see, _gap), s.DERIVED),
    _row("covered_{s}", "window covered", "", lambda see: _main(see, _covered), s.OURS),
    _row("whole_{s}", "window without a hole", "", _whole, s.OURS),
    _row(
        "honest_switching_{s}",
        "fast enough to count switches",
        "",
        _honest("switching_hz_min"),
        _WHY,
    ),
    _row(
        "honest_response_{s}",
        "fast enough to time a switch",
        "",
        _honest("response_hz_min"),
        _WHY,
    ),
    _row("honest_swing_{s}", "fast enough for a swing", "", _honest(SWING_HZ), _WHY),
    _row("honest_stuck_{s}", "fast enough for stuck", "", _honest(STUCK_HZ), _WHY),
    _row("honest_parked_{s}", "fast enough for parked", "", _honest(PARKED_HZ), _WHY),
)
"""Sampling signals, in the order of computation."""
