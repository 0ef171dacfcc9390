"""Flags about what is behind the catalyst: the rear sensors and the catalyst."""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.flags_sensors import warmed_through
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.sampling import PARKED_HZ
from bankwise.signals.severity import Severity
from bankwise.signals.sides import early_cut
from bankwise.signals.tracks import LEAN_V


def _flat(see: View) -> Bools:
    proven = (see["flat_cuts_{s}"] >= 1) & (see["flat_enrichments_{s}"] >= 1)
    band = see["swing_120_{s}_v"] < see.limit("rear_flat_band_v")
    mixed = see["mixed_120"] >= see.limit("rear_flat_states")
    long = see["running_run_s"] >= see.limit("rear_flat_hold_s")
    # At an end of its range a rear may be right: the bank really is rich or lean.
    middle = (see["mean_{s}_v"] > see.limit("rear_lean_v")) & (
        see["mean_{s}_v"] < see.limit("rear_rich_v")
    )
    level = np.abs(see["trim_10_{b}_pct"]) < see.limit("trim_add_pct")
    low = (see["mean_{s}_v"] <= see.limit("rear_lean_v")) & level
    # A good catalyst holds the rear still for minutes in closed loop; only enrichment
    # that it did not follow, or a place where inputs rest, says more.
    tried = (see["flat_enrichments_{s}"] >= 1) & (see["hz_{s}"] >= PARKED_HZ)
    resting = (see["mean_{s}_v"] >= see.limit("rear_flat_low_v")) & (
        see["mean_{s}_v"] <= see.limit("rear_rest_v")
    )
    still = band & mixed & long & ((middle & resting) | ((middle | low) & tried))
    # At λ 1 nothing keeps a rear in plain air for minutes.
    pinned = see.window("o2_{s}_v", see.limit("rear_pinned_hold_s"))
    at_end = (pinned.n >= PINNED_SAMPLES) & (
        pinned.maximum < see.limit("rear_pinned_v")
    )
    at_end &= level & (see["closed_{b}"] > 0)
    at_end &= see["running_run_s"] >= see.limit("rear_pinned_hold_s")
    # What reached both sides once works, however still it is now.
    works = (see["highest_{s}_v"] > see.limit("rear_rich_v")) & (
        see["lowest_{s}_v"] < LEAN_V
    )
    return (proven | still | at_end) & ~works & warmed_through(see)


PINNED_SAMPLES = 30
"""So many samples speak for the whole time. Source: our choice: one in ten seconds."""


def _rich_in_cut(see: View) -> Bools:
    rich = see.window("o2_{s}_v", see.limit("rear_decel_s"))
    awake = ~(see["asleep_{s}_s"] >= 0)
    front = see.window("o2_{front}_v", see.limit("rear_decel_s"))
    cut = ~(front.minimum > see.limit("front_lean_v"))
    stays = rich.minimum > see.limit("rear_decel_v")
    return early_cut(see, "rear_decel_s") & awake & stays & cut


BUSY_TICKS = 120
"""A minute: how long a rear behind a wide-band front is watched. Source: our choice,
because λ crosses its target by chance for a while on some roads."""


def _mean_back(see: View, name: str) -> Floats:
    """Mean over the last minute, NaN until every tick of it has a value."""
    cells = see.back(name, BUSY_TICKS)
    rows = np.lib.stride_tricks.sliding_window_view(cells, BUSY_TICKS)
    return np.asarray(rows.mean(axis=1))


def _copies(see: View) -> Bools:
    most = see.limit("rear_ratio_max")
    busy = _mean_back(see, "crossing_ratio_{b}") > most
    travels = _mean_back(see, "activity_{rear}_vps") > see.limit("rear_busy_vps")
    wide = (see["wideband_{front}"] > 0) & busy & travels
    lively = see["swing_120_{rear}_v"] >= see.limit("rear_lively_v")
    return (
        (see["downstream_ratio_{b}"] > most) & ~(see["crossing_ratio_{b}"] <= 0.5)
        | wide
    ) & (lively & ~(see["crossing_ratio_{b}"] > see.limit("rear_copy_max")))


def _hot(see: View) -> Bools:
    most = see.limit("catalyst_hot_c")
    return (see["cat_{front}_c"] > most) | (see["cat_{rear}_c"] > most)


RULES: tuple[Rule, ...] = (
    Rule(
        id="rear-flat",
        kind=Kind.REAR,
        severity=Severity.WATCH,
        condition=_flat,
        gate=Gate.WARM,
        hold="settled_s",
        clear_s=10.0,
        text="{place} stays put[ near {volts:.2f} V] through mixed driving.",
        figures={"volts": "mean_{s}_v"},
        does_not_prove="Not that the sensor is dead: unplugged looks the same.",
        causes=("rear sensor dead", "rear sensor fouled", "unplugged or open wire"),
        next="Force rich and lean and watch it; then the circuit check.",
        caution="computer-inputs",
        limits=(
            "rear_flat_low_v",
            "rear_flat_high_v",
            "rear_rest_v",
            "rear_pinned_v",
            "rear_pinned_hold_s",
            "rear_flat_band_v",
            "rear_flat_hold_s",
            "rear_flat_states",
        ),
        source=s.COMMON,
    ),
    Rule(
        id="rear-rich-in-decel",
        kind=Kind.REAR,
        severity=Severity.WATCH,
        condition=_rich_in_cut,
        gate=Gate.WARM,
        hold="at_once_s",
        clear_s=5.0,
        text="{place} is still rich[ ({volts:.2f} V)][ {cut:.0f} s] into a fuel cut.",
        figures={"volts": "o2_{s}_v", "cut": "cut_run_s"},
        does_not_prove="Not the catalyst: plain air should reach it by now.",
        causes=("rear sensor fouled", "rear signal shorted", "injector dripping"),
        next="Repeat the fuel cut from higher speed; then the circuit check.",
        caution="driver-drives",
        limits=("rear_decel_v", "rear_decel_s"),
        source=s.MAZDA_2003,
    ),
    Rule(
        id="rear-copies-front",
        kind=Kind.BANK,
        severity=Severity.WATCH,
        condition=_copies,
        gate=Gate.CLOSED_LOOP,
        hold="pattern_hold_s",
        clear_s=30.0,
        text=(
            "{place}: the rear sensor copies the front[, {ratio:.0%} of its crossings]."
        ),
        figures={"ratio": "crossing_ratio_{b}"},
        does_not_prove="Not a worn catalyst while the mixture is wrong: that first.",
        causes=("catalyst worn", "leak between the sensors"),
        next="Hold 2500 rpm, then snap and release: does the rear sensor follow?",
        caution="evidence-only",
        limits=("rear_ratio_max", "rear_copy_max", "rear_lively_v", "rear_busy_vps"),
        source=s.COMMON,
        trim_pattern=True,
    ),
    Rule(
        id="catalyst-too-hot",
        kind=Kind.BANK,
        severity=Severity.STOP,
        condition=_hot,
        gate=Gate.NONE,
        hold="catalyst_hot_hold_s",
        clear_s=10.0,
        text="{place}: catalyst too hot[: {temp:.0f} °C]. Lift off, stop safely.",
        figures={"temp": "cat_{front}_c"},
        does_not_prove="Often a computed value: not measured on every car.",
        causes=("misfire sends fuel into it", "very rich mixture", "oil burning"),
        next="Stop, let it cool; then find the misfire or the fuel.",
        caution="flooded-catalyst",
        limits=("catalyst_hot_c", "catalyst_hot_hold_s"),
        source=s.MITSUBISHI_2003,
    ),
)
