"""The catalyst: it holds oxygen until it is full, and burns what reaches it."""

from __future__ import annotations

import pytest

from bankwise.adapters.car.catalyst import Catalyst


def _hot(capacity_g: float) -> Catalyst:
    catalyst = Catalyst(capacity_g, 0.4, 20.0)
    catalyst.bed_c = 600.0
    return catalyst


def _lean_for(catalyst: Catalyst, storage: float) -> float:
    """Seconds of 10 % lean gas at 8 g/s until lean gas comes out."""
    catalyst.fill = 0.0
    for k in range(20_000):
        catalyst.step(0.01, 0.9, 8.0, 600.0, 0.0, 0.5, storage)
        if catalyst.phi < 0.92:
            return k * 0.01
    raise AssertionError("never broke through")


def test_breakthrough_comes_when_the_oxygen_fits_no_more() -> None:
    """Oxygen brought until breakthrough is about what it can hold."""
    capacity_g = 0.8
    brought_g = 0.232 * 8.0 * 0.1 * _lean_for(_hot(capacity_g), 1.0)
    assert brought_g == pytest.approx(capacity_g, rel=0.2)


def test_a_worn_catalyst_lets_a_quick_cycle_through() -> None:
    """Half-second swings of 2 % pass a worn one and are flattened by a good one."""
    moved = []
    for storage in (1.0, 0.01):
        catalyst = _hot(0.8)
        seen = []
        for k in range(1000):
            phi = 1.02 if (k // 25) % 2 else 0.98
            catalyst.step(0.01, phi, 8.0, 600.0, 0.0, 0.5, storage)
            seen.append(catalyst.phi)
        moved.append(max(seen[500:]) - min(seen[500:]))
    assert moved[0] < 0.005
    assert moved[1] > 0.02


def test_misfire_burns_in_the_catalyst_where_there_is_oxygen() -> None:
    """Raw fuel heats it in lean gas, hardly in rich gas."""
    beds = []
    for phi in (0.95, 1.3):
        catalyst = _hot(0.8)
        for _ in range(6000):
            catalyst.step(0.02, phi, 10.0, 600.0, 0.12, 0.7, 1.0)
        beds.append(catalyst.bed_c)
    assert beds[0] > 800.0
    assert beds[1] < beds[0] - 100.0
