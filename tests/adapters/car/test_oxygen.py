"""Oxygen sensors: ends, bias, lag, wiring, pump current."""

from __future__ import annotations

import math

import pytest

from bankwise.adapters.car.defects import Wiring
from bankwise.adapters.car.oxygen import LAMBDA_MAX, Switching, WideBand, pump_ma
from bankwise.adapters.car.spec import SensorSpec

SPEC = SensorSpec()


def _hot() -> Switching:
    sensor = Switching(SPEC, 20.0)
    for _ in range(6000):
        sensor.tip.step(0.02, 550.0, 5.0, 1.0)
    return sensor


def _soak(sensor: Switching, phi: float, wiring: Wiring, seconds: float = 3.0) -> float:
    for _ in range(int(seconds / 0.01)):
        sensor.step(0.01, phi, 0.0, wiring)
    return sensor.volts


def test_hot_sensor_reads_high_when_rich_and_low_when_lean() -> None:
    """It steps between its ends around lambda 1."""
    sensor, good = _hot(), Wiring()
    assert _soak(sensor, 1.03, good) > 0.8
    assert _soak(sensor, 0.97, good) < 0.15
    assert 0.4 < _soak(sensor, 1.0, good) < 0.55


def test_cold_or_open_sensor_reads_its_bias() -> None:
    """No heat or no wire: the input's bias is all there is."""
    cold = Switching(SPEC, 20.0)
    assert _soak(cold, 1.1, Wiring()) == pytest.approx(SPEC.bias_v)
    assert _soak(_hot(), 1.1, Wiring(open=True)) == pytest.approx(SPEC.bias_v)


def test_each_way_has_its_own_lag() -> None:
    """300 to 600 mV takes the first-order time of the way it goes."""
    wiring = Wiring(slow_lean_to_rich=5.0)
    sensor = _hot()
    _soak(sensor, 0.9, wiring)
    passed: dict[str, float] = {}
    for k in range(2000):
        sensor.step(0.001, 1.1, 0.0, wiring)
        if sensor.volts > 0.3:
            passed.setdefault("low", k * 0.001)
        if sensor.volts > 0.6:
            passed.setdefault("high", k * 0.001)
    top = _soak(_hot(), 1.1, Wiring())
    tau = SPEC.lean_to_rich_s * 5.0
    expected = tau * math.log((top - 0.3) / (top - 0.6))
    assert passed["high"] - passed["low"] == pytest.approx(expected, rel=0.05)


def test_a_driven_wire_wins_over_the_element() -> None:
    """Forced to an end, the reading is that end whatever the gas."""
    sensor = _hot()
    assert _soak(sensor, 0.9, Wiring(forced_v=1.2)) == pytest.approx(1.2)
    assert _soak(sensor, 1.1, Wiring(forced_v=0.0)) == pytest.approx(0.0)


def test_a_dragged_signal_never_reaches_the_other_side() -> None:
    """Pulled down it stays lean in rich gas; pulled up it stays rich in lean gas."""
    assert _soak(_hot(), 1.1, Wiring(pull_down=0.7)) < 0.4
    assert _soak(_hot(), 0.9, Wiring(pull_up=0.8)) > 0.6


def test_unheated_sensor_wakes_late_and_sleeps_at_idle() -> None:
    """Without its heater the tip follows the gas."""
    sensor = Switching(SPEC, 10.0)
    woke = None
    for k in range(20_000):
        sensor.tip.step(0.02, 460.0, 2.0, 0.0)
        if woke is None and sensor.tip.active > 0.5:
            woke = k * 0.02
    assert woke is None
    heated = Switching(SPEC, 10.0)
    for _ in range(1000):
        heated.tip.step(0.02, 460.0, 2.0, 1.0)
    assert heated.tip.active > 0.9


@pytest.mark.parametrize(
    ("lam", "milliamps"), [(1.0, 0.0), (0.8, -1.06), (1.18, 0.35), (1.7, 0.95)]
)
def test_pump_current_is_near_the_data_sheet(lam: float, milliamps: float) -> None:
    """Printed points of a common wide-band element, within 0.1 mA. Source: B1."""
    assert pump_ma(lam) == pytest.approx(milliamps, abs=0.1)


def test_wide_band_gives_lambda_and_ends_at_its_encoding() -> None:
    """It reads the gas, saturates in air, and rests at 1 when open."""
    sensor = WideBand(SPEC, 20.0)
    for _ in range(3000):
        sensor.tip.step(0.02, 500.0, 5.0, 1.0)
    for phi, lam in ((1.0, 1.0), (1.25, 0.8), (0.0, LAMBDA_MAX)):
        for _ in range(200):
            sensor.step(0.02, phi, 0.0, Wiring())
        assert sensor.lam == pytest.approx(lam, abs=0.01)
    sensor.step(0.02, 0.0, 0.0, Wiring(open=True))
    assert sensor.lam == 1.0
