"""How fast a switching sensor passes from lean to rich and back: proven bounds.

With n samples strictly between two thresholds the pass took at least the time from the
first to the last of them and at most the time between the samples outside. Polling
therefore proves slow, seldom good. Each bound carries the transport interval.
Source: derived, and checked by simulation.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.oxygen import in_closed_loop
from bankwise.signals.places import EACH_SENSOR
from bankwise.signals.sampling import LONGEST_S, switching
from bankwise.signals.tracks import volts
from bankwise.signals.view import TickView
from bankwise.signals.windows import TICK_S, Growing, Indices, reduce_windows

LAST = 40
"""Passes are averaged over the last so many. Source: our choice, because a warm sensor
gives them within a minute."""

GOOD_MS = 100.0
"""Two edges that are both faster than this have no ratio worth a word.

Source: our choice below the limits of GM 2000, P0133 (107-140 ms), because sound
sensors differ between their ways by more than the ratio's limits while both are fast.
"""

SURER = 1.5
"""Of those errors below the mean, three standard errors, are surely no less. Source:
statistics; a flag takes more than a figure's uncertainty."""

SURE = 2.0
"""Standard errors on each side of an average, about 95 %. Source: statistics."""

MS = 1000.0


def _memo(see: TickView, kind: str) -> Growing:
    return see.frame.memo(f"response {kind} {see.place.about}")


def _collect(see: TickView) -> None:
    """Keeps the passes of the new ticks; called by the first row."""
    track = see.track("volts", "o2_{s}_v", volts)
    w = see.window("o2_{s}_v", TICK_S)
    if not len(w.column):
        return
    edges = (float(w.starts[0]), float(w.ends[-1]))
    lo, hi = np.searchsorted(track["pass_at"], edges, side="left")
    if lo == hi:
        return
    at = track["pass_at"][lo:hi].astype(np.intp)
    # The first tick at or after a sample is the one that first sees it.
    tick = np.searchsorted(w.ends, at, side="right")
    judged = in_closed_loop(see)[tick] & (see["warm"] == 1)[tick]
    # Slower than this, samples of different edges mix and edges look long.
    judged &= (see["honest_switching_{s}"] == 1)[tick]
    # A slow stream of gas makes slow edges: limits are for a turning engine.
    rpm = see["rpm"]
    turning = (rpm >= see.limit("switch_rpm_min")) & (
        rpm <= see.limit("switch_rpm_max")
    )
    judged &= (turning | np.isnan(rpm))[tick]
    judged &= (track["clean"][lo:hi] == 1) & (track["high_s"][lo:hi] <= LONGEST_S)
    which = lo + np.flatnonzero(judged)
    up = track["pass_way"][which] > 0
    for name, these in (("lr", which[up]), ("rl", which[~up])):
        _memo(see, f"{name} t").extend(w.column.t[track["pass_at"][these].astype(int)])
        for kind in ("low", "middle", "high"):
            _memo(see, f"{name} {kind}").extend(track[f"{kind}_s"][these])


def _ends(see: TickView, way: str) -> Indices:
    """How many passes were kept by each tick."""
    if see.own != see.place.fill("lr_n_{s}"):
        # Computing that row keeps the passes that the others average.
        assert len(see["lr_n_{s}"]) == see.size
    return np.searchsorted(_memo(see, f"{way} t").values, see.ticks, side="right")


def _count(way: str) -> Function:
    def function(see: TickView) -> Floats:
        if way == "lr":
            _collect(see)
        return switching(see, _ends(see, way).astype(np.float64))

    return function


def _sum(see: TickView, values: Floats, ends: Indices) -> tuple[Floats, Floats]:
    """Sum and number of the last passes at each tick."""
    starts = np.maximum(ends - LAST, 0)
    n = (ends - starts).astype(np.float64)
    return reduce_windows(np.add, values, starts, ends), n


def _enough(see: TickView, ends: Indices, values: Floats) -> Floats:
    found = ends >= see.limit("response_events_min")
    return switching(see, np.where(found, MS * values, np.nan))


def _bound(way: str, which: str) -> Function:
    def function(see: TickView) -> Floats:
        ends = _ends(see, way)
        total, n = _sum(see, _memo(see, f"{way} {which}").values, ends)
        return _enough(see, ends, total / np.maximum(n, 1.0))

    return function


def _middles(see: TickView, way: str) -> Floats:
    return _memo(see, f"{way} middle").values


def _mean(way: str) -> Function:
    """Mean of the middles of the bounds.

    The poll knows nothing of the sensor, so a pass begins anywhere between two samples
    and the middles err to both sides alike.
    """

    def function(see: TickView) -> Floats:
        ends = _ends(see, way)
        total, n = _sum(see, _middles(see, way), ends)
        return _enough(see, ends, total / np.maximum(n, 1.0))

    return function


