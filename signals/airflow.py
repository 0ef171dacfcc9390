"""Airflow: air density, volumetric efficiency at wide open, and how they agree.

Source: MOTOR magazine, Dec 2003, for the expected shares of the theoretical airflow.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.patterns import keep, last_kept
from bankwise.signals.view import TickView
from bankwise.signals.windows import clock, held

GAS_CONSTANT = 0.28705
"""Of dry air. Unit: kJ/(kg·K), so that kPa/(that·K) is g/L."""

KELVIN = 273.15

STANDARD_DENSITY_GPL = 1.184
"""Air at 25 °C and 101.3 kPa, the reference of absolute load. Source: J1979 PID 43,
from memory."""

STOICHIOMETRIC = 14.7
"""Air per fuel by mass, petrol. Source: common practice, no source."""

EXPECTED_RPM = (1500.0, 3000.0, 3500.0, 4000.0, 5000.0)
EXPECTED_PCT = (70.0, 70.0, 85.0, 80.0, 80.0)
"""Share of the theoretical airflow a sound engine takes wide open.

Source: MOTOR magazine, Dec 2003.
"""

LOWEST_RPM, HIGHEST_RPM = 1500.0, 5500.0
"""Outside, the article gives no expectation."""

PULL_S = 1.0
"""A pull counts after this long wide open, when the air has settled."""

FAST_RPM = 3000.0
"""Above, so much air flows that a blockage shows. Source: our choice: half of the speed
at which it costs most."""

LEAST_LOAD_PCT = 20.0
"""Below, one count of absolute load is more than 2 % of it. Source: derived."""


def theoretical_gps(rpm: Floats, litres: float, density_gpl: Floats) -> Floats:
    """Airflow of a four-stroke engine that fills completely. Unit: g/s."""
    return rpm * litres * density_gpl / 120.0


def air_density(pressure_kpa: Floats, temperature_c: Floats) -> Floats:
    """Density of dry air by the gas law. Unit: g/L."""
    return pressure_kpa / (GAS_CONSTANT * (temperature_c + KELVIN))


def _ambient(see: TickView) -> Floats:
    # Without a barometer the highest manifold pressure seen stands in. It can only be
    # too low, which makes filling look better and accuses nobody.
    pressure = np.copy(see["map_kpa"])
    pressure[0] = np.fmax(pressure[0], see.before(np.nan, "map_highest_kpa"))
    highest = np.fmin(np.fmax.accumulate(pressure), 105.0)
    measured = held(see["baro_kpa"], see.before(np.nan, "baro_held_kpa"))
    return np.where(np.isnan(measured), highest, measured)


def _highest(see: TickView) -> Floats:
    pressure = np.copy(see["map_kpa"])
    pressure[0] = np.fmax(pressure[0], see.before())
    highest: Floats = np.fmax.accumulate(pressure)
    return highest


def _density(see: TickView) -> Floats:
    air = np.where(see.known("iat_c"), see["iat_c"], see["ambient_c"])
    return air_density(see["ambient_kpa"], air)


def _grams_per_cycle(see: TickView) -> Floats:
    rpm = see["rpm"]
    turning = rpm > 0
    return np.where(
        turning, see["maf_gps"] * 120.0 / np.where(turning, rpm, 1.0), np.nan
    )


def _displacement(see: TickView) -> Floats:
    given = see.columns.vehicle.displacement_l
    if given is not None:
        return np.full(see.size, given)
    load = see["abs_load_pct"]
    loaded = load >= LEAST_LOAD_PCT
    share = np.where(loaded, load, 100.0) / 100.0
    litres = see["grams_per_cycle"] / (STANDARD_DENSITY_GPL * share)
    good = loaded & (see["running"] == 1) & (see["steady"] == 1)
    memo = see.memo("litres")
    return last_kept(memo, keep(memo, litres, good & ~np.isnan(litres)), 60, 10)


def _ve(see: TickView) -> Floats:
    full = see["displacement_l"] * see["density_gpl"]
    ok = (full > 0) & (see["running"] == 1)
    return np.where(
        ok, 100.0 * see["grams_per_cycle"] / np.where(ok, full, 1.0), np.nan
    )


def _expected(see: TickView) -> Floats:
    rpm = see["rpm"]
    inside = (rpm >= LOWEST_RPM) & (rpm <= HIGHEST_RPM)
    return np.where(inside, np.interp(rpm, EXPECTED_RPM, EXPECTED_PCT), np.nan)


def _ratio(see: TickView) -> Floats:
    settled = see["wide_open_run_s"] >= PULL_S
    return np.where(settled, see["ve_pct"] / see["ve_expected_pct"], np.nan)


def _pull_ratio(see: TickView) -> Floats:
    ratio = see["ve_ratio"]
    memo = see.memo("ratio")
    return last_kept(memo, keep(memo, ratio, ~np.isnan(ratio)), 6, 2)


def _best_pull(see: TickView) -> Floats:
    fast = see["rpm"] >= FAST_RPM
    pull = np.where(fast & see.known("ve_ratio"), see["pull_ve_ratio"], np.nan)
    pull[0] = np.fmax(pull[0], see.before())
    best: Floats = np.fmax.accumulate(pull)
    return best


def _ratio_clock(see: TickView) -> Floats:
    return clock(see.known("ve_ratio"), see.before())


def _pulls(see: TickView) -> Floats:
    return np.cumsum(see["ve_ratio_run_s"] == PULL_S) + see.before(0.0)


def _low_pulls(see: TickView) -> Floats:
    low = see["pull_ve_ratio"] < see.limit("ve_share_min")
    return np.cumsum((see["ve_ratio_run_s"] == PULL_S) & low) + see.before(0.0)


def _load_check(see: TickView) -> Floats:
    given = see.columns.vehicle.displacement_l
    load = see["abs_load_pct"]
    if given is None:
        return see.nothing()
    by_mass = 100.0 * see["grams_per_cycle"] / (STANDARD_DENSITY_GPL * given)
    ok = (load >= LEAST_LOAD_PCT) & (see["steady"] == 1)
    return np.where(ok, (by_mass / np.where(ok, load, 1.0) - 1.0) * 100.0, np.nan)


_MAF = ("maf_gps",)


def _row(
    name: str,
    title: str,
    unit: str,
    function: Function,
    inputs: tuple[str, ...] = _MAF,
    source: str = s.MOTOR_2003,
    decimals: int = 1,
) -> Derived:
    return Derived(name, title, unit, function, inputs, source, decimals=decimals)


def _no_ve(see: TickView) -> str:
    if np.isnan(see["displacement_l"][-1]):
        return "the displacement is not known"
    if np.isnan(see["density_gpl"][-1]):
        return "air temperature or pressure is not known"
    return "only at wide open"


ROWS: tuple[Derived, ...] = (
    _row("map_highest_kpa", "highest manifold pressure", "kPa", _highest, ("map_kpa",)),
    _row(
        "baro_held_kpa", "barometric pressure, last told", "kPa",
        lambda see: held(see["baro_kpa"], see.before()), ("baro_kpa",), s.COMMON,
    ),
    _row("ambient_kpa", "ambient pressure", "kPa", _ambient, ("baro_kpa", "map_kpa")),
    _row("density_gpl", "air density", "g/L", _density, ("iat_c", "ambient_c"),
         decimals=4),
    _row("grams_per_cycle", "air per two turns", "g", _grams_per_cycle, decimals=3),
    _row(
        "fuel_gps", "fuel at λ 1", "g/s", lambda see: see["maf_gps"] / STOICHIOMETRIC,
        source=s.COMMON, decimals=3,
    ),
    _row("displacement_l", "displacement", "L", _displacement, decimals=2),
    _row("ve_pct", "volumetric efficiency", "%", _ve),
    _row("ve_expected_pct", "expected at wide open", "%", _expected, ("rpm",)),
    Derived(
        "ve_ratio", "airflow over expected, wide open", "", _ratio, _MAF, s.MOTOR_2003,
        reason=_no_ve, decimals=2,
    ),
    _row("pull_ve_ratio", "airflow over expected, last pull", "", _pull_ratio,
         decimals=2),
    _row("best_pull_ve_ratio", "airflow over expected, best fast pull", "", _best_pull,
         decimals=2),
    _row("ve_ratio_run_s", "airflow judged so far", "s", _ratio_clock),
    _row("pulls", "wide-open pulls judged", "", _pulls, decimals=0),
    _row("low_pulls", "of those, with low airflow", "", _low_pulls, decimals=0),
    _row(
        "abs_load_check_pct", "air mass against absolute load", "%", _load_check,
        source=s.COMMON,
    ),
)  # fmt: skip
"""Airflow signals, in the order of computation."""
