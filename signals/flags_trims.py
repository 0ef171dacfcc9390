"""Flags about fuel trims: which bank adds or subtracts, and in which driving.

A pattern is read over airflow bins, never from a single moment. While a bank's trim
is at its limit, frozen or fooled by a misfire, its patterns say nothing; rules with
`trim_pattern` stay silent then. The rules that void patterns are in `flags_loop`.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.code_marks import forced
from bankwise.signals.columns import Bools
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.severity import Severity
from bankwise.signals.trim_shapes import (
    bins,
    enough,
    everywhere,
    fades,
    level,
    middle,
    moving,
    other_level,
)
from bankwise.signals.windows import rolling_mean


def _mirror(see: View) -> Bools:
    own = bins(see, "trim_BIN_{b}_pct")
    other = bins(see, "trim_BIN_{o}_pct")
    apart = other - own > see.limit("imbalance_pct")
    common = np.abs(own + other) / 2
    opposed = (own < 0) & (other > 0)
    balanced = (common < see.limit("mirror_common_pct")) | (
        opposed & (common < see.limit("mirror_common_share") * (other - own))
    )
    return enough(apart & balanced, see) & ~(see["mass_air"] < 1)


def _subtracting(see: View) -> Bools:
    own = bins(see, "trim_BIN_{b}_pct")
    other = bins(see, "trim_BIN_{o}_pct")
    rest = level(see, -own, -other)
    return enough((own <= -see.limit("trim_add_pct")) & rest, see)


def _apart_fades(see: View) -> Bools:
    """A bank's lead over the other fades, on top of what both share at every load."""
    own, other = bins(see, "trim_BIN_{b}_pct"), bins(see, "trim_BIN_{o}_pct")
    usual = np.all(~(np.abs(other) >= see.limit("limit_least_pct")), axis=0)
    lead = see["trim_idle_{b}_pct"] - see["trim_idle_{o}_pct"]
    # A bin that was driven for seconds only may still hold what idle had learned; air
    # that leaks in fades over all of them.
    road = middle(own[1:] - other[1:])
    adds = own[0] >= see.limit("trim_add_pct")
    return np.asarray(fades(see, lead, road) & adds & usual)


def _one_lean_fades(see: View) -> Bools:
    road = moving(see, "trim_BIN_{b}_pct")
    alone = fades(see, see["trim_idle_{b}_pct"], road) & other_level(see)
    return alone | _apart_fades(see)


def _one_lean(see: View) -> Bools:
    own = bins(see, "trim_BIN_{b}_pct")
    adds = everywhere(own >= see.limit("trim_add_pct"), own, see)
    road = moving(see, "trim_BIN_{b}_pct")
    falls = fades(see, see["trim_idle_{b}_pct"], road) | _apart_fades(see)
    return adds & other_level(see) & ~falls


def _unmet(see: View, front: str, way: str) -> Bools:
    """Where a front sensor goes on saying the opposite of what its trim should do."""
    if way == "lean":
        volts = see[f"max_2_{front}_v"] < see.limit("switch_point_v")
        return volts | (see[f"lambda_{front}"] > see.limit("front_lean_lambda"))
    volts = see[f"min_2_{front}_v"] > see.limit("switch_point_v")
    return volts | (see[f"lambda_{front}"] < see.limit("front_rich_lambda"))