def _error(way: str) -> Function:
    """Twice the standard error of that mean."""

    def function(see: TickView) -> Floats:
        ends = _ends(see, way)
        middles = _middles(see, way)
        total, n = _sum(see, middles, ends)
        squares, _ = _sum(see, middles * middles, ends)
        n = np.maximum(n, 2.0)
        variance = np.maximum(squares - total * total / n, 0.0) / (n - 1.0)
        return _enough(see, ends, SURE * np.sqrt(variance / n))

    return function


def _least(way: str) -> Function:
    """What a passage takes at least: by its bounds, or by the mean of many.

    Source: derived; the mean less twice its error is as sure as a bound is meant to be.
    """

    def function(see: TickView) -> Floats:
        sure = see[f"{way}_mean_{{s}}_ms"] - SURER * see[f"{way}_error_{{s}}_ms"]
        return np.fmax(see[f"{way}_low_{{s}}_ms"], sure)

    return function


def _ratio(sign: float) -> Function:
    """Bound on the ratio of the means: the least for −1, the most for +1."""

    def function(see: TickView) -> Floats:
        over = see["lr_mean_{s}_ms"] + sign * see["lr_error_{s}_ms"]
        under = see["rl_mean_{s}_ms"] - sign * see["rl_error_{s}_ms"]
        over = np.maximum(over, 0.0)
        safe = np.where(under > 0, under, 1.0)
        # A bound of zero below proves no upper limit of the ratio.
        none = np.where(over > 0, np.inf, np.nan)
        slow = (see["lr_mean_{s}_ms"] - see["lr_error_{s}_ms"] >= GOOD_MS) | (
            see["rl_mean_{s}_ms"] - see["rl_error_{s}_ms"] >= GOOD_MS
        )
        return np.where(slow, np.where(under > 0, over / safe, none), np.nan)

    return function


def _row(
    name: str, title: str, unit: str, function: Function, source: str, decimals: int = 0
) -> Derived:
    return Derived(
        name,
        title,
        unit,
        function,
        ("o2_{s}_v",),
        source,
        EACH_SENSOR,
        decimals=decimals,
        reason=_few,
    )


def _few(see: TickView) -> str:
    if see.known("lr_mean_{s}_ms")[-1] and see.known("rl_mean_{s}_ms")[-1]:
        return "both ways are fast"
    n = int(np.nanmin([see["lr_n_{s}"][-1], see["rl_n_{s}"][-1], np.inf]))
    return (
        f"{n} clean passes each way seen at {see.limit('switch_rpm_min'):.0f} to "
        f"{see.limit('switch_rpm_max'):.0f} rpm, "
        f"needs {see.limit('response_events_min'):.0f}"
    )


ROWS: tuple[Derived, ...] = (
    _row("lr_n_{s}", "lean-to-rich passes", "", _count("lr"), s.GM_2000),
    _row("rl_n_{s}", "rich-to-lean passes", "", _count("rl"), s.GM_2000),
    *(
        _row(
            f"{way}_{which}_{{s}}_ms",
            f"{words}, {'at least' if which == 'low' else 'at most'}",
            "ms",
            _bound(way, which),
            s.GM_2000,
        )
        for way, words in (("lr", "lean to rich"), ("rl", "rich to lean"))
        for which in ("low", "high")
    ),
    *(
        _row(
            f"{way}_{what}_{{s}}_ms",
            f"{words}, {'mean' if what == 'mean' else 'error of the mean'}",
            "ms",
            _mean(way) if what == "mean" else _error(way),
            s.OURS + ", because bounds alone cannot compare two directions",
        )
        for way, words in (("lr", "lean to rich"), ("rl", "rich to lean"))
        for what in ("mean", "error")
    ),
    *(
        _row(
            f"{way}_least_{{s}}_ms",
            f"{words}, surely no less",
            "ms",
            _least(way),
            s.DERIVED + ": polling is blind, so its errors average out",
        )
        for way, words in (("lr", "lean to rich"), ("rl", "rich to lean"))
    ),
    _row(
        "judged_response_{s}_ms",
        "lean to rich, fast enough to call it good",
        "ms",
        lambda see: np.where(
            see["honest_response_{s}"] == 1, see["lr_high_{s}_ms"], np.nan
        ),
        s.GM_2000,
    ),
    _row(
        "asymmetry_low_{s}",
        "lean-to-rich over rich-to-lean, at least",
        "",
        _ratio(-1.0),
        s.SATURN_1999,
        2,
    ),
    _row(
        "asymmetry_high_{s}",
        "lean-to-rich over rich-to-lean, at most",
        "",
        _ratio(1.0),
        s.SATURN_1999,
        2,
    ),
)
"""Response signals, in the order of computation."""
