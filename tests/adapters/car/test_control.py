"""Closed loop: the limit cycle, limits, learning, recognising a dead sensor."""

from __future__ import annotations

import pytest

from bankwise.adapters.car.control import CLOSED, BankControl
from bankwise.adapters.car.learning import Cells, cell_of
from bankwise.adapters.car.spec import ControlSpec

SPEC = ControlSpec()


def _closed_loop(seconds: float, delay_s: float, error_pct: float) -> BankControl:
    """A bare plant: the mixture arrives after a delay and the sensor is a step."""
    law = BankControl(SPEC, 0.45, 0.0)
    places = max(int(delay_s / 0.02), 1)
    pipe = [0.0] * places
    for k in range(int(seconds / 0.02)):
        arriving = pipe[k % places]
        pipe[k % places] = law.factor * (1.0 - 0.01 * error_pct)
        law.switching(0.02, 0.8 if arriving > 1.0 else 0.1, 2000.0, True)
        law.learn(0.02, 0)
        law.use_cell(0)
    return law


def test_it_swings_around_what_is_missing() -> None:
    """A bank that gets 10 % too little fuel is given about 11 % more."""
    law = _closed_loop(200.0, 0.2, 10.0)
    assert law.short_pct + law.long_pct == pytest.approx(11.1, abs=2.5)
    assert law.status == CLOSED


def test_the_cycle_slows_as_the_delay_grows() -> None:
    """Twice the delay gives markedly fewer swings in the same time."""
    quick = _closed_loop(60.0, 0.15, 0.0)
    slow = _closed_loop(60.0, 0.30, 0.0)
    assert quick.swings > 1.5 * slow.swings
    assert 0.5 < slow.swings / 60.0 < 3.0


def test_learning_moves_the_short_into_the_long_and_keeps_the_sum() -> None:
    """After a while the long-term trim carries the error and the short is near 0."""
    law = _closed_loop(240.0, 0.2, 10.0)
    assert law.long_pct == pytest.approx(11.1, abs=2.0)
    assert abs(law.short_pct) < 3.5


def test_trims_end_at_their_limits() -> None:
    """A sensor that always says lean drives both trims to their ends, no further."""
    law = BankControl(SPEC, 0.45, 0.0)
    for _ in range(20_000):
        law.switching(0.02, 0.1, 2000.0, True)
        law.learn(0.02, 0)
        law.use_cell(0)
    assert law.short_pct == SPEC.short_limit_pct
    assert law.long_pct == SPEC.long_limit_pct


def test_a_sensor_at_its_bias_is_recognised_after_its_time() -> None:
    """The unit gives up on a sensor that does not leave its bias."""
    law = BankControl(SPEC, 0.45, 0.0)
    steps = int(SPEC.dead_sensor_s / 0.02)
    for _ in range(steps - 10):
        law.switching(0.02, 0.45, 800.0, True)
    assert not law.fault
    for _ in range(20):
        law.switching(0.02, 0.45, 800.0, True)
    assert law.fault


def test_a_long_term_trim_gives_back_only_what_fits() -> None:
    """At its end a cell takes no more."""
    cells = Cells(SPEC, 24.0)
    assert cells.learn(0, 3.0) == pytest.approx(1.0)
    assert cells.learn(0, 3.0) == 0.0


def test_idle_and_driving_are_different_cells() -> None:
    """Idle is its own cell, and speed and load choose the others."""
    cells = {
        cell_of(SPEC, 700.0, 0.2, True),
        cell_of(SPEC, 900.0, 0.2, False),
        cell_of(SPEC, 2500.0, 0.2, False),
        cell_of(SPEC, 2500.0, 0.7, False),
    }
    assert len(cells) == 4