def _crossed(see: View) -> Bools:
    one, two = see["total_trim_b1_pct"], see["total_trim_b2_pct"]
    wide = np.abs(one - two) > see.limit("crossed_spread_pct")
    least = np.minimum(np.abs(one), np.abs(two))
    opposed = (one * two < 0) & (least >= see.limit("crossed_spread_pct") / 2)
    settled = see.limit("gate_status_s")
    closed = (see["closed_run_b1_s"] >= settled) & (see["closed_run_b2_s"] >= settled)

    spread = see["imbalance_pct"]
    slope = see["imbalance_slope_pctpm"] * np.sign(spread)
    racing = (slope > see.limit("crossed_slope_pct_per_min")) & (see["idle"] > 0)
    ends = see["limit_side_b1"] * see["limit_side_b2"] < 0

    # Behind the catalyst the adding bank is rich and the other lean if the fronts are
    # on each other's plugs; two banks that breathe unalike show the reverse.
    adds = one > 0
    adder = np.where(adds, see["mean_5_b1s2_v"], see["mean_5_b2s2_v"])
    taker = np.where(adds, see["mean_5_b2s2_v"], see["mean_5_b1s2_v"])
    rich, lean = see.limit("rear_rich_v"), see.limit("rear_lean_v")
    agree = ~(adder > see.limit("switch_point_v")) & (taker > rich)
    denied = ((adder > rich) | (taker < lean)) & ~agree
    unmet = np.where(
        adds,
        _unmet(see, "b1s1", "lean") & _unmet(see, "b2s1", "rich"),
        _unmet(see, "b1s1", "rich") & _unmet(see, "b2s1", "lean"),
    )
    # What was learned earlier goes on being added in open loop, and shows there too.
    fuelled = (see["running"] > 0) & ~(see["fuel_cut"] > 0)
    shown = (racing | ends) & ~agree & closed | unmet & denied & fuelled
    return np.asarray(wide & opposed & shown)


def _exhaust_leak(see: View) -> Bools:
    adds = see["trim_idle_{b}_pct"] >= see.limit("trim_add_pct")
    dips = see["min_{front}_v"] < see.limit("front_lean_v")
    rich = see["mean_5_{rear}_v"] > see.limit("leak_rear_v")
    followed = forced(see, "{front}") > 0
    return adds & dips & rich & followed & (see["idle"] > 0)


ASKED_TICKS = 120
"""The minute over which the long-term trim's rate is read. Source: that of the
derived signal `ltft_rate_b1_pctpm`."""


def _learning(see: View) -> Bools:
    # Another cell of what was learned long ago moves the long-term trim as well, and
    # the total with it; learning follows what the short-term trim asks for.
    rate = see["ltft_rate_{b}_pctpm"]
    short = rolling_mean(see.back("stft_{b}_pct", ASKED_TICKS), ASKED_TICKS, 40)
    asked = short * np.sign(rate) >= see.limit("trim_level_pct")
    moves = np.abs(rate) > see.limit("learning_pct_per_min")
    return np.asarray(moves & ((see["learning_{b}"] > 0) | asked))


_PAIR = {"own": "trim_10_{b}_pct", "rest": "trim_10_{o}_pct"}

