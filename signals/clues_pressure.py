"""Clues on cars that meter air by the manifold's pressure: does that sensor err?

Three witnesses, none of which needs to know the engine: the barometer while the engine
stands, the weather, and driving at idle's pressure with more airflow.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bankwise.signals.clue import NORMAL_TRIM_PCT, Clue, Signals, last, signed

PRESSURE_SHARE, RATHER_SHARE, PRESSURE_TICKS = 0.05, 0.035, 2
"""How far two pressure sensors may differ with the engine off: beyond the first one
errs, beyond the second it rather does; and for how many ticks the manifold is seen.

Source: our choice, because each may err by about two percent of its range, and two
sound ones seldom err fully and in opposite ways. Many units take the barometer from the
manifold's sensor itself, so that two that agree prove nothing.
"""

WEATHER_KPA = 104.5
"""Hardly any weather brings so much pressure, nowhere above the sea. Source: our
choice, because the strongest highs end near 105 kPa."""

OPEN_SHARE, OPEN_RPM, OPEN_TICKS = 0.90, 3500.0, 4
"""A manifold this far below the barometer at full throttle and moderate speed, so long.

Source: our choice, because an open throttle costs a few kPa at such a speed.
"""

FALL_PCT = 4.0
"""Share of a trim that must fade for a pressure sensor to be likelier than fuel.

Source: derived. What burnt gas holds of the manifold's pressure is a fixed amount, so
a reading off by the same share, or the same amount, at every load misses more of the
air at idle; pressure of fuel is missed alike, or more under load.
"""

SAME_SHARE, FASTER, SAME_TICKS = 0.15, 1.7, 20
"""Driving at idle's pressure: this near to it, this much faster, for so many ticks.

Source: derived. A pressure sensor's error depends on the pressure alone, so at the same
pressure the trim is the same at any speed. Air or vapour that flows in besides is the
same amount at the same pressure, and a faster engine dilutes it: at twice the speed
half the trim is left.
"""


def by_pressure(signals: Signals, *, lean: bool) -> Iterator[Clue]:
    """What separates a pressure sensor that errs from wrong fuel or air."""
    yield from _standing(signals)
    yield from _shape(signals, lean=lean)
    yield from _at_idle_pressure(signals)


def _standing(signals: Signals) -> Iterator[Clue]:
    """The manifold's pressure against the barometer's where both must be alike."""
    pressure, barometer = signals["map_kpa"], signals["baro_kpa"]
    off = (signals["rpm"] <= 0) & np.isfinite(pressure)
    told = barometer[np.isfinite(barometer)]
    if np.count_nonzero(off) >= PRESSURE_TICKS:
        found = float(np.median(pressure[off]))
        yield from _against(found, float(np.median(told)) if told.size else np.nan)
        return
    share = pressure / barometer
    full = (signals["wide_open_run_s"] >= 1.0) & (signals["rpm"] < OPEN_RPM)
    full &= np.isfinite(share)
    if np.count_nonzero(full) >= OPEN_TICKS:
        part = float(np.median(share[full]))
        words = f"At full throttle the manifold reads {part:.0%} of the barometer"
        if part < OPEN_SHARE:
            yield Clue("pressure-low-wide-open", "engine", words)


def _against(found: float, barometer: float) -> Iterator[Clue]:
    words = f"With the engine off the manifold reads {found:.0f} kPa"
    if np.isnan(barometer):
        if found > WEATHER_KPA:
            words += ", more than the air weighs in any usual weather"
            yield Clue("pressure-rather-high", "engine", words)
        return
    share = found / barometer
    words += f", {share:.0%} of the barometer"
    for kind, beyond in (
        ("pressure-reads-low", share < 1 - PRESSURE_SHARE),
        ("pressure-reads-high", share > 1 + PRESSURE_SHARE),
        ("pressure-rather-low", share < 1 - RATHER_SHARE),
        ("pressure-rather-high", share > 1 + RATHER_SHARE),
    ):
        if beyond:
            yield Clue(kind, "engine", words)
            return


def _shape(signals: Signals, *, lean: bool) -> Iterator[Clue]:
    idle, loaded = last(signals, "common_idle_pct"), last(signals, "common_load_pct")
    words = f"The trim is {signed(idle)} at idle and {signed(loaded)} loaded"
    far = idle if not lean else loaded
    if min(far, idle) >= NORMAL_TRIM_PCT and idle - loaded >= FALL_PCT:
        yield Clue("lean-falls-with-load", "engine", words)
    if idle < 0 and loaded - idle >= FALL_PCT:
        yield Clue("rich-falls-with-load", "engine", words)


def _at_idle_pressure(signals: Signals) -> Iterator[Clue]:
    """Whether a trim that is far off at idle goes with the pressure or the airflow."""
    trim, pressure = signals["common_now_pct"], signals["map_kpa"]
    rpm, idle = signals["rpm"], signals["idle"] > 0
    told = np.isfinite(trim) & np.isfinite(pressure) & (rpm > 0)
    told &= np.isfinite(signals["bin_settled"])
    rest = told & idle
    if np.count_nonzero(rest) < SAME_TICKS:
        return
    there, slow = float(np.median(pressure[rest])), float(np.median(rpm[rest]))
    at_idle = float(np.median(trim[rest]))
    same = told & ~idle & (rpm > FASTER * slow)
    same &= np.abs(pressure / there - 1.0) < SAME_SHARE
    if np.count_nonzero(same) < SAME_TICKS or abs(at_idle) < NORMAL_TRIM_PCT:
        return
    if abs(last(signals, "imbalance_idle_pct")) > NORMAL_TRIM_PCT:
        return  # One bank's trouble, whatever the mean of both does.
    fast, driven = float(np.median(rpm[same])), float(np.median(trim[same]))
    # Between all that is left of a sensor's error and what is left of a fixed flow.
    middle = (1.0 + slow / fast) / 2.0
    way = "rich" if at_idle < 0 else "lean"
    words = (
        f"At {there:.0f} kPa the trim is {signed(at_idle)} at {slow:.0f} rpm and "
        f"{signed(driven)} at {fast:.0f} rpm"
    )
    if driven / at_idle > middle:
        # Fuel pressure errs alike everywhere; a pressure sensor less under load.
        if abs(at_idle - last(signals, "common_load_pct")) >= FALL_PCT:
            yield Clue(f"{way}-with-pressure", "engine", words)
    else:
        yield Clue(f"{way}-with-flow", "engine", words)
