"""Hands on the car: every action does what it says, nonsense is refused."""

from __future__ import annotations

from random import Random

import pytest

from bankwise.adapters.car.drive import DRIVES
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec
from bankwise.adapters.car.touch import ACTIONS, NotUnderstood


@pytest.fixture(name="car")
def _car() -> Car:
    spec = CarSpec.random(Random(3), banks=2, wideband=False, mass_air=True)
    car = Car(spec, (), DRIVES["bay"], 3, 85.0)
    car.advance(70.0)
    return car


def _mean(car: Car, name: str, seconds: float) -> float:
    values = []
    start = car.t
    for k in range(int(seconds * 10)):
        car.advance(start + 0.1 * k)
        values.append(car.readings[name])
    return sum(values) / len(values)


def test_unplugged_parks_at_bias_and_plugged_comes_back(car: Car) -> None:
    """The reading rests at its bias while the plug is off."""
    assert "B1S1" in car.touch("unplug B1S1")
    car.advance(72.0)
    assert _mean(car, "o2_b1s1_v", 3.0) == pytest.approx(0.445, abs=0.03)
    car.touch("plug B1S1")
    car.advance(80.0)
    start = car.t
    seen = []
    for k in range(60):
        car.advance(start + 0.1 * k)
        seen.append(car.readings["o2_b1s1_v"])
    assert max(seen) - min(seen) > 0.5


def test_driven_wires_go_to_their_ends(car: Car) -> None:
    """High, low, and let go again; on the rear sensor too."""
    car.touch("high B2S2")
    car.advance(71.0)
    assert car.readings["o2_b2s2_v"] > 1.0
    car.touch("low B2S2")
    car.advance(72.0)
    assert car.readings["o2_b2s2_v"] < 0.05
    car.touch("release B2S2")
    car.advance(73.0)
    assert car.readings["o2_b2s2_v"] > 0.1


def test_propane_goes_rich_and_a_leak_goes_lean(car: Car) -> None:
    """Within two seconds the sensor follows, on the bank that was touched."""
    car.touch("propane B1 20")
    car.advance(71.2)
    assert _mean(car, "o2_b1s1_v", 1.0) > 0.75
    car.touch("propane B1 0")
    car.advance(85.0)
    car.touch("leak B2 30")
    car.advance(86.2)
    assert _mean(car, "o2_b2s1_v", 1.0) < 0.25


def test_the_throttle_and_the_key_obey(car: Car) -> None:
    """A snap revs; hold holds; off stops; start starts again, go drives."""
    car.touch("snap")
    car.advance(71.5)
    assert car.readings["rpm"] > 1500.0
    car.touch("hold 2000")
    car.advance(110.0)
    assert car.readings["rpm"] == pytest.approx(2000.0, rel=0.08)
    car.touch("off")
    car.advance(114.0)
    assert not car.key_on
    car.touch("start")
    car.advance(120.0)
    assert car.engine_running
    car.touch("off")
    car.advance(124.0)
    car.touch("go 50")
    car.advance(150.0)
    assert car.engine_running
    assert car.readings["speed_kmh"] == pytest.approx(50.0, abs=8.0)


@pytest.mark.parametrize(
    "line",
    [
        "",
        "kick B1S1",
        "unplug",
        "unplug B3S1",
        "propane B1 x",
        "propane B1 90",
        "snap now",
    ],
)
def test_nonsense_gets_one_clear_line(car: Car, line: str) -> None:
    """What is not understood says what was expected."""
    with pytest.raises(NotUnderstood, match=r"^expected") as caught:
        car.touch(line)
    assert "\n" not in str(caught.value)


def test_every_action_answers(car: Car) -> None:
    """Each form printed for the user works as printed."""
    for action in ACTIONS.values():
        assert car.touch(action.form)
