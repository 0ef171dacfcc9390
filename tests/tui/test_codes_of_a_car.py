"""What `codes` shows of a driven car: heater and fuel system, bank against bank."""

from __future__ import annotations

import re
from random import Random

import pytest

from bankwise.adapters.car.drive import Do, Drive, Leg
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.code_visit import CodeVisit
from bankwise.tui.print_codes import codes_text

DRIVE = Drive(
    "test",
    "idle, road, idle",
    (
        Leg(Do.KEY_ON, 2), Leg(Do.START, 1.2), Leg(Do.IDLE, 40), Leg(Do.GO, 110, 70),
        Leg(Do.STOP, 8), Leg(Do.IDLE, 600),
    ),
)  # fmt: skip
PASSED, BROKEN = r"[█░]{5}", "FAILED"


def _told(protocol: str, *faults: str, uds: bool = False) -> str:
    spec = CarSpec.random(
        Random(7), banks=2, wideband=False, mass_air=True, protocol=protocol
    )
    car = Car(spec, faults, DRIVE, 7, 85.0)
    car.advance(155.0)
    visit = CodeVisit(VirtualLink(plug_in(car, spec, uds=uds)), None)
    visit.connect()
    return codes_text(visit.read())


def _row(text: str, subject: str, test: str) -> str:
    lines = text.splitlines()
    head = re.compile(rf"  {subject} +bank 1 +bank 2$")
    at = next(i for i, line in enumerate(lines) if head.match(line))
    return next(line for line in lines[at + 1 :] if test in line)


@pytest.mark.parametrize("uds", [False, True])
def test_heaters_and_fuel_systems_stand_bank_against_bank(uds: bool) -> None:
    """A dead heater on bank 1 and a lean bank 2, each beside its sound twin."""
    text = _told("6", "cold-heater", "injectors-lean@2:1", uds=uds)
    first = _row(text, "sensor heater", "S1 ")
    assert re.search(
        rf"0\.1\d+ A +{BROKEN} +[01]\.\d+ A +{PASSED} +at least 0\.4", first
    )
    second = _row(text, "sensor heater", "S2 ")
    assert len(re.findall(rf"[01]\.\d+ A +{PASSED}", second)) == 2
    fuel = _row(text, "fuel system", "test")
    assert re.search(rf"\d % +{PASSED} +2\d\.\d+ % +{BROKEN} +−20 to 20", fuel)


def test_before_can_no_sound_part_is_told_as_failed() -> None:
    """There numbers stay raw and unsigned: a small trim must not look failed."""
    text = _told("3", "rear-cold-heater@2")
    raw = [line for line in text.splitlines() if " raw " in line]
    assert len(raw) > 8
    assert [line.split()[2:4] for line in raw if BROKEN in line] == [["0", "raw"]]
