"""Fuel: supply, wall film, mixture."""

from __future__ import annotations

from random import Random

import pytest

from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.fuel import FuelPath, supply
from bankwise.adapters.car.identity import random_identity
from bankwise.adapters.car.spec import UNIT_STOICH, CarSpec

SPEC = CarSpec(identity=random_identity(Random(1)))


def _run(path: FuelPath, seconds: float, demand: float, **defects: list[float]) -> None:
    wrong = Defects(**defects)  # type: ignore[arg-type]
    for _ in range(int(seconds / 0.02)):
        path.step(0.02, 5.0, demand, 5.0, 0.0, 1.0, 0.0, wrong)


def test_steady_mixture_is_what_was_commanded() -> None:
    """The film stores fuel but makes none."""
    path = FuelPath(SPEC, 0)
    _run(path, 10.0, 1.0)
    assert path.phi == pytest.approx(1.0, abs=1e-6)


def test_a_step_in_demand_arrives_late_by_the_film() -> None:
    """Right after a step part of the fuel wets the wall."""
    path = FuelPath(SPEC, 0)
    _run(path, 10.0, 1.0)
    _run(path, 0.02, 1.2)
    assert 1.0 < path.phi < 1.2
    _run(path, 5.0, 1.2)
    assert path.phi == pytest.approx(1.2, abs=1e-3)


def test_cut_fuel_leaves_only_the_film_and_drips() -> None:
    """In a fuel cut the mixture goes to nothing, unless an injector drips."""
    path = FuelPath(SPEC, 0)
    _run(path, 10.0, 1.0)
    _run(path, 4.0, 0.0)
    assert path.phi < 1e-3
    _run(path, 1.0, 0.0, drip_gps=[0.05, 0.0])
    assert path.phi == pytest.approx(0.05 * UNIT_STOICH / 5.0, rel=0.01)


def test_a_weak_supply_loses_more_the_more_is_asked() -> None:
    """Flow through the injectors falls with the root of the pressure."""
    weak = Defects(supply_loss=1.0)
    assert supply(0.0, 12.0, weak) == 1.0
    assert supply(6.0, 12.0, weak) == pytest.approx(0.5**0.5)
    assert supply(6.0, 12.0, Defects()) == 1.0
