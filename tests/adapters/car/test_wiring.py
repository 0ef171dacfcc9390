"""The whole simulated car behind its adapter: units, memory and hands on."""

from __future__ import annotations

from typing import Any

import pytest

from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.wiring import plug_in, units_of

STORY = STORIES["demo"]


def a_car() -> Car:
    """The story's car, healthy and without a past, which would have to be driven."""
    return Car(STORY.spec, (), STORY.drive, STORY.seed, 70.0)


class Talk:
    """Asks an adapter in virtual time."""

    def __init__(self, adapter: SimulatedAdapter) -> None:
        self.adapter = adapter
        self.t = 0.0

    def __call__(self, text: str) -> list[str]:
        """The lines that answer a request."""
        self.adapter.receive(text.encode() + b"\r", self.t)
        said = b""
        while (due := self.adapter.next_due) is not None:
            self.t = due
            said += self.adapter.take(due)
        assert said.endswith(b"\r\r>")
        return said[:-3].decode().split("\r")


def talk(**options: Any) -> Talk:
    """An adapter on the demonstration car, set up for bare hexadecimal."""
    car = a_car()
    ask = Talk(plug_in(car, STORY.spec, **options))
    for text in ("ATE0", f"ATTP{STORY.spec.protocol}", "ATS0", "ATH1"):
        ask(text)
    return ask


def test_the_same_seed_gives_the_same_bytes() -> None:
    """Two cars of one story answer alike to the last byte, twenty seconds long."""
    first, second = talk(), talk()
    while first.t < 20:
        assert first("01060C0D0514183") == second("01060C0D0514183")
        assert first.t == second.t


def test_the_car_tells_who_it_is() -> None:
    """The VIN of the story comes out of service 09."""
    lines = talk()("0902")
    data = bytes.fromhex("".join(line[3:] for line in lines))
    text = data[5:8] + data[9:16] + data[17:24]
    assert text.decode() == STORY.spec.vin


def test_a_second_unit_answers_beside_the_first() -> None:
    """Both answer 0100; only the engine's has an engine speed."""
    ask = talk(transmission=True)
    assert sorted(line[:3] for line in ask("0100")) == ["7E8", "7E9"]
    assert [line[:3] for line in ask("010C")] == ["7E8"]


def test_a_unit_of_2027_answers_only_the_newer_services() -> None:
    """22 F40C is answered, 01 0C is not."""
    ask = talk(uds=True)
    assert ask("010C") == ["NO DATA"]
    assert ask("22F810") == ["7E80462F81001"]
    assert ask("22F40C")[0].startswith("7E80562F40C")


def test_the_newer_services_need_can() -> None:
    """A K-line car of 2027 is refused."""
    spec = CarSpec(STORY.spec.identity, protocol="3")
    with pytest.raises(ValueError, match="needs CAN"):
        units_of(a_car(), spec, uds=True)


def test_the_units_memory_is_the_cars() -> None:
    """What the car's monitors hold is what service 03 gives."""
    car = a_car()
    ask = Talk(plug_in(car, STORY.spec))
    for text in ("ATE0", f"ATTP{STORY.spec.protocol}", "ATS0"):
        ask(text)
    car.monitors.stored.clear()
    assert ask("03") == ["4300"]
    car.monitors.stored.append("P0171")
    assert ask("03") == ["43010171"]
    assert ask("0101")[0].startswith("410181")
