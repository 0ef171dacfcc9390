"""Drives and the driver who follows them."""

from __future__ import annotations

from random import Random

import pytest

from bankwise.adapters.car.drive import DRIVES, Do, Drive, Leg, random_drive
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec

START = (Leg(Do.KEY_ON, 2.0), Leg(Do.START, 1.2))


def _car(*legs: Leg, seed: int = 5) -> Car:
    spec = CarSpec.random(Random(seed), banks=2)
    return Car(spec, (), Drive("test", "a test", (*START, *legs)), seed, 80.0)


def test_random_drives_are_as_long_as_asked_and_repeat() -> None:
    """At least as long, not much longer, the same for the same numbers."""
    for seed in range(20):
        drive = random_drive(Random(seed), 600.0)
        assert 600.0 <= drive.seconds < 800.0
        assert drive == random_drive(Random(seed), 600.0)
        assert drive.legs[0].do is Do.KEY_ON


def test_every_drive_starts_the_engine() -> None:
    """Key on, crank, then something to do."""
    for drive in DRIVES.values():
        assert [leg.do for leg in drive.legs[:2]] == [Do.KEY_ON, Do.START]


def test_key_on_is_not_running_and_a_start_is() -> None:
    """Engine off with the key on; running a moment after cranking; off with the key."""
    car = _car(Leg(Do.IDLE, 10.0), Leg(Do.KEY_OFF, 60.0))
    car.advance(1.0)
    assert car.key_on
    assert not car.engine_running
    assert car.readings["rpm"] == 0.0
    car.advance(8.0)
    assert car.engine_running
    car.advance(20.0)
    assert not car.key_on
    assert not car.engine_running
    assert car.vehicle.rpm == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_the_driver_reaches_and_holds_a_speed(seed: int) -> None:
    """After a minute the car goes about as fast as asked."""
    car = _car(Leg(Do.IDLE, 10.0), Leg(Do.GO, 120.0, 80.0), seed=seed)
    car.advance(90.0)
    speeds = []
    for k in range(200):
        car.advance(90.0 + 0.1 * k)
        speeds.append(car.vehicle.kmh)
    assert min(speeds) > 74.0
    assert max(speeds) < 86.0


def test_the_driver_holds_2500_rpm_in_neutral() -> None:
    """Within 5 % after a while, standing still."""
    car = _car(Leg(Do.IDLE, 10.0), Leg(Do.HOLD, 60.0, 2500.0))
    car.advance(60.0)
    assert car.vehicle.rpm == pytest.approx(2500.0, rel=0.05)
    assert car.vehicle.kmh == 0.0


def test_idle_is_steady_and_at_its_speed() -> None:
    """A warm idle stays within 60 rpm of its target."""
    car = _car(Leg(Do.IDLE, 120.0))
    car.advance(60.0)
    rpm = []
    for k in range(300):
        car.advance(60.0 + 0.1 * k)
        rpm.append(car.vehicle.rpm)
    assert max(abs(one - car.spec.idle_rpm) for one in rpm) < 60.0
    assert max(rpm) - min(rpm) > 2.0


def test_an_inserted_leg_comes_now_and_the_plan_goes_on() -> None:
    """A snap in the middle of an idle, then idle again."""
    car = _car(Leg(Do.IDLE, 60.0))
    car.advance(20.0)
    car.driver.insert(Leg(Do.SNAP, 2.5), car.t)
    car.advance(21.0)
    assert car.vehicle.rpm > 1500.0
    car.advance(28.0)
    assert car.driver.leg.do is Do.IDLE
