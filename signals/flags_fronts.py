"""Flags where the front sensor meets a witness: the rear sensor, a cut, a test.

A front sensor that lies is seen when something else contradicts it. A verdict needs
the forced test; the other rules only say who contradicts whom.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.code_marks import forced
from bankwise.signals.columns import Bools
from bankwise.signals.driving import OPEN_BY_LOAD
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.severity import Severity
from bankwise.signals.sides import at_rest, early_cut, never_lean, never_rich


def _says(see: View, side: str) -> Bools:
    """The front sensor says so now, or never says otherwise."""
    never = never_rich if side == "lean" else never_lean
    fast = see["honest_swing_{front}"] > 0
    # A slow poll may fall into step with a switching sensor: then it takes longer.
    long = see[f"{side}_run_{{front}}_s"] >= see.limit("stuck_hold_s")
    now = (see[f"{side}_{{front}}"] > 0) & (fast | long)
    return now | never(see, "{front}")


def _lean_but_rear_rich(see: View) -> Bools:
    limited = (see["at_limit_{b}_s"] > 0) & (see["limit_side_{b}"] > 0)
    far = see["total_trim_{b}_pct"] >= see.limit("lying_lean_trim_pct")
    limited &= see["total_trim_{b}_pct"] >= see.limit("limit_least_pct")
    rear = see["mean_5_{rear}_v"] > see.limit("rear_rich_v")
    return (far | limited) & _says(see, "lean") & rear


def _rich_but_rear_lean(see: View) -> Bools:
    far = see["total_trim_{b}_pct"] <= see.limit("lying_rich_trim_pct")
    rear = see["mean_5_{rear}_v"] < see.limit("rear_lean_v")
    return far & _says(see, "rich") & rear


def _answers(see: View) -> Bools:
    return forced(see, "{s}") > 0


def _ignores(see: View) -> Bools:
    return forced(see, "{s}") < 1


def _settled(see: View) -> Bools:
    """Where a sensor has been awake for a while; one just waking tells no mixture."""
    awake = see["since_start_s"] - see["wake_up_{s}_s"]
    return ~(awake < see.limit("wake_up_s"))


def _cut_not_lean(see: View) -> Bools:
    turning = see["rpm"] > see.limit("cut_rpm_min")
    volts = see.window("o2_{s}_v", see.limit("cut_hold_s"))
    wide = see.window("lambda_{s}", see.limit("cut_hold_s"))
    rich = np.where(
        see["wideband_{s}"] > 0,
        wide.maximum < see.limit("cut_lambda"),
        volts.minimum > see.limit("cut_front_v"),
    )
    heard = ~(see["asleep_{s}_s"] >= 0) & ~at_rest(see) & _settled(see)
    heard &= np.fmax(volts.n, wide.n) >= LEAST_SAMPLES
    return heard & turning & rich & early_cut(see, "cut_hold_s") & ~_no_cut(see)


def _no_cut(see: View) -> Bools:
    """When the other bank's front does not stay lean either, it was no fuel cut.

    With one bank only the status says so, and only while it is fresh.
    """
    seconds = see.limit("cut_hold_s")
    volts, wide = (see.window(f"{x}_{{o}}s1{u}", seconds) for x, u in _OTHER_FRONT)
    switched = (volts.maximum > see.limit("switch_point_v")) & (volts.n > 0) | (
        wide.minimum < see.limit("cut_lambda")
    ) & (wide.n > 0)
    stale = (see["two_banks"] < 1) & (see.window("fuel_status_b1", seconds).n < 1)
    told = np.isfinite(see["fuel_status_b1"])
    return np.asarray(switched | (stale & told))


_OTHER_FRONT = (("o2", "_v"), ("lambda", ""))


LEAST_SAMPLES = 2
"""One sample may have come after the fuel had. Source: our choice: on a slow link the
status that says so is older than the sample."""

STAYING_SAMPLES = 5
"""So many samples in the hold time cannot all be lean by chance of polling. Source: our
choice: a switching sensor is lean half the time."""


def _full_not_rich(see: View) -> Bools:
    # Below the switching point all the time it is lean for certain. Above it, it is
    # only not rich, which matters where the unit is known to ask for more: many stay at
    # λ 1 however wide the throttle is, and a sensor goes on switching there.
    staying = see.window("o2_{s}_v", see.limit("wide_open_hold_s"))
    full = see["wide_open_run_s"] >= see.limit("wide_open_hold_s")
    many = staying.n >= STAYING_SAMPLES
    asked = ~(see["lambda_cmd"] > see.limit("wide_open_command"))
    # In closed loop λ 1 is asked for, and lean all the time is not λ 1.
    asked |= see["closed_{b}"] > 0
    starved = full & many & asked & (staying.maximum < see.limit("switch_point_v"))
    told = (see["lambda_cmd"] < see.limit("wide_open_command")) | (
        (see["status_{b}"] == OPEN_BY_LOAD)
        & ~(see["lambda_cmd"] > see.limit("wide_open_command"))
    )
    purged = see["enriching_run_s"] >= see.limit("wide_open_hold_s")
    weak = purged & told & (see["max_1_{s}_v"] < see.limit("wide_open_front_v"))
    # Seen once it may be the lift itself, of which throttle and load were not told yet.
    weak &= staying.n > LEAST_SAMPLES
    heard = ~(see["asleep_{s}_s"] >= 0) & ~at_rest(see) & _settled(see)
    heard &= ~(see["wideband_{s}"] > 0)
    # A rear that is rich says that the fuel is there and the front is weak.
    fuelled = see["o2_{rear}_v"] > see.limit("rear_rich_v")
    return np.asarray((starved | weak) & heard & ~fuelled)


RULES: tuple[Rule, ...] = (
    Rule(
        id="front-lean-rear-rich",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_lean_but_rear_rich,
        gate=Gate.CLOSED_LOOP,
        hold="lying_hold_s",
        clear_s=5.0,
        text=(
            "{place}: the front sensor says lean and the trim adds[ {trim:+.0f} %], "
            "but the rear sensor says rich[, {rear:.2f} V]."
        ),
        figures={"trim": "total_trim_{b}_pct", "rear": "mean_5_{rear}_v"},
        does_not_prove="Not that fuel is missing: the bank may be flooded.",
        causes=(
            "front sensor biased or its signal shorted to ground",
            "exhaust leak at the front sensor",
            "misfire passing oxygen",
        ),
        next=(
            "Unplug the front sensor: it must park near 0.45 V. Force rich: it must "
            "follow. Then smoke the exhaust."
        ),
        caution="flooded-catalyst",
        limits=(
            "lying_lean_trim_pct",
            "front_lean_v",
            "front_lean_lambda",
            "rear_rich_v",
            "limit_least_pct",
        ),
        source=s.SUZUKI_2010,
    ),
    Rule(
        id="front-rich-rear-lean",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_rich_but_rear_lean,
        gate=Gate.CLOSED_LOOP,
        hold="lying_hold_s",
        clear_s=5.0,
        text=(
            "{place}: the front sensor says rich and the trim takes[ {trim:+.0f} %], "
            "but the rear sensor says lean[, {rear:.2f} V]."
        ),
        figures={"trim": "total_trim_{b}_pct", "rear": "mean_5_{rear}_v"},
        does_not_prove="Not that there is too much fuel: the bank may run lean.",
        causes=(
            "front signal shorted to supply",
            "contaminated front sensor",
            "leak at the rear sensor",
        ),
        next="Force lean with a small vacuum leak: a good front sensor follows.",
        caution="hot-exhaust",
        limits=(
            "lying_rich_trim_pct",
            "front_rich_v",
            "front_rich_lambda",
            "rear_lean_v",
        ),
        source=s.COMMON,
    ),
    Rule(
        id="answers-forcing",
        kind=Kind.SENSOR,
        severity=Severity.ACT,
        condition=_answers,
        gate=Gate.NONE,
        hold="forcing_hold_s",
        clear_s=0.0,
        text="{place} followed the forced mixture.",
        does_not_prove="Not that its speed is good: only that it tells rich from lean.",
        causes=("the mixture, when the trim is off",),
        next="Look for the mixture fault: air, fuel, exhaust leak.",
        limits=("forcing_hold_s",),
        source=s.COMMON,
    ),
    Rule(
        id="ignores-forcing",
        kind=Kind.SENSOR,
        severity=Severity.ACT,
        condition=_ignores,
        gate=Gate.NONE,
        hold="forcing_hold_s",
        clear_s=0.0,
        text="{place} did not follow the forced mixture.",
        does_not_prove="Not the sensor alone: its circuit is still to be checked.",
        causes=("signal wire, plug or ground", "sensor", "control unit input"),
        next=(
            "Circuit check at the plug: drive each signal wire as the service "
            "information says. The reading follows: the sensor is bad."
        ),
        caution="computer-inputs",
        limits=("forcing_hold_s",),
        source=s.COMMON,
    ),
    Rule(
        id="decel-not-lean",
        kind=Kind.FRONT,
        severity=Severity.ACT,
        condition=_cut_not_lean,
        gate=Gate.WARM,
        hold="at_once_s",
        clear_s=5.0,
        text="{place} does not read lean in a fuel cut[ at {rpm:.0f} rpm].",
        figures={"rpm": "rpm"},
        does_not_prove="Not the sensor alone: fuel may still be dripping in.",
        causes=("injector dripping", "front sensor biased rich", "signal wire open"),
        next="Repeat the cut; compare the other bank. Then force lean.",
        caution="driver-drives",
        limits=("cut_rpm_min", "cut_front_v", "cut_lambda", "cut_purge_s"),
        source=s.TOYOTA_2021,
    ),
    Rule(
        id="full-throttle-not-rich",
        kind=Kind.FRONT,
        severity=Severity.STOP,
        condition=_full_not_rich,
        gate=Gate.WARM,
        hold="wide_open_hold_s",
        clear_s=5.0,
        text="{place} does not read rich at full throttle[: {volts:.2f} V]. Lift off.",
        figures={"volts": "o2_{s}_v"},
        does_not_prove="Not starvation alone: a lying sensor looks the same.",
        causes=("fuel starvation", "front sensor reads lean", "signal wire open"),
        next="Lift off. Fuel pressure under load before the next pull.",
        caution="fuel-pressure",
        limits=(
            "wide_open_front_v",
            "switch_point_v",
            "wide_open_hold_s",
            "wide_open_command",
            "rear_rich_v",
        ),
        source=s.COMMON,
    ),
)
