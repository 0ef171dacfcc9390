"""Coolant: warms, regulates, and stays cold with an open thermostat."""

from __future__ import annotations

from random import Random

import pytest

from bankwise.adapters.car.coolant import Coolant
from bankwise.adapters.car.identity import random_identity
from bankwise.adapters.car.spec import CarSpec

SPEC = CarSpec(identity=random_identity(Random(1)), ambient_c=10.0)
CRUISE_FUEL_GPS = 0.9


def _after(minutes: float, stuck: float) -> float:
    coolant = Coolant(SPEC, SPEC.ambient_c)
    for _ in range(int(minutes * 600)):
        coolant.step(0.1, CRUISE_FUEL_GPS, 70.0, stuck)
    return coolant.celsius


def test_it_warms_in_minutes_and_then_regulates() -> None:
    """A cruising engine is warm in ten minutes and stays near its thermostat."""
    assert _after(1.0, 0.0) < 35.0
    assert _after(10.0, 0.0) == pytest.approx(SPEC.thermostat_c + 5.0, abs=6.0)
    assert _after(30.0, 0.0) == pytest.approx(_after(20.0, 0.0), abs=0.5)


def test_a_stuck_thermostat_keeps_it_below_71() -> None:
    """Its plateau lies below what makers accept after 15 min. Source: S15."""
    assert _after(15.0, 0.2) < 71.0
    assert _after(30.0, 0.2) < 71.0
