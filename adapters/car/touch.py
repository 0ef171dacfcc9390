"""Hands on the simulated car: unplug, drive a wire, add propane, snap the throttle.

A line is an action, a place when it needs one, and sometimes a number:
`unplug B2S1`, `propane B1 8`, `snap`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bankwise.adapters.car.defects import Wiring
from bankwise.adapters.car.drive import Do, Leg

if TYPE_CHECKING:
    from bankwise.adapters.car.model import Car

_HIGH_V = 1.2
"""What a switching sensor's input reads when its wire is driven to supply through a
lamp. Source: our choice; inputs differ, and limit themselves near this [CP]."""


class NotUnderstood(ValueError):
    """The line names no action or no place of this car."""


Act = Callable[["Car", str, float | None], None]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing a hand can do.

    Attributes:
        form: how it is written. `says`: what was done.
        act: does it; gets the place and the number.
        place: `sensor`, `bank` or nothing.
        low, high: range of the number, when it takes one.
    """

    form: str
    says: str
    act: Act
    place: str = ""
    low: float | None = None
    high: float | None = None


def _wiring(car: Car, place: str) -> Wiring:
    bank, position = int(place[1]) - 1, int(place[3])
    return (car.defects.front if position == 1 else car.defects.rear)[bank]


def _banks(car: Car, place: str) -> list[int]:
    return list(range(car.spec.banks)) if place == "ENGINE" else [int(place[1]) - 1]


def _unplug(car: Car, place: str, number: float | None) -> None:
    _wiring(car, place).open = True


def _plug(car: Car, place: str, number: float | None) -> None:
    _wiring(car, place).open = False


def _high(car: Car, place: str, number: float | None) -> None:
    _wiring(car, place).forced_v = _HIGH_V


def _low(car: Car, place: str, number: float | None) -> None:
    _wiring(car, place).forced_v = 0.0


def _release(car: Car, place: str, number: float | None) -> None:
    _wiring(car, place).forced_v = None


def _propane(car: Car, place: str, number: float | None) -> None:
    for bank in _banks(car, place):
        car.defects.propane[bank] = 0.01 * (10.0 if number is None else number)


def _leak(car: Car, place: str, number: float | None) -> None:
    share = 0.01 * (15.0 if number is None else number)
    if place == "ENGINE":
        car.defects.leak_gps = car.spec.displacement_l * share
        return
    per_bank = car.spec.displacement_l / car.spec.banks
    car.defects.runner_leak_gps[int(place[1]) - 1] = per_bank * share


def _snap(car: Car, place: str, number: float | None) -> None:
    car.driver.insert(Leg(Do.SNAP, 2.5), car.t)


def _hold(car: Car, place: str, number: float | None) -> None:
    rpm = 2500.0 if number is None else number
    car.driver.insert(Leg(Do.HOLD, 60.0, rpm), car.t)


def _idle(car: Car, place: str, number: float | None) -> None:
    car.driver.insert(Leg(Do.IDLE, 3600.0), car.t)


def _pull(car: Car, place: str, number: float | None) -> None:
    car.driver.insert(Leg(Do.PULL, 8.0, 130.0), car.t)


def _key_off(car: Car, place: str, number: float | None) -> None:
    car.driver.insert(Leg(Do.KEY_OFF, 86400.0), car.t)


def _key_on(car: Car, place: str, number: float | None) -> None:
    car.driver.insert(Leg(Do.KEY_ON, 86400.0), car.t)


def _start(car: Car, place: str, number: float | None) -> None:
    car.driver.insert(Leg(Do.IDLE, 86400.0), car.t)
    car.driver.insert(Leg(Do.START, 1.5), car.t)


def _go(car: Car, place: str, number: float | None) -> None:
    kmh = 60.0 if number is None else number
    car.driver.insert(Leg(Do.GO, 86400.0, kmh), car.t)
    if not car.engine_running:
        car.driver.insert(Leg(Do.START, 1.5), car.t)


def _fill(car: Car, place: str, number: float | None) -> None:
    car.fuel_level_pct = 90.0 if number is None else number


ACTIONS: dict[str, Action] = {
    "unplug": Action("unplug B1S1", "is unplugged", _unplug, "sensor"),
    "plug": Action("plug B1S1", "is plugged in", _plug, "sensor"),
    "high": Action("high B1S1", "signal wire held high", _high, "sensor"),
    "low": Action("low B1S1", "signal wire held low", _low, "sensor"),
    "release": Action("release B1S1", "signal wire let go", _release, "sensor"),
    "propane": Action(
        "propane B1 10",
        "gets propane, % of its fuel (0 shuts it)",
        _propane,
        "bank",
        0,
        60,
    ),
    "leak": Action("leak B1 15", "gets extra air (0 closes it)", _leak, "bank", 0, 60),
    "snap": Action("snap", "throttle snapped", _snap),
    "hold": Action("hold 2500", "held for a minute", _hold, "", 900, 4500),
    "idle": Action("idle", "left to idle", _idle),
    "pull": Action("pull", "pulling at wide open", _pull),
    "go": Action("go 60", "driving on at so many km/h", _go, "", 10, 130),
    "off": Action("off", "key off", _key_off),
    "on": Action("on", "key on, engine off", _key_on),
    "start": Action("start", "starting", _start),
    "fill": Action("fill 90", "fuel level set, %", _fill, "", 0, 100),
}
"""Every action by its word. A bank may be `engine` for both."""


def touch(car: Car, line: str) -> str:
    """Do what a line says and give back what was done.

    Raises:
        NotUnderstood: with one line that says what was expected.
    """
    words = line.split()
    if not words or words[0].lower() not in ACTIONS:
        raise NotUnderstood("expected one of: " + ", ".join(ACTIONS))
    action = ACTIONS[words[0].lower()]
    rest = words[1:]
    place = ""
    if action.place:
        place = rest.pop(0).upper() if rest else ""
        if place not in _places(car, action.place):
            raise NotUnderstood(f"expected for example: {action.form}")
    number = None
    if rest and action.low is not None and action.high is not None:
        number = _number(rest.pop(0), action)
        if not action.low <= number <= action.high:
            raise NotUnderstood(f"expected {action.low:g} to {action.high:g}")
    if rest:
        raise NotUnderstood(f"expected for example: {action.form}")
    action.act(car, place, number)
    return f"{place or 'engine'} {action.says}"


def _places(car: Car, kind: str) -> set[str]:
    banks = [f"B{b + 1}" for b in range(car.spec.banks)]
    if kind == "sensor":
        return {f"{bank}S{position}" for bank in banks for position in (1, 2)}
    return {*banks, "ENGINE"}


def _number(word: str, action: Action) -> float:
    try:
        return float(word)
    except ValueError:
        raise NotUnderstood(f"expected for example: {action.form}") from None
