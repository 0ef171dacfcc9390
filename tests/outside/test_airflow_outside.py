"""Air density and filling against printed figures and an independent computation."""

from __future__ import annotations

import numpy as np
import pint
import pytest

from bankwise.signals.airflow import air_density, theoretical_gps

_UNITS = pint.UnitRegistry()
_Q = _UNITS.Quantity


def _density(kpa: float, celsius: float) -> float:
    """Ideal-gas density of dry air by molar mass and units. Unit: g/L.

    Source: R from CODATA as pint carries it; 28.9647 g/mol for dry air, from memory of
    the 1976 standard atmosphere.
    """
    molar = _Q(28.9647, "g/mol")
    temperature = _Q(celsius, _UNITS.degC).to("kelvin")
    density = _Q(kpa, "kPa") * molar / (_Q(1.0, "molar_gas_constant") * temperature)
    return float(density.to("g/L").magnitude)


@pytest.mark.parametrize("kpa", [70.0, 85.0, 101.325, 104.0])
@pytest.mark.parametrize("celsius", [-30.0, 0.0, 25.0, 48.0])
def test_density_agrees_with_the_gas_law_by_units(kpa: float, celsius: float) -> None:
    """Our density is the ideal gas's, within a few parts in ten thousand."""
    found = air_density(np.array([kpa]), np.array([celsius]))[0]
    assert found == pytest.approx(_density(kpa, celsius), rel=3e-4)


def test_density_at_standard_conditions() -> None:
    """101.325 kPa and 25 °C give the printed 1.1839 g/L."""
    found = air_density(np.array([101.325]), np.array([25.0]))[0]
    assert found == pytest.approx(1.1839, abs=5e-5)


def test_the_printed_theoretical_airflow() -> None:
    """3.5 L at 5000 rpm: MOTOR magazine, Dec 2003, prints 173 g/s, and 138 at 0.80."""
    rpm, air = np.array([5000.0]), np.array([1.1839])
    full = theoretical_gps(rpm, 3.5, air)[0]
    assert full == pytest.approx(172.7, abs=0.05)
    assert round(full) == 173
    assert round(full * 0.80) == 138


def test_theoretical_airflow_by_units() -> None:
    """Displacement once every two turns, times density, computed with units."""
    swept = _Q(2.4, "L") / _Q(2.0, "turn") * _Q(3200.0, "turn/min")
    flow = (swept * _Q(1.1, "g/L")).to("g/s").magnitude
    found = theoretical_gps(np.array([3200.0]), 2.4, np.array([1.1]))[0]
    assert found == pytest.approx(float(flow))
