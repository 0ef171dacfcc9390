"""What the engine and the car are doing: running, idle, cruise, fuel cut, gates' basis.

States come from engine speed, throttle or pedal, vehicle speed and fuel status, with
whatever of these the car delivers.
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.catalogue import BANKS
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.derived import Derived
from bankwise.signals.starts import RUNNING_RPM
from bankwise.signals.view import TickView
from bankwise.signals.windows import (
    TICK_S,
    clock,
    rolling,
    rolling_count,
    yes,
)


class Driving(IntEnum):
    """The driving state of a tick, as its code in the signal `state`."""

    OFF = 0
    CRANKING = 1
    IDLE = 2
    CRUISE = 3
    ACCELERATION = 4
    WIDE_OPEN = 5
    DECELERATION = 6
    FUEL_CUT = 7
    PART_LOAD = 8


IDLE_RPM, IDLE_RPM_UNKNOWN_SPEED = 1500.0, 1100.0
"""Highest fast idle of a cold engine; lower when no speed tells it from rolling.

Source: our choice, because a cold engine idles up to about 1500 rpm.
"""

STANDING_KMH, ROLLING_KMH, CRUISE_KMH = 2.0, 10.0, 20.0
"""Below the first the car stands. Source: our choice: PID 0D counts whole km/h."""

CLOSED_MARGIN_PCT, OPEN_MARGIN_PCT = 3.0, 5.0
"""Throttle this far above its learned rest is still closed, or clearly open.

Source: our choice, because idle air and a cold idle move an electronic throttle a
little.
"""

CUT_MARGIN_PCT = 1.0
"""A fuel cut needs the pedal fully at rest; up to the closed margin only if a front
sensor confirms it.

Source: our choice, because a controller reports open loop for seconds after it gives
fuel again, with the pedal hardly touched.
"""

CUT_LEAN_V, CUT_LEAN_LAMBDA = 0.2, 1.2
"""A front sensor that sees plain air. Source: Toyota 2021, P2195."""

REST_LIMIT_PCT = 30.0
"""A rest position above this was not learned yet. Source: common practice."""

WIDE_OPEN_PCT, WIDE_OPEN_LOAD_PCT = 70.0, 90.0
"""Throttle or load that no longer throttles. Source: common practice, no source."""

LOAD_FRESH_S = 2.0
"""A load older than this says nothing of a throttle that was read since.

Source: our choice: a pull is over within seconds, and a slow link repeats load every
five to ten.
"""

STANDING_IDLE_PCT = 10.0
"""Throttle this far above its lowest is still an idle when the car stands.

Source: our choice: an electronic throttle closes below its idle position in overrun,
and altitude, a fan or a cold engine opens it some per cent more.
"""

THROTTLED_LOAD_PCT, THROTTLED_KPA = 45.0, 45.0
"""Load or manifold pressure of an engine that is throttled, whatever was read of its
throttle before.

Source: our choice, because a sound engine takes twice that at full throttle, and with a
meter or a sensor that reads a third too little, or in the mountains, still more.
"""

FLOORED_PCT = 60.0
"""A pedal below this is not floored, however far an electronic throttle opens.

Source: our choice: engines that throttle by valves or boost open it at part load, and
no pedal's signal ends below about 75 %.
"""

ENRICHED_LAMBDA = 0.97
"""A λ command below this is enrichment. Source: common practice, no source."""

CUT_RPM = 1000.0
"""No controller cuts fuel below about this speed. Source: common practice."""

OPEN_BY_LOAD = 4.0
"""Fuel status: open loop by load or deceleration. Source: J1979 PID 03, from memory."""

STEADY_S, STEADY_RPM, STEADY_RPM_SHARE = 5.0, 100.0, 0.06
STEADY_THROTTLE_PCT, STEADY_KMH = 5.0, 4.0
"""Steady driving: how little may change in how long. Source: our choice, because a
held pedal on a flat road stays inside."""

ACCELERATION_KMHPS, ACCELERATION_RPMPS = 1.5, 120.0
"""Gaining speed; by engine speed when no vehicle speed is there. Source: our choice."""


def _rest(see: TickView, name: str) -> Floats:
    value = np.where(see["running"] == 1, see[name], np.nan)
    value[0] = np.fmin(value[0], see.before())
    lowest: Floats = np.fmin.accumulate(value)
    return lowest


def _pedal(see: TickView) -> tuple[Floats, Floats]:
    """What the driver's foot asks, and its learned rest: pedal first, else throttle."""
    by_pedal = see.known("pedal_pct")
    foot = np.where(by_pedal, see["pedal_pct"], see["throttle_pct"])
    rest = np.where(by_pedal, see["pedal_closed_pct"], see["throttle_closed_pct"])
    return foot, np.where(rest <= REST_LIMIT_PCT, rest, np.nan)