RULES: tuple[Rule, ...] = (
    Rule(
        id="crossed-sensors",
        kind=Kind.ENGINE,
        severity=Severity.ACT,
        condition=_crossed,
        gate=Gate.POWER,
        hold="crossed_hold_s",
        clear_s=10.0,
        text=(
            "The banks' trims run to opposite ends[: bank 1 {b1:+.0f} %, "
            "bank 2 {b2:+.0f} %]. Each may be steering by the other's sensor."
        ),
        figures={"b1": "total_trim_b1_pct", "b2": "total_trim_b2_pct"},
        does_not_prove="Not that any sensor is bad: both may be good, on wrong plugs.",
        causes=(
            "front sensor plugs swapped between banks",
            "wiring repaired to the wrong side",
            "one bank rich and the other lean for real",
        ),
        next="Unplug one front sensor and see which bank's reading parks near 0.45 V.",
        caution="hot-exhaust",
        limits=(
            "crossed_spread_pct",
            "crossed_slope_pct_per_min",
            "crossed_hold_s",
            "switch_point_v",
            "rear_rich_v",
            "rear_lean_v",
        ),
        source=s.PORSCHE_986,
    ),
    Rule(
        id="mirror-trims",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_mirror,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=20.0,
        text=(
            "{place} subtracts fuel[ ({own:+.0f} %)] while {other} adds[ "
            "({rest:+.0f} %)]: a mirror. The bank that subtracts gets less air."
        ),
        figures=_PAIR,
        does_not_prove="Not where the air is lost: exhaust and cam timing look alike.",
        causes=(
            "blocked exhaust or catalyst on this bank",
            "cam timing late on this bank",
            "valves or intake runners of this bank blocked",
        ),
        next=(
            "Measure backpressure on both banks; compare cam timing with the crank. "
            "A blockage grows with airflow, late cam timing shows at idle too."
        ),
        caution="hot-exhaust",
        limits=("imbalance_pct", "mirror_common_pct", "trim_cells_min"),
        source=s.MOTOR_2012_FEB,
        trim_pattern=True,
    ),
    Rule(
        id="one-bank-subtracting",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_subtracting,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=20.0,
        text=(
            "{place} subtracts fuel[ ({own:+.0f} %)] and {other} does not"
            "[ ({rest:+.0f} %)], in more than one kind of driving."
        ),
        figures=_PAIR,
        does_not_prove="Not too much fuel on this bank: it may get too little air.",
        causes=(
            "without an airflow meter: this bank breathes less",
            "leaking injector on this bank",
            "front sensor reads rich",
            "with an airflow meter: a mirror already partly learned",
        ),
        next=(
            "Without an airflow meter: backpressure and cam timing of this bank. "
            "Otherwise force the front sensor, then check the injectors."
        ),
        limits=("trim_add_pct", "trim_level_pct", "trim_cells_min"),
        source=f"{s.DERIVED} from {s.MOTOR_1999} and {s.MOTOR_2016}",
        trim_pattern=True,
    ),
    Rule(
        id="one-bank-lean-fades",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_one_lean_fades,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=20.0,
        text=(
            "{place} adds[ {idle:+.0f} %] at idle but little[, {road:+.0f} %,] on "
            "the road; the other bank is level."
        ),
        figures={"idle": "trim_idle_{b}_pct", "road": "trim_road_{b}_pct"},
        does_not_prove="Not that air enters the engine: it may enter the exhaust.",
        causes=(
            "intake leak at one runner of this bank",
            "exhaust leak ahead of the front sensor",
        ),
        next="Smoke the intake and the exhaust of this bank.",
        caution="hot-exhaust",
        limits=("trim_add_pct", "trim_fade_pct", "trim_level_pct"),
        source=s.COMMON,
        trim_pattern=True,
    ),
    Rule(
        id="one-bank-lean",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_one_lean,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=20.0,
        text=(
            "{place} adds fuel at every load[ ({own:+.0f} %)]; {other} does not[ "
            "({rest:+.0f} %)]."
        ),
        figures=_PAIR,
        does_not_prove="Not that the mixture is lean: the sensor may say so wrongly.",
        causes=(
            "injectors of this bank deliver less",
            "front sensor reads lean",
            "exhaust leak ahead of the front sensor",
        ),
        next="Force the front sensor; if it follows, test the injectors' delivery.",
        caution="flammable-gas",
        limits=("trim_add_pct", "trim_level_pct", "trim_cells_min"),
        source=s.COMMON,
        trim_pattern=True,
    ),
    Rule(
        id="exhaust-leak-pattern",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_exhaust_leak,
        gate=Gate.CLOSED_LOOP,
        hold="leak_pattern_hold_s",
        clear_s=20.0,
        text=(
            "{place} adds[ {idle:+.0f} %] at idle on a good front sensor, yet the rear "
            "reads rich[ at {rear:.2f} V]."
        ),
        figures={"idle": "trim_idle_{b}_pct", "rear": "mean_5_{rear}_v"},
        does_not_prove="Not where the leak is.",
        causes=(
            "exhaust leak ahead of the front sensor",
            "secondary air valve leaking",
        ),
        next="Smoke the exhaust of this bank with the engine cold.",
        caution="flooded-catalyst",
        limits=("trim_add_pct", "front_lean_v", "leak_rear_v"),
        source=s.FORD_LEAKS,
        trim_pattern=True,
    ),
    Rule(
        id="trims-still-learning",
        kind=Kind.BANK,
        severity=Severity.INFO,
        condition=_learning,
        gate=Gate.CLOSED_LOOP,
        hold="learning_hold_s",
        clear_s=20.0,
        text="{place} long-term trim still moves[: {rate:+.0f} % a minute].",
        figures={"rate": "ltft_rate_{b}_pctpm"},
        does_not_prove="Not a fault: the control unit is learning.",
        causes=("battery or codes cleared lately", "a repair being learned"),
        next="Wait until it is steady before comparing.",
        limits=("learning_pct_per_min", "trim_level_pct", "learning_hold_s"),
        source=s.COMMON,
    ),
)
