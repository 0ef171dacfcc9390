"""Flags about the whole engine: filling, cams, warm-up, supply."""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.severity import Severity

GOOD_SHARE = 1.15
"""A pull that took this many times the limit filled well. Source: our choice, because
one engine's filling changes by a few percent from pull to pull."""


def _low_airflow(see: View) -> Bools:
    normal = np.abs(see["common_load_pct"]) < see.limit("trim_add_pct")
    # What blocks the air is there in every pull: one that filled well refutes it.
    never = ~(see["best_pull_ve_ratio"] >= GOOD_SHARE * see.limit("ve_share_min"))
    return (see["low_pulls"] >= see.limit("ve_pulls_min")) & normal & never


CAM_STALE_S = 5.0
"""Age at which a cam reading is no longer "now". Source: our choice, because the
readings are maker-specific and come about once a second."""


def _newest(see: View, pattern: str) -> Floats:
    """Newest value of a maker-specific signal, which a definition file names."""
    column = see.columns[see.place.fill(pattern)]
    if not len(column):
        return np.full(len(see.ticks), np.nan)
    last = np.searchsorted(column.t, see.ticks, side="right") - 1
    age = see.ticks - column.t[np.maximum(last, 0)]
    fresh = (last >= 0) & (age <= CAM_STALE_S)
    return np.where(fresh, column.v[np.maximum(last, 0)], np.nan)


def _cam_off(see: View) -> Bools:
    desired = _newest(see, "cam_desired_{b}_deg")
    actual = _newest(see, "cam_actual_{b}_deg")
    return np.abs(desired - actual) > see.limit("cam_error_deg")


def _thermostat(see: View) -> Bools:
    late = see["since_start_s"] > see.limit("thermostat_after_s")
    # Levelled off too low, or never got there although it had the time.
    never = see["highest_ect_c"] < see.limit("thermostat_c")
    return ((see["plateau_c"] < see.limit("thermostat_c")) | never) & late


def _low_fuel(see: View) -> Bools:
    return see["fuel_level_pct"] < see.limit("fuel_level_min_pct")


def _voltage(see: View) -> Bools:
    volts = see["module_v"]
    out = (volts < see.limit("gate_volts_min")) | (volts > see.limit("gate_volts_max"))
    return out & (see["running"] > 0)


RULES: tuple[Rule, ...] = (
    Rule(
        id="low-airflow",
        kind=Kind.ENGINE,
        severity=Severity.ACT,
        condition=_low_airflow,
        gate=Gate.WARM,
        hold="settled_s",
        clear_s=60.0,
        text=(
            "At full throttle the engine fills badly[, {share:.0%} of what is "
            "usual,] with normal trims: air is really missing."
        ),
        figures={"share": "pull_ve_ratio"},
        does_not_prove="Not which part blocks the air.",
        causes=("blocked exhaust or catalyst", "cam timing", "blocked air filter"),
        next="Backpressure at full throttle, then cam timing, then the intake.",
        caution="legal-roads",
        limits=("ve_share_min", "ve_pulls_min", "trim_add_pct"),
        source=s.MOTOR_2003,
    ),
    Rule(
        id="cam-off-target",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_cam_off,
        gate=Gate.WARM,
        hold="cam_hold_s",
        clear_s=5.0,
        text="{place}: the cam stays more than 10° away from where it is asked to be.",
        does_not_prove="Not that the cam is mistimed: oil or solenoid look the same.",
        causes=("oil level, pressure or viscosity", "oil control valve", "chain"),
        next="Oil first; both cams of a bank off alike: chain or sprocket.",
        limits=("cam_error_deg", "cam_hold_s"),
        source=f"{s.MAZDA_CAM}; {s.SUZUKI_CAM}",
    ),
    Rule(
        id="thermostat-low",
        kind=Kind.ENGINE,
        severity=Severity.WATCH,
        condition=_thermostat,
        gate=Gate.NONE,
        hold="supply_hold_s",
        clear_s=60.0,
        text="Coolant is too cool after 15 minutes[: {now:.0f} °C].",
        figures={"now": "ect_c"},
        does_not_prove="Not the thermostat alone: a wrong reading looks the same.",
        causes=("thermostat stuck open", "coolant sensor reads low", "low coolant"),
        next="Feel the radiator hose while warming up: warm at once means open.",
        caution="hot-exhaust",
        limits=("thermostat_c", "thermostat_after_s", "thermostat_slope"),
        source=s.SUZUKI_2003,
    ),
    Rule(
        id="low-fuel",
        kind=Kind.ENGINE,
        severity=Severity.INFO,
        condition=_low_fuel,
        gate=Gate.NONE,
        hold="supply_hold_s",
        clear_s=60.0,
        text="The tank is nearly empty[ ({level:.0f} %)].",
        figures={"level": "fuel_level_pct"},
        does_not_prove="A lean mixture now does not prove a weak fuel supply.",
        causes=("low fuel level",),
        next="Fill up before judging the fuel supply.",
        limits=("fuel_level_min_pct", "supply_hold_s"),
        source=s.COMMON,
    ),
    Rule(
        id="voltage-out-of-range",
        kind=Kind.ENGINE,
        severity=Severity.INFO,
        condition=_voltage,
        gate=Gate.NONE,
        hold="supply_hold_s",
        clear_s=10.0,
        text=(
            "Control unit voltage is out of range[, {volts:.1f} V,] with the engine "
            "running."
        ),
        figures={"volts": "module_v"},
        does_not_prove="Heaters, injectors and pump cannot be judged at this voltage.",
        causes=("charging system", "battery", "supply or ground wiring"),
        next="Check charging voltage and grounds first.",
        limits=("gate_volts_min", "gate_volts_max", "supply_hold_s"),
        source=s.COMMON,
    ),
)