def _range(name: str, seconds: float, called: str) -> Derived:
    unit = name.rsplit("_", 1)[-1]
    width = round(seconds / TICK_S)

    def function(see: TickView) -> Floats:
        cells = see.back(name, width)
        return rolling(np.fmax, cells, width) - rolling(np.fmin, cells, width)

    return Derived(
        called,
        f"range of {name.split('_', maxsplit=1)[0]} over {seconds:.0f} s",
        {"pct": "%", "kmh": "km/h"}.get(unit, unit),
        function,
        (name,),
        s.OURS + ", because it tells steady from changing",
        window_s=seconds,
    )


def _steady(see: TickView) -> Floats:
    rpm = see["rpm_range_rpm"]
    limit = np.maximum(STEADY_RPM, STEADY_RPM_SHARE * see["rpm"])
    return yes(
        (rpm <= limit)
        & ~(see["throttle_range_5_pct"] > STEADY_THROTTLE_PCT)
        & ~(see["speed_range_kmh"] > STEADY_KMH)
        & (see["running"] == 1)
    )


def _gaining(see: TickView) -> Bools:
    width = 7
    span = (width - 1) * TICK_S
    speed = see.back("speed_kmh", width)
    rpm = see.back("rpm", width)
    by_speed = (speed[width - 1 :] - speed[: see.size]) / span
    by_rpm = (rpm[width - 1 :] - rpm[: see.size]) / span
    return np.where(
        np.isnan(by_speed),
        by_rpm > ACCELERATION_RPMPS,
        by_speed > ACCELERATION_KMHPS,
    )


def _front_lean(see: TickView) -> Bools:
    lean = np.zeros(see.size, dtype=np.bool_)
    for bank in BANKS:
        lean |= see[f"o2_b{bank}s1_v"] < CUT_LEAN_V
        lean |= see[f"lambda_b{bank}s1"] > CUT_LEAN_LAMBDA
    return lean


def _state(see: TickView) -> Floats:
    rpm, speed, load = see["rpm"], see["speed_kmh"], see["load_pct"]
    throttle = see["throttle_pct"]
    foot, rest = _pedal(see)
    closed = foot <= rest + CLOSED_MARGIN_PCT
    unknown = np.isnan(foot) | np.isnan(rest)
    open_ = foot > rest + OPEN_MARGIN_PCT
    by_load = (see["fuel_status_b1"] == OPEN_BY_LOAD) | (
        see["fuel_status_b2"] == OPEN_BY_LOAD
    )
    low_load = ~(load > 25.0)
    no_speed = np.isnan(speed)

    fresh = see.window("load_pct", LOAD_FRESH_S).n > 0
    wide = (throttle >= WIDE_OPEN_PCT) | (
        (load >= WIDE_OPEN_LOAD_PCT)
        & (fresh | np.isnan(throttle))
        & ~(throttle < WIDE_OPEN_PCT / 2)
    )
    wide &= ~(see["pedal_pct"] < FLOORED_PCT)
    # An open throttle fills the engine; a throttle read before the lift does not.
    wide &= ~(load < THROTTLED_LOAD_PCT) & ~(see["map_kpa"] < THROTTLED_KPA)
    rest_like = closed | (unknown & low_load)
    at_rest = (foot <= rest + CUT_MARGIN_PCT) | (unknown & low_load)
    sure = at_rest | (rest_like & _front_lean(see))
    # Where no status is told, only the front sensor can.
    seen = by_load | (~see.seen("fuel_status_b1") & _front_lean(see))
    cut = (rpm >= CUT_RPM) & sure & seen & ~wide
    standing = (speed <= STANDING_KMH) & (foot <= rest + STANDING_IDLE_PCT)
    idle = (
        rest_like & ((speed <= STANDING_KMH) & (rpm < IDLE_RPM))
        | (standing & (rpm < IDLE_RPM_UNKNOWN_SPEED))
        | (no_speed & rest_like & (rpm < IDLE_RPM_UNKNOWN_SPEED))
        | (unknown & (speed <= STANDING_KMH) & (rpm < IDLE_RPM_UNKNOWN_SPEED))
    )
    coasting = rest_like & ~unknown & ((speed > STANDING_KMH) | no_speed)
    accelerating = ~closed & (open_ | unknown) & _gaining(see)
    cruise = (see["steady"] == 1) & ((speed > CRUISE_KMH) | (no_speed & (rpm > 1200)))
    return np.select(
        [
            np.isnan(rpm),
            rpm <= 0,
            rpm < RUNNING_RPM,
            wide,
            cut,
            idle,
            coasting,
            accelerating,
            cruise,
        ],
        [
            np.nan,
            Driving.OFF,
            Driving.CRANKING,
            Driving.WIDE_OPEN,
            Driving.FUEL_CUT,
            Driving.IDLE,
            Driving.DECELERATION,
            Driving.ACCELERATION,
            Driving.CRUISE,
        ],
        Driving.PART_LOAD,
    )


def _is(name: str, title: str, *states: Driving) -> Derived:
    def function(see: TickView) -> Floats:
        state = see["state"]
        flag = state == states[0]
        for other in states[1:]:
            flag |= state == other
        return np.where(np.isnan(state), np.nan, yes(flag))

    return Derived(name, title, "", function, ("rpm",), s.COMMON)


