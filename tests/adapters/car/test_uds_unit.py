"""The OBDonUDS unit: services 22, 19 and 14, and silence for the older ones."""

from __future__ import annotations

from typing import Any

import pytest

from bankwise.adapters.car.evidence import EMPTY, Fixed, FreezeFrame, Monitor
from bankwise.adapters.car.evidence import TestResult as Result
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.uds_unit import UdsUnit, three_bytes
from bankwise.adapters.car.unit import ControlUnit

MEMORY = Fixed(
    lamp=True,
    stored=("P0171",),
    pending=("P0171", "P0420-11"),
    permanent=("P0171",),
    freeze_frames=(FreezeFrame("P0171", {"rpm": 1726.0, "ect_c": 83.0}),),
    supported=EMPTY.supported,
    open_since_clear=frozenset({Monitor.CATALYST}),
    tests=(Result(0x05, 0x05, 0x10, 0x48, 0, 0x64),),
)


def unit_of(car: Any) -> UdsUnit:
    """A unit with codes of every kind."""
    names = UnitNames("1G4AH59H45G118341", ("CAL",), (0x11223344,), "ECM-Engine")
    return UdsUnit(ControlUnit(car, names, evidence=MEMORY))


def ask(unit: UdsUnit, request: str, functional: bool = True) -> str:
    """The answer as hexadecimal; empty when silent."""
    replies = unit.replies(bytes.fromhex(request), functional)
    assert len(replies) <= 1
    return replies[0].payload.hex() if replies else ""


def test_identifiers_carry_the_data_of_the_pids(car: Any) -> None:
    """F40C is PID 0C, several come in one message, the unknown are left out."""
    unit = unit_of(car)
    assert ask(unit, "22F40C") == "62f40c0c1c"
    assert ask(unit, "22F405F40BF414") == "62f4057bf4145a80"
    assert ask(unit, "22F400") == "62f400" + ask_plain(car, "0100")
    assert ask(unit, "22F501") == "62f50181076501"
    assert ask(unit, "22F441") == "62f44100076500"


def ask_plain(car: Any, request: str) -> str:
    """The data bytes that the unit inside gives for the same PID."""
    answer = ControlUnit(car, evidence=MEMORY).answer(bytes.fromhex(request))
    assert answer is not None
    return answer[2:].hex()


def test_it_says_what_it_speaks_and_who_it_is(car: Any) -> None:
    """F810 says J1979-2, F802 is the VIN, F605 a test result without its id."""
    unit = unit_of(car)
    assert ask(unit, "22F810") == "62f81001"
    assert ask(unit, "22F802") == "62f802" + b"1G4AH59H45G118341".hex()
    assert ask(unit, "22F806") == "62f80611223344"
    assert ask(unit, "22F605") == "62f605" + "0510004800000064"
    assert ask(unit, "22F800") == "62f800" + "54410000"


def test_codes_have_severity_three_bytes_and_status(car: Any) -> None:
    """Mask 08 gives the confirmed, 04 the pending, 55 the permanent codes."""
    unit = unit_of(car)
    both = "020171008d"
    assert ask(unit, "194233081E") == "5942338d1e04" + both
    assert ask(unit, "194233041E") == "5942338d1e04" + both + "0204201105"
    assert ask(unit, "1942330801") == "5942338d1e04"
    assert ask(unit, "195533") == "5955338d04" + both


def test_a_snapshot_belongs_to_its_code(car: Any) -> None:
    """Record 00 of P0171 holds two identifiers; a code without frame holds none."""
    unit = unit_of(car)
    assert ask(unit, "1904017100FF") == (
        "5904" + "0171008d" + "00" + "02" + "f4057b" + "f40c1af8"
    )
    assert ask(unit, "190404201100") == "59040420" + "1105"
    assert ask(unit, "190401000000", functional=False) == "7f1931"


def test_older_services_are_not_answered(car: Any) -> None:
    """Silence to everyone's request; refused when asked alone."""
    unit = unit_of(car)
    for request in ("0100", "03", "0902", "04"):
        assert ask(unit, request) == ""
        assert ask(unit, request, functional=False) == f"7f{request[:2]}11"


@pytest.mark.parametrize(
    ("request_text", "refusal"),
    [("22F4", "7f2213"), ("22F4FE", "7f2231"), ("1901", "7f1912"), ("19", "7f1912"),
     ("1942", "7f1913"), ("1442", "7f1413"), ("14FFFFFF", "7f1431")],
)  # fmt: skip
def test_refusals_say_why(car: Any, request_text: str, refusal: str) -> None:
    """Wrong length, unknown report and unknown group each have their code."""
    assert ask(unit_of(car), request_text, functional=False) == refusal
    assert ask(unit_of(car), request_text) == ""


def test_clearing_waits_for_the_engine_to_stop(car: Any) -> None:
    """14 FF FF 33 is refused while the engine runs, and answered 54 after."""
    unit = unit_of(car)
    assert ask(unit, "14FFFF33") == "7f1422"
    car.engine_running = False
    assert ask(unit, "14FFFF33") == "54"


def test_codes_in_three_bytes() -> None:
    """The failure type is the third byte; without one it is 00."""
    assert three_bytes("P0171").hex() == "017100"
    assert three_bytes("U0101-87").hex() == "c10187"
