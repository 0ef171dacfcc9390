"""Flags about what both banks' trims share: air, fuel and meters for the whole engine.

Patterns as in `flags_trims`, over airflow bins and silent where a trim says nothing.
"""

from __future__ import annotations

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.severity import Severity
from bankwise.signals.trim_shapes import (
    alike,
    bins,
    enough,
    everywhere,
    fades,
    moving,
)


def _both_lean_fades(see: View) -> Bools:
    road = moving(see, "common_BIN_pct")
    return fades(see, see["common_idle_pct"], road) & alike(see)


def _both_lean_grows(see: View) -> Bools:
    loaded = see["common_load_pct"]
    rise = loaded - see["common_idle_pct"]
    grows = (rise > see.limit("trim_rise_pct")) & (loaded >= see.limit("trim_add_pct"))
    # A supply that is short at idle already would not run under load at all.
    most = see["common_idle_pct"] < see.limit("trim_fade_share") * loaded
    return grows & most & alike(see)


def _both_lean(see: View) -> Bools:
    rows = bins(see, "common_BIN_pct")
    adds = everywhere(rows >= see.limit("common_add_pct"), rows, see)
    falls = fades(see, see["common_idle_pct"], moving(see, "common_BIN_pct"))
    return adds & ~_both_lean_grows(see) & ~falls & alike(see)


def _both_rich(see: View) -> Bools:
    rows = bins(see, "common_BIN_pct")
    return enough(rows <= -see.limit("trim_add_pct"), see) & alike(see)


RULES: tuple[Rule, ...] = (
    Rule(
        id="both-lean-fades",
        kind=Kind.ENGINE,
        severity=Severity.ACT,
        condition=_both_lean_fades,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=20.0,
        text=(
            "Added fuel fades with load[: {idle:+.0f} % at idle, {road:+.0f} % on "
            "the road]."
        ),
        figures={"idle": "common_idle_pct", "road": "common_road_pct"},
        does_not_prove="Not where the air comes in.",
        causes=(
            "air entering behind the airflow meter",
            "brake booster or crankcase hose leaking",
            "purge valve drawing air",
        ),
        next="Smoke the intake from the airflow meter to the ports.",
        limits=("trim_add_pct", "trim_fade_pct"),
        source=s.MOTOR_2016,
        trim_pattern=True,
    ),
    Rule(
        id="both-lean-grows",
        kind=Kind.ENGINE,
        severity=Severity.ACT,
        condition=_both_lean_grows,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=20.0,
        text=(
            "Added fuel grows with load[: {idle:+.0f} % at idle, {load:+.0f} % loaded]."
        ),
        figures={"idle": "common_idle_pct", "load": "common_load_pct"},
        does_not_prove="Not which: too little fuel, or too little air metered.",
        causes=(
            "weak fuel supply: pump, filter, pressure",
            "airflow meter reads too little",
        ),
        next=(
            "Fuel pressure under load, and a full-throttle pull for filling: low "
            "filling blames the airflow meter, normal filling the fuel supply."
        ),
        caution="fuel-pressure",
        limits=("trim_rise_pct", "trim_add_pct"),
        source=f"{s.DERIVED} from {s.MOTOR_2003}",
        trim_pattern=True,
    ),
    Rule(
        id="both-lean",
        kind=Kind.ENGINE,
        severity=Severity.ACT,
        condition=_both_lean,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=20.0,
        text=(
            "The engine adds fuel at every load[: {idle:+.0f} % at idle][, "
            "{road:+.0f} % on the road]."
        ),
        figures={"idle": "common_idle_pct", "road": "common_road_pct"},
        does_not_prove="Not which: too little fuel, or too little air metered.",
        causes=("airflow meter reads too little", "low fuel pressure"),
        next="Full-throttle pull for filling; then fuel pressure.",
        caution="legal-roads",
        limits=("common_add_pct", "trim_cells_min"),
        source=s.COMMON,
        trim_pattern=True,
    ),
    Rule(
        id="both-rich",
        kind=Kind.ENGINE,
        severity=Severity.ACT,
        condition=_both_rich,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=20.0,
        text="The engine takes fuel away everywhere[: {now:+.0f} % now].",
        figures={"now": "common_now_pct"},
        does_not_prove="Not where the extra fuel comes from.",
        causes=(
            "purge valve stuck open",
            "fuel pressure too high",
            "airflow meter reads too much",
            "fuel in the oil",
        ),
        next="Close off the purge hose and watch the trims; then fuel pressure.",
        caution="flooded-catalyst",
        limits=("trim_add_pct", "trim_cells_min"),
        source=s.COMMON,
        trim_pattern=True,
    ),
)
