"""The exhaust pipe: when gas arrives, and what a leak draws in."""

from __future__ import annotations

import pytest

from bankwise.adapters.car.exhaust import Pipe, leak_share


def _arrival_s(rpm: float, gas_gps: float) -> float:
    pipe = Pipe(0.9, 20.0)
    for _ in range(400):
        pipe.step(0.02, rpm, gas_gps, 1.0, 0.0)
    for k in range(400):
        pipe.step(0.02, rpm, gas_gps, 1.1, 0.0)
        if pipe.phi > 1.05:
            return k * 0.02
    raise AssertionError("never arrived")


def test_gas_arrives_after_the_delay_and_sooner_at_higher_flow() -> None:
    """Half of a step is there after about delay plus mixing time."""
    idle, cruise = _arrival_s(750.0, 2.0), _arrival_s(2500.0, 10.0)
    assert idle > 2.5 * cruise
    assert idle == pytest.approx(Pipe(0.9, 20.0).delay_s(750.0, 2.0), abs=0.15)


def test_a_misfire_looks_lean() -> None:
    """Unburned oxygen makes a right mixture read lean."""
    pipe = Pipe(0.9, 20.0)
    for _ in range(400):
        pipe.step(0.02, 2000.0, 8.0, 1.0, 0.1)
    assert pipe.phi < 0.95


def test_a_leak_draws_air_at_low_flow() -> None:
    """The drawn share falls as flow grows."""
    assert leak_share(0.3, 1.0) > 2.0 * leak_share(0.3, 10.0) > 0.0
