"""Switching oxygen sensors: swing, sides, switches, parked, stuck.

Volts only; on a wide-band sensor these signals have no value. A switch count is a
lower bound, an extreme seen is an inner bound.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.patterns import keep, sum_of_last
from bankwise.signals.places import EACH_SENSOR
from bankwise.signals.sampling import STUCK_HZ, SWING_HZ, WINDOW_S, switching
from bankwise.signals.tracks import Track, volts
from bankwise.signals.view import TickView
from bankwise.signals.windows import TICK_S, Window, clock, yes

SHORT_S, RUN_S = 5.0, 1.0
"""Windows of the short mean, and of "the newest moments" for runs on one side.

Source: our choice, because the second spans two ticks and so misses no sample.
"""

SIDE_S = 2.0
"""All samples of this long on one side make the sensor lean or rich now."""

COUNTED_S = 100.0
"""Switches are counted over so long in closed loop. Source: GM 2000 and
1999, P0133 and P1133."""

VOLTS = ("o2_{s}_v",)


def _window(see: TickView, seconds: float) -> Window:
    return see.window("o2_{s}_v", seconds)


def _track(see: TickView) -> Track:
    return see.track("volts", "o2_{s}_v", volts)


def _edge(see: TickView, seconds: float, which: str) -> Floats:
    """Extreme of the last seconds, of the newest value when they hold no sample."""
    w = _window(see, seconds)
    extreme = w.maximum if which == "max" else w.minimum
    newest = see["o2_{s}_v"]
    return np.where(np.isnan(newest), np.nan, np.where(w.n > 0, extreme, newest))


def _edge_row(which: str, seconds: float) -> Derived:
    return Derived(
        f"{which}_{seconds:.0f}_{{s}}_v",
        f"{which} of the last {seconds:.0f} s",
        "V",
        lambda see: switching(see, _edge(see, seconds, which)),
        VOLTS,
        s.COMMON,
        EACH_SENSOR,
        seconds,
        decimals=3,
    )


def _honest(gate: str, function: Function) -> Function:
    """The value where the sampling carries it, NaN elsewhere and on wide-band."""

    def only(see: TickView) -> Floats:
        return switching(see, np.where(see[gate] == 1, function(see), np.nan))

    return only


def _share(name: str, of: Callable[[TickView], Window]) -> Function:
    def function(see: TickView) -> Floats:
        w, track = of(see), _track(see)
        span = w.reduce(np.add, track["span_s"])
        part = w.reduce(np.add, track[name])
        return np.where(span > 0, part / np.where(span > 0, span, 1.0), np.nan)

    return function


def _w20(see: TickView) -> Window:
    return _window(see, WINDOW_S)


def _longest(name: str) -> Function:
    def function(see: TickView) -> Floats:
        longest = _w20(see).reduce(np.maximum, _track(see)[name], 0.0)
        return np.minimum(longest, WINDOW_S)

    return function


def _tick_sum(name: str) -> Function:
    """Sum of a per-sample figure since the tick before."""

    def function(see: TickView) -> Floats:
        values = np.abs(_track(see)[name])
        return _window(see, TICK_S).reduce(np.add, values, 0.0)

    return function


def _count_20(name: str) -> Function:
    def function(see: TickView) -> Floats:
        return _w20(see).reduce(np.add, np.abs(_track(see)[name]), 0.0)

    return function


def in_closed_loop(see: TickView) -> Bools:
    """Running, fuelled, and in closed loop or with no status told."""
    unknown = ~see.seen("fuel_status_b1") & (see["fuel_cut"] != 1)
    loop: Bools = (see["running"] == 1) & ((see["closed_{b}"] == 1) | unknown)
    return loop


def _switches_100(see: TickView) -> Floats:
    rpm = see["rpm"]
    inside = (rpm >= see.limit("switch_rpm_min")) & (rpm <= see.limit("switch_rpm_max"))
    mask = inside & in_closed_loop(see) & (see["honest_switching_{s}"] == 1)
    memo = see.memo("switches")
    ends = keep(memo, see["tick_switches_{s}"], mask)
    return sum_of_last(memo, ends, round(COUNTED_S / TICK_S))


def _side(see: TickView, low_rich: bool) -> Floats:
    out = see.nothing()
    if low_rich:
        by_volts = see["min_2_{s}_v"] > see.limit("front_rich_v")
        by_lambda = see["lambda_{s}"] < see.limit("front_rich_lambda")
    else:
        by_volts = see["max_2_{s}_v"] < see.limit("front_lean_v")
        by_lambda = see["lambda_{s}"] > see.limit("front_lean_lambda")
    known = see.known("max_2_{s}_v") | see.known("lambda_{s}")
    out[known] = yes(by_volts | by_lambda)[known]
    return out


def _stuck(see: TickView, lean: bool) -> Floats:
    if lean:
        flag = see["max_1_{s}_v"] < see.limit("front_lean_v")
    else:
        flag = see["min_1_{s}_v"] > see.limit("front_rich_v")
    return clock(flag & (see["hz_{s}"] >= STUCK_HZ), see.before())


def _run(of: str) -> Function:
    return lambda see: clock(see[of] == 1, see.before())


def _row(
    name: str,
    title: str,
    unit: str,
    function: Function,
    source: str = s.COMMON,
    window_s: float = WINDOW_S,
    min_hz: float | str = 0.0,
    inputs: tuple[str, ...] = VOLTS,
    decimals: int = 1,
) -> Derived:
    return Derived(
        name,
        title,
        unit,
        function,
        inputs,
        source,
        EACH_SENSOR,
        window_s,
        min_hz,
        ("hz_{s}" if min_hz == STUCK_HZ else "fresh_hz_{s}") if min_hz else "",
        decimals=decimals,
    )


_COUNT = "honest_switching_{s}"
_SWING = "honest_swing_{s}"
_FAST = "switching_hz_min"
_BOTH = ("o2_{s}_v", "lambda_{s}")

ROWS: tuple[Derived, ...] = (
    *(
        _edge_row(which, seconds)
        for seconds in (RUN_S, SIDE_S)
        for which in ("min", "max")
    ),
    _row(
        "min_{s}_v", "lowest", "V", _honest(_SWING, lambda see: _w20(see).minimum),
        min_hz=SWING_HZ, decimals=3,
    ),
    _row(
        "max_{s}_v", "highest", "V", _honest(_SWING, lambda see: _w20(see).maximum),
        min_hz=SWING_HZ, decimals=3,
    ),
    _row(
        "lowest_{s}_v", "lowest so far", "V",
        lambda see: see.so_far(np.fmin, "o2_{s}_v"), decimals=3,
    ),
    _row(
        "highest_{s}_v", "highest so far", "V",
        lambda see: see.so_far(np.fmax, "o2_{s}_v"), decimals=3,
    ),
    _row(
        "mean_{s}_v", "mean", "V",
        lambda see: switching(
            see, np.where(see.known("o2_{s}_v"), _w20(see).mean, np.nan)
        ),
        decimals=3,
    ),
    _row(
        "mean_5_{s}_v", "mean of the last 5 s", "V",
        lambda see: switching(
            see, np.where(see.known("o2_{s}_v"), _window(see, SHORT_S).mean, np.nan)
        ),
        window_s=SHORT_S, decimals=3,
    ),
    _row(
        "swing_{s}_v", "swing", "V", lambda see: see["max_{s}_v"] - see["min_{s}_v"],
        s.TEXTBOOK, min_hz=SWING_HZ, decimals=3,
    ),
    _row(
        "time_rich_{s}_pct", "time rich", "%",
        _honest(_SWING, lambda see: 100.0 * _share("rich_s", _w20)(see)),
        min_hz=SWING_HZ, decimals=0,
    ),
    _row(
        "activity_{s}_vps", "activity", "V/s", _honest(_SWING, _share("travel", _w20)),
        min_hz=SWING_HZ, decimals=2,
    ),
    _row(
        "dwell_rich_{s}_s", "longest time rich", "s",
        _honest(_SWING, _longest("rich_run_s")), min_hz=SWING_HZ,
    ),
    _row(
        "dwell_lean_{s}_s", "longest time lean", "s",
        _honest(_SWING, _longest("lean_run_s")), min_hz=SWING_HZ,
    ),
    _row(
        "switches_{s}", "full switches in 20 s", "",
        _honest(_COUNT, _count_20("switched")), s.GM_2000, min_hz=_FAST, decimals=0,
    ),
    _row(
        "crossings_{s}", "crossings of 450 mV in 20 s", "",
        _honest(_COUNT, _count_20("crossed")), min_hz=_FAST, decimals=0,
    ),
    _row(
        "switching_hz_{s}", "switching frequency", "Hz",
        lambda see: see["crossings_{s}"] / 2.0 / WINDOW_S, min_hz=_FAST, decimals=2,
    ),
    _row("tick_switches_{s}", "switches since a tick ago", "", _tick_sum("switched")),
    _row("tick_crossings_{s}", "crossings since a tick ago", "", _tick_sum("crossed")),
    _row("tick_travel_{s}_v", "|ΔV| since the last tick", "V", _tick_sum("travel")),
    _row("tick_span_{s}_s", "time sampled in a tick", "s", _tick_sum("span_s")),
    _row(
        "switches_100_{s}", "switches in 100 s of closed loop", "",
        lambda see: switching(see, _switches_100(see)), s.GM_1999, COUNTED_S, _FAST,
        decimals=0,
    ),
    _row("lean_{s}", "lean now", "", lambda see: _side(see, False), inputs=_BOTH,
         window_s=SIDE_S),
    _row("rich_{s}", "rich now", "", lambda see: _side(see, True), inputs=_BOTH,
         window_s=SIDE_S),
    _row("lean_run_{s}_s", "lean so far", "s", _run("lean_{s}"), inputs=_BOTH),
    _row("rich_run_{s}_s", "rich so far", "s", _run("rich_{s}"), inputs=_BOTH),
    _row(
        "stuck_lean_{s}_s", "below the lean limit so far", "s",
        lambda see: _stuck(see, True), min_hz=STUCK_HZ,
    ),
    _row(
        "stuck_rich_{s}_s", "above the rich limit so far", "s",
        lambda see: _stuck(see, False), min_hz=STUCK_HZ,
    ),
)  # fmt: skip
"""Signals of switching sensors, in the order of computation."""