def _enriching(see: TickView) -> Floats:
    command = see["lambda_cmd"]
    loop = see["fuel_status_b1"]
    told = (command < ENRICHED_LAMBDA) | (loop == OPEN_BY_LOAD)
    silent = ~see.seen("lambda_cmd") & ~see.seen("fuel_status_b1")
    return yes((see["wide_open"] == 1) & (told | silent))


def _off_idle(see: TickView) -> Floats:
    return yes((see["running"] == 1) & (see["idle"] == 0))


def _run_clock(name: str, of: str, title: str) -> Derived:
    def function(see: TickView) -> Floats:
        return clock(see[of] == 1, see.before())

    return Derived(name, title, "s", function, ("rpm",), s.COMMON)


def _fuelled(see: TickView) -> Floats:
    flag = (see["running"] == 1) & (see["fuel_cut"] == 0) & (see["wide_open"] == 0)
    return clock(flag, see.before())


def _off_idle_clock(see: TickView) -> Floats:
    return np.cumsum((see["off_idle"] == 1) * TICK_S) + see.before(0.0)


def _counter(name: str, of: str, after_s: float, title: str) -> Derived:
    """Counts the events that lasted `after_s`, once each."""

    def function(see: TickView) -> Floats:
        return np.cumsum(see[of] == after_s) + see.before(0.0)

    return Derived(name, title, "", function, ("rpm",), s.COMMON, decimals=0)


def _mixed(see: TickView) -> Floats:
    width, least = 240, 4
    state = see.back("state", width)
    kinds = np.zeros(see.size)
    for group in (
        (Driving.IDLE,),
        (Driving.CRUISE,),
        (Driving.ACCELERATION, Driving.WIDE_OPEN),
        (Driving.DECELERATION, Driving.FUEL_CUT),
        (Driving.PART_LOAD,),
    ):
        inside = state == group[0]
        for other in group[1:]:
            inside |= state == other
        kinds += rolling_count(inside, width) >= least
    return kinds


_RPM = ("rpm",)

ROWS: tuple[Derived, ...] = (
    Derived(
        "throttle_closed_pct",
        "throttle at rest, learned",
        "%",
        lambda see: _rest(see, "throttle_pct"),
        ("throttle_pct",),
        s.COMMON,
    ),
    Derived(
        "pedal_closed_pct",
        "pedal at rest, learned",
        "%",
        lambda see: _rest(see, "pedal_pct"),
        ("pedal_pct",),
        s.COMMON,
    ),
    _range("rpm", 5.0, "rpm_range_rpm"),
    _range("throttle_pct", 5.0, "throttle_range_5_pct"),
    _range("throttle_pct", 10.0, "throttle_range_pct"),
    _range("throttle_pct", 60.0, "throttle_range_60_pct"),
    _range("speed_kmh", 5.0, "speed_range_kmh"),
    Derived("steady", "steady driving", "", _steady, _RPM, s.OURS, window_s=STEADY_S),
    Derived("state", "driving state", "", _state, _RPM, s.COMMON, window_s=5.0),
    _is("idle", "at idle", Driving.IDLE),
    _is("cruise", "steady cruise", Driving.CRUISE),
    _is("wide_open", "wide open", Driving.WIDE_OPEN),
    Derived("enriching", "wide open and enriched", "", _enriching, _RPM, s.COMMON),
    _is("fuel_cut", "fuel cut", Driving.FUEL_CUT),
    _is("decel", "closed throttle", Driving.DECELERATION, Driving.FUEL_CUT),
    Derived("off_idle", "running off idle", "", _off_idle, _RPM, s.COMMON),
    _run_clock("running_run_s", "running", "running without a break"),
    _run_clock("idle_run_s", "idle", "idle so far"),
    _run_clock("cut_run_s", "fuel_cut", "fuel cut so far"),
    _run_clock("wide_open_run_s", "wide_open", "wide open so far"),
    _run_clock("enriching_run_s", "enriching", "enriched so far"),
    _run_clock("steady_run_s", "steady", "steady so far"),
    Derived("off_idle_total_s", "time off idle", "s", _off_idle_clock, _RPM, s.COMMON),
    Derived(
        "fuelled_run_s",
        "neither fuel cut nor wide open so far",
        "s",
        _fuelled,
        _RPM,
        s.COMMON,
    ),
    _counter("cuts", "cut_run_s", 2.0, "fuel cuts so far"),
    _counter("enrichments", "enriching_run_s", 1.5, "enriched pulls so far"),
    Derived(
        "mixed_120",
        "kinds of driving in the last 120 s",
        "",
        _mixed,
        _RPM,
        s.OURS + ", because a sensor is judged over different loads",
        window_s=120.0,
        decimals=0,
    ),
)
"""Driving signals, in the order of computation; they need the rows of `starts`."""
