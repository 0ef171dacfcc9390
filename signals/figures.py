"""The figures of a session, ready for JSON: numbers are finite, or None for unknown."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from bankwise.signals.catalogue import BANKS
from bankwise.signals.claims import exists
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.frame import Frame
from bankwise.signals.phases import Phase, phases
from bankwise.signals.places import EACH_BANK, EACH_SENSOR, Place
from bankwise.signals.registry import DERIVED
from bankwise.signals.trim_map import trim_map

DIGITS = 4

BY_PHASE_BANK = ("closed_trim_{b}_pct",)
BY_PHASE_SENSOR = ("swing_{s}_v", "time_rich_{s}_pct", "switching_hz_{s}", "mean_{s}_v")
BY_PHASE_WIDE = ("lambda_mean_{s}", "lambda_error_{s}_pct")
BY_PHASE_ENGINE = ("imbalance_now_pct", "common_now_pct", "map_kpa", "maf_gps")
CALLED = {
    "closed_trim_{b}_pct": "total_trim_{b}_pct",
    "imbalance_now_pct": "imbalance_pct",
    "common_now_pct": "common_trim_pct",
}
"""Some figures per phase go by the plain name of what they are."""

ONCE_BANK = (
    "closed_loop_entry_{b}_s",
    "trim_idle_{b}_pct",
    "trim_low_{b}_pct",
    "trim_mid_{b}_pct",
    "trim_high_{b}_pct",
    "downstream_ratio_{b}",
    "crossing_ratio_{b}",
    "storage_{b}_mg",
    "light_off_{b}_s",
)
ONCE_SENSOR = (
    "wake_up_{s}_s",
    "bias_seen_{s}_v",
    "switches_100_{s}",
    "lr_low_{s}_ms",
    "lr_high_{s}_ms",
    "rl_low_{s}_ms",
    "rl_high_{s}_ms",
    "asymmetry_low_{s}",
    "asymmetry_high_{s}",
    "rear_drop_{s}_s",
    "rear_drop_{s}_g",
)
ONCE_ENGINE = (
    "ect_start_c",
    "plateau_c",
    "displacement_l",
    "pull_ve_ratio",
    "pulls",
    "abs_load_check_pct",
    "cuts",
)


def number(value: float) -> float | None:
    """A number fit for JSON: rounded, and None when it is not finite."""
    return round(float(value), DIGITS) if math.isfinite(value) else None


def summary(values: Floats, inside: Bools) -> dict[str, Any]:
    """Median, interquartile range and count of the known values of some ticks."""
    known = values[inside & np.isfinite(values)]
    if not len(known):
        return {"median": None, "iqr": None, "n": 0}
    low, middle, high = np.percentile(known, (25, 50, 75))
    return {"median": number(middle), "iqr": number(high - low), "n": len(known)}


def last(values: Floats) -> float | None:
    """The newest known value, None when there never was one."""
    known = values[np.isfinite(values)]
    return number(known[-1]) if len(known) else None


def figures(frame: Frame) -> dict[str, Any]:
    """Every figure of the session so far."""
    found: dict[str, Any] = {}
    driven = [phase for phase in phases(frame) if phase.seconds > 0]
    found["phases"] = {
        phase.name: {
            "seconds": phase.seconds,
            "stretches": [list(part) for part in phase.stretches],
        }
        for phase in driven
    }
    banks = [place for place in EACH_BANK if exists(frame, place)]
    sensors = [place for place in EACH_SENSOR if exists(frame, place)]
    for pattern in BY_PHASE_ENGINE:
        _by_phase(found, frame, driven, pattern, None)
    for place in banks:
        for pattern in BY_PHASE_BANK:
            _by_phase(found, frame, driven, pattern, place)
        for pattern in ONCE_BANK:
            found[place.fill(pattern)] = last(frame[place.fill(pattern)])
    for place in sensors:
        wide = frame[place.fill("wideband_{s}")][-1] == 1
        for pattern in BY_PHASE_WIDE if wide else BY_PHASE_SENSOR:
            _by_phase(found, frame, driven, pattern, place)
        for name in (place.fill(pattern) for pattern in ONCE_SENSOR):
            if name in DERIVED:
                found[name] = last(frame[name])
    for name in ONCE_ENGINE:
        found[name] = last(frame[name])
    for bank in BANKS[: len(banks)]:
        found[f"trim_map_b{bank}"] = [
            {
                "rpm": cell.rpm,
                "load_pct": cell.load_pct,
                "median": number(cell.median),
                "iqr": number(cell.iqr),
                "n": cell.n,
            }
            for cell in trim_map(frame, bank)
        ]
    return found


def _by_phase(
    found: dict[str, Any],
    frame: Frame,
    driven: list[Phase],
    pattern: str,
    place: Place | None,
) -> None:
    name = place.fill(pattern) if place else pattern
    called = CALLED.get(pattern, pattern)
    called = place.fill(called) if place else called
    values = frame[name]
    parts = {phase.name: summary(values, phase.ticks) for phase in driven}
    found[called] = {name: part for name, part in parts.items() if part["n"]}
