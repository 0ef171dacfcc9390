"""Flags about one sensor's own signal: asleep, parked, frozen, stuck, slow.

None of them condemns a sensor: a signal can look like this because the mixture is
like this. Only a forced test tells the two apart.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.sensor_life import END_LAMBDA
from bankwise.signals.severity import Severity
from bankwise.signals.sides import never_lean, never_rich


def warmed_through(see: View) -> Bools:
    """Where a rear sensor has had the time to wake: its heater waits for a dry pipe."""
    ran = np.where(
        np.isnan(see["since_start_s"]), see["running_run_s"], see["since_start_s"]
    )
    return (ran >= see.limit("wake_up_rear_s")) & (see["gate_engine"] > 0)


def _parked(see: View) -> Bools:
    still = ~(see["swing_{s}_v"] > see.limit("parked_swing_v"))
    if (see.place.position or 1) > 1:
        still &= warmed_through(see)
    return (see["parked_off_idle_{s}_s"] >= see.limit("parked_hold_s")) & still


def _frozen(see: View) -> Bools:
    moves = see["throttle_range_pct"] >= see.limit("frozen_throttle_pct")
    asleep = see["asleep_{s}_s"] <= see.limit("wake_up_first_s")
    # At the end of its scale it cannot move; only closed loop has no business there.
    at_end = (see["lambda_{s}"] >= END_LAMBDA) & ~(see["closed_{b}"] > 0)
    still = see["frozen_{s}_s"] >= see.limit("frozen_hold_s")
    return still & moves & ~asleep & ~at_end


def _fuelled(see: View) -> Bools:
    return ~(see["fuel_cut"] > 0) & ~(see["wide_open"] > 0)


def _not_switching(see: View) -> Bools:
    rpm = see["rpm"]
    pace = (rpm >= see.limit("switch_rpm_min")) & (rpm <= see.limit("switch_rpm_max"))
    # One that keeps crossing the middle does switch, if weakly: `small-swing`.
    few = (see["switches_{s}"] < see.limit("switches_min")) & ~(
        see["crossings_{s}"] > 2 * see.limit("switches_min")
    )
    settled = ~(see["closed_run_{b}_s"] < see.limit("switch_window_s"))
    other = (see["parked_{s}_s"] > 10) | never_rich(see, "{s}") | never_lean(see, "{s}")
    return few & pace & settled & ~other & _fuelled(see)


def _side_run(see: View, side: str) -> Floats:
    """Seconds on one side, by λ or by volts that come fast enough to say so."""
    wide = see["wideband_{s}"] > 0
    return np.where(wide, see[f"{side}_run_{{s}}_s"], see[f"stuck_{side}_{{s}}_s"])


def _moved(see: View) -> Bools:
    return see["trim_range_{b}_pct"] > see.limit("stuck_trim_move_pct")


def _stuck_lean(see: View) -> Bools:
    stays = _side_run(see, "lean") >= see.limit("stuck_hold_s")
    stays |= never_rich(see, "{s}")
    far = see["total_trim_{b}_pct"] >= see.limit("lying_lean_trim_pct")
    adds = see["total_trim_{b}_pct"] >= see.limit("stuck_trim_move_pct")
    return stays & ((_moved(see) & adds) | far) & _fuelled(see)


def _stuck_rich(see: View) -> Bools:
    stays = _side_run(see, "rich") >= see.limit("stuck_hold_s")
    stays |= never_lean(see, "{s}")
    far = see["total_trim_{b}_pct"] <= see.limit("lying_rich_trim_pct")
    takes = see["total_trim_{b}_pct"] <= -see.limit("stuck_trim_move_pct")
    return stays & ((_moved(see) & takes) | far) & _fuelled(see)


def _honest(see: View) -> Bools:
    """A bound on a pass holds only while no pass can hide between two samples."""
    return see["honest_switching_{s}"] > 0


def _slow(see: View) -> Bools:
    up = see["lr_least_{s}_ms"] > see.limit("response_lr_ms")
    down = see["rl_least_{s}_ms"] > see.limit("response_rl_ms")
    return (up | down) & _honest(see)


def _one_way(see: View) -> Bools:
    slow_up = see["asymmetry_low_{s}"] > see.limit("asymmetry_max")
    slow_down = see["asymmetry_high_{s}"] < see.limit("asymmetry_min")
    return (slow_up | slow_down) & _honest(see)


def _small_swing(see: View) -> Bools:
    alive = see["crossings_{s}"] >= see.limit("switches_min")
    small = see["swing_{s}_v"] < see.limit("swing_min_v")
    # Fast switching cuts the swing of every sensor; the limit is for moderate speed.
    moderate = ~(see["rpm"] > see.limit("switch_rpm_max"))
    return small & alive & moderate & _fuelled(see)


def _late_wake_up(see: View) -> Bools:
    rear = (see.place.position or 1) > 1
    most = see.limit("wake_up_rear_s" if rear else "wake_up_s")
    own, other = see["wake_up_{s}_s"], see[f"wake_up_{{o}}s{see.place.position}_s"]
    later = (own > see.limit("wake_up_ratio") * other) & (
        own - other > see.limit("wake_up_apart_s")
    )
    if rear:
        # Behind a good catalyst a rear may rest near its bias although it is awake.
        later &= own > see.limit("wake_up_s")
    else:
        later |= (own > see.limit("wake_up_own_ratio") * see["wake_up_{rear}_s"]) & (
            own > see.limit("wake_up_own_s")
        )
    return (own > most) | (see["asleep_{s}_s"] > most) | later


def _off_command(see: View) -> Bools:
    off = np.abs(see["lambda_error_{s}_pct"]) > see.limit("lambda_error_pct")
    # Without a command λ 1 is meant, which a cold engine does not aim at.
    asked = np.isfinite(see["lambda_cmd"]) | (
        see["ect_c"] > see.limit("gate_coolant_c")
    )
    # No petrol engine burns so lean: both banks in plain air are a fuel cut.
    air, other = see["lambda_mean_{s}"], see["lambda_mean_{o}s1"]
    most = see.limit("plain_air_lambda")
    air_only = (air > most) & ((other > most) | np.isnan(other))
    return off & asked & ~air_only & _fuelled(see)


_FORCE = "Force the mixture rich, then lean: a good sensor follows within a second."
_CIRCUIT = (
    "Circuit check at the plug: heater supply, ground, then drive each signal wire as "
    "the service information says; the reading must follow."
)

RULES: tuple[Rule, ...] = (
    Rule(
        id="parked-at-bias",
        kind=Kind.SENSOR,
        severity=Severity.ACT,
        condition=_parked,
        gate=Gate.POWER,
        hold="settled_s",
        clear_s=5.0,
        text="{place} sits still[ at {volts:.2f} V], where an open input rests.",
        figures={"volts": "mean_{s}_v"},
        does_not_prove="Not a bad sensor: wire, plug or heater look the same.",
        causes=(
            "sensor unplugged",
            "open signal wire or ground",
            "heater not heating",
            "dead sensor",
        ),
        next=_CIRCUIT,
        caution="computer-inputs",
        limits=(
            "parked_low_v",
            "parked_high_v",
            "parked_band_v",
            "parked_swing_v",
            "parked_hold_s",
        ),
        source=s.SATURN_1998,
    ),
    Rule(
        id="wideband-frozen",
        kind=Kind.FRONT,
        severity=Severity.ACT,
        condition=_frozen,
        gate=Gate.POWER,
        hold="settled_s",
        clear_s=5.0,
        text="{place} has not moved[ for {still:.0f} s] while the throttle did.",
        figures={"still": "frozen_{s}_s"},
        does_not_prove="Not that the sensor is bad: a substitute value looks the same.",
        causes=(
            "open pump or reference wire",
            "the control unit shows a substitute value",
            "dead sensor",
        ),
        next=_CIRCUIT,
        caution="computer-inputs",
        limits=("frozen_hold_s", "frozen_throttle_pct"),
        source=s.COMMON,
    ),
    Rule(
        id="sensor-not-switching",
        kind=Kind.FRONT,
        severity=Severity.ACT,
        condition=_not_switching,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=10.0,
        text=(
            "{place} switched too seldom[, {switches:.0f} times] in 20 s of closed "
            "loop."
        ),
        figures={"switches": "switches_{s}"},
        does_not_prove="Not a slow sensor: a mixture held off looks the same.",
        causes=(
            "aged or contaminated sensor",
            "mixture held away from λ 1",
            "exhaust leak ahead of it",
        ),
        next=_FORCE,
        caution="flammable-gas",
        limits=("switches_min", "switch_window_s", "switch_rpm_min", "switch_rpm_max"),
        source=s.COMMON,
    ),
    Rule(
        id="stuck-lean",
        kind=Kind.FRONT,
        severity=Severity.ACT,
        condition=_stuck_lean,
        gate=Gate.CLOSED_LOOP,
        hold="settled_s",
        clear_s=5.0,
        text="{place} stays lean while the trim goes up[ to {trim:+.0f} %].",
        figures={"trim": "total_trim_{b}_pct"},
        does_not_prove="Not whether mixture or sensor: only forcing decides.",
        causes=(
            "mixture leaner than the trim can correct",
            "signal wire shorted to ground",
            "exhaust leak ahead of the sensor",
            "dead sensor",
        ),
        next=_FORCE,
        caution="flammable-gas",
        limits=(
            "front_lean_v",
            "front_lean_lambda",
            "stuck_hold_s",
            "stuck_trim_move_pct",
            "lying_lean_trim_pct",
        ),
        source=s.COMMON,
    ),
    Rule(
        id="stuck-rich",
        kind=Kind.FRONT,
        severity=Severity.ACT,
        condition=_stuck_rich,
        gate=Gate.CLOSED_LOOP,
        hold="settled_s",
        clear_s=5.0,
        text="{place} stays rich while the trim goes down[ to {trim:+.0f} %].",
        figures={"trim": "total_trim_{b}_pct"},
        does_not_prove="Not whether mixture or sensor: only forcing decides.",
        causes=(
            "mixture richer than the trim can correct",
            "signal wire shorted to supply",
            "contaminated sensor",
        ),
        next="Force lean with a small vacuum leak: a good sensor follows at once.",
        caution="flooded-catalyst",
        limits=(
            "front_rich_v",
            "front_rich_lambda",
            "stuck_hold_s",
            "stuck_trim_move_pct",
            "lying_rich_trim_pct",
        ),
        source=s.COMMON,
    ),
    Rule(
        id="slow-switching",
        kind=Kind.FRONT,
        severity=Severity.WATCH,
        condition=_slow,
        gate=Gate.CLOSED_LOOP,
        hold="settled_s",
        clear_s=30.0,
        text=(
            "{place} is slow[: at least {up:.0f} ms to rich and {down:.0f} ms to lean]."
        ),
        figures={"up": "lr_least_{s}_ms", "down": "rl_least_{s}_ms"},
        does_not_prove="Not that it must be replaced: heater and ground slow it too.",
        causes=("aged sensor", "weak heater", "contamination"),
        next="Compare with the other bank at 2500 rpm; check the heater.",
        caution="driver-drives",
        limits=("response_lr_ms", "response_rl_ms", "response_events_min"),
        source=s.GM_2000,
    ),
    Rule(
        id="slow-one-way",
        kind=Kind.FRONT,
        severity=Severity.WATCH,
        condition=_one_way,
        gate=Gate.CLOSED_LOOP,
        hold="settled_s",
        clear_s=30.0,
        text="{place} is slower one way[: to rich takes {ratio:.1f} times to lean].",
        figures={"ratio": "asymmetry_low_{s}"},
        does_not_prove="Not that it must be replaced: it biases the trim meanwhile.",
        causes=("contaminated sensor", "aged sensor"),
        next=_FORCE,
        caution="flammable-gas",
        limits=("asymmetry_min", "asymmetry_max", "response_events_min"),
        source=f"{s.SATURN_1999}; {s.AGEING}",
    ),
    Rule(
        id="small-swing",
        kind=Kind.FRONT,
        severity=Severity.WATCH,
        condition=_small_swing,
        gate=Gate.CLOSED_LOOP,
        hold="swing_hold_s",
        clear_s=10.0,
        text="{place} swings too little[: {swing:.2f} V].",
        figures={"swing": "swing_{s}_v"},
        does_not_prove="Not that the sensor is worn out: a poor ground does the same.",
        causes=("contaminated sensor", "ground resistance", "weak heater"),
        next="Voltage drop on the sensor ground; then force rich and lean.",
        caution="computer-inputs",
        limits=("switch_rpm_max", "swing_min_v", "swing_hold_s", "switches_min"),
        source=s.TEXTBOOK,
    ),
    Rule(
        id="late-wake-up",
        kind=Kind.SENSOR,
        severity=Severity.WATCH,
        condition=_late_wake_up,
        gate=Gate.POWER,
        hold="settled_s",
        clear_s=60.0,
        text=(
            "{place} wakes late[: {woke:.0f} s after the start][: not yet "
            "{asleep:.0f} s after the start]."
        ),
        figures={"woke": "wake_up_{s}_s", "asleep": "asleep_{s}_s"},
        does_not_prove="Not the heater alone: a short warm-up idle delays it too.",
        causes=("heater", "heater supply or fuse", "ground"),
        next="Heater resistance cold, heater supply with the engine running.",
        caution="hot-exhaust",
        limits=("wake_up_s", "wake_up_rear_s", "wake_up_ratio", "wake_up_apart_s"),
        source=s.SATURN_1998,
    ),
    Rule(
        id="lambda-off-command",
        kind=Kind.FRONT,
        severity=Severity.ACT,
        condition=_off_command,
        gate=Gate.CLOSED_LOOP,
        hold="lambda_error_hold_s",
        clear_s=5.0,
        text="{place} reads off the commanded λ[ by {error:+.0f} %].",
        figures={"error": "lambda_error_{s}_pct"},
        does_not_prove="Not whether mixture or sensor: compare with the rear sensor.",
        causes=(
            "mixture off, when the rear sensor agrees",
            "sensor off, when the rear sensor disagrees",
        ),
        next=_FORCE,
        caution="flammable-gas",
        limits=("lambda_error_pct", "lambda_error_hold_s"),
        source=s.COMMON,
    ),
)
