"""How fast a switching sensor passes from lean to rich and back: proven bounds.

With n samples strictly between two thresholds the pass took at least the time from the
first to the last of them and at most the time between the samples outside. Polling
therefore proves slow, seldom good. Each bound carries the transport interval.
Source: DOMAIN 3, derived and checked by simulation.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.oxygen import in_closed_loop
from bankwise.signals.places import EACH_SENSOR
from bankwise.signals.sampling import switching
from bankwise.signals.tracks import volts
from bankwise.signals.view import TickView
from bankwise.signals.windows import TICK_S, Growing, Indices

LAST = 20
"""Bounds are averaged over so many passes. Source: our choice, because a warm sensor
gives them in half a minute."""

MS = 1000.0


def _memo(see: TickView, kind: str) -> Growing:
    return see.frame.memo(f"response {kind} {see.place.about}")


def _collect(see: TickView) -> None:
    """Keeps the passes of the new ticks; called once a tick, by the first row."""
    track = see.track("volts", "o2_{s}_v", volts)
    w = see.window("o2_{s}_v", TICK_S)
    if not len(w.column):
        return
    lo, hi = int(w.starts[0]), int(w.ends[-1])
    at = lo + np.flatnonzero(track["switched"][lo:hi])
    if not len(at):
        return
    # The first tick at or after a sample is the one that first sees it.
    tick = np.searchsorted(w.ends, at, side="right")
    judged = in_closed_loop(see)[tick] & (see["warm"] == 1)[tick]
    at = at[judged]
    up = track["switched"][at] > 0
    for name, these in (("lr", at[up]), ("rl", at[~up])):
        _memo(see, f"{name} t").extend(w.column.t[these])
        _memo(see, f"{name} low").extend(track["low_s"][these])
        _memo(see, f"{name} high").extend(track["high_s"][these])


def _ends(see: TickView, way: str) -> Indices:
    return np.searchsorted(_memo(see, f"{way} t").values, see.ticks, side="right")


def _count(way: str) -> Function:
    def function(see: TickView) -> Floats:
        if way == "lr":
            _collect(see)
        return switching(see, _ends(see, way).astype(np.float64))

    return function


def _bound(way: str, which: str) -> Function:
    def function(see: TickView) -> Floats:
        ends = _ends(see, way)
        values = _memo(see, f"{way} {which}").values
        least = int(see.limit("response_events_min"))
        out = see.nothing()
        for end in np.unique(ends):
            if end >= least:
                mean = float(np.mean(values[max(0, end - LAST) : end]))
                out[ends == end] = MS * mean
        return switching(see, out)

    return function


def _ratio(above: str, below: str) -> Function:
    def function(see: TickView) -> Floats:
        over, under = see[above], see[below]
        safe = np.where(under > 0, under, 1.0)
        # A bound of zero below proves no upper limit of the ratio.
        none = np.where(over > 0, np.inf, np.nan)
        return np.where(under > 0, over / safe, none)

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
    n = int(np.nanmin([see["lr_n_{s}"][-1], see["rl_n_{s}"][-1], np.inf]))
    return (
        f"{n} clean passes each way seen, needs {see.limit('response_events_min'):.0f}"
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
        _ratio("lr_low_{s}_ms", "rl_high_{s}_ms"),
        s.SATURN_1999,
        2,
    ),
    _row(
        "asymmetry_high_{s}",
        "lean-to-rich over rich-to-lean, at most",
        "",
        _ratio("lr_high_{s}_ms", "rl_low_{s}_ms"),
        s.SATURN_1999,
        2,
    ),
)
"""Response signals, in the order of computation."""
