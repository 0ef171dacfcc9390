"""The control unit: what it supports, and the layout of each service's answers."""

from __future__ import annotations

from typing import Any

import pytest

from bankwise.adapters.car.evidence import (
    EMPTY,
    Evidence,
    Fixed,
    FreezeFrame,
    Monitor,
    TestResult,
)
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.layouts import bitmap, code_bytes
from bankwise.adapters.car.unit import ControlUnit, Manners
from bankwise.adapters.pids import PIDS, Layout, signals_of

VIN = "1G4AH59H45G118341"


def ask(unit: ControlUnit, request: str) -> str:
    """The first message to everyone, as hexadecimal; empty when silent."""
    return (unit.answer(bytes.fromhex(request)) or b"").hex()


def with_memory(car: Any, evidence: Evidence, **options: Any) -> ControlUnit:
    """A unit that remembers something."""
    return ControlUnit(car, UnitNames(VIN), evidence=evidence, **options)


def test_supported_pids_follow_from_the_readings(car: Any) -> None:
    """Bitmaps name exactly the PIDs that the unit then answers."""
    unit = ControlUnit(car)
    promised: set[int] = set()
    for block in range(0, 0x100, 0x20):
        answer = unit.answer(bytes((0x01, block)))
        if answer is None:
            break
        bits = int.from_bytes(answer[2:6], "big")
        promised |= {block + i for i in range(1, 33) if bits >> (32 - i) & 1}
    for number in range(1, 0x100):
        answered = unit.answer(bytes((0x01, number))) is not None
        assert answered == (number in promised), f"PID {number:02X}"
    assert {
        0x05,
        0x06,
        0x07,
        0x08,
        0x0C,
        0x0D,
        0x10,
        0x13,
        0x14,
        0x15,
        0x18,
    } <= promised
    assert not {0x09, 0x0B, 0x1D, 0x24, 0x34, 0x66, 0x67} & promised


def test_the_sensor_pids_follow_the_layout(car: Any) -> None:
    """With PID 1D the second bank starts at 16; with PID 13 at 18."""
    two = ControlUnit(car, layout=Layout.TWO_BANKS)
    four = ControlUnit(car, layout=Layout.FOUR_BANKS)
    assert ask(two, "0113") == "411313"
    assert ask(two, "0118") == "41182860"
    assert ask(two, "011D") == ""
    assert ask(four, "011D") == "411d07"
    assert ask(four, "0116") == "41162860"
    assert ask(four, "0118") == ""


def test_wide_band_sensors_get_the_pids_of_their_kind(car: Any) -> None:
    """Lambda with pump current is PID 34, lambda with voltage PID 24."""
    for extra, here, absent in (("ma", 0x34, 0x24), ("wide_v", 0x24, 0x34)):
        car.readings = {"lambda_b1s1": 1.0, f"o2_b1s1_{extra}": 0.0, "o2_b1s2_v": 0.7}
        supported = ControlUnit(car).supported_pids()
        assert here in supported
        assert not {absent, 0x14} & supported


def test_check_values_of_the_standard_come_out(car: Any) -> None:
    """By hand: 775 rpm is 0C1C, 83 degrees 7B, +9.375 % 8C, -25 % 60, 0.45 V 5A."""
    unit = ControlUnit(car)
    assert ask(unit, "010C") == "410c0c1c"
    assert ask(unit, "0105") == "41057b"
    assert ask(unit, "0107") == "41078c"
    assert ask(unit, "0108") == "410860"
    assert ask(unit, "0114") == "41145a80"
    assert ask(unit, "0115") == "41158cff"


def test_six_pids_come_in_one_message_in_the_order_asked(car: Any) -> None:
    """What is not supported is left out; seven PIDs are too many."""
    unit = ControlUnit(car)
    assert ask(unit, "01060C140B0518") == "4106800c0c1c145a80057b182860"
    assert ask(unit, "0106070C0D05141E") == ""
    assert ask(unit, "010B") == ""


def test_older_protocols_take_one_pid_a_request(car: Any) -> None:
    """Two PIDs off CAN are not answered."""
    unit = ControlUnit(car, can=False)
    assert ask(unit, "010C") == "410c0c1c"
    assert ask(unit, "010C0D") == ""


def test_monitor_status_is_the_published_example(car: Any) -> None:
    """Bytes 83 07 65 21 say: lamp on, three codes, catalyst and oxygen sensor open."""
    memory = Fixed(
        lamp=True,
        stored=("P0171", "P0174", "P0300"),
        supported=EMPTY.supported,
        open_since_clear=frozenset({Monitor.CATALYST, Monitor.OXYGEN_SENSOR}),
        open_this_drive=frozenset({Monitor.MISFIRE, Monitor.EVAPORATIVE}),
    )
    unit = with_memory(car, memory)
    assert ask(unit, "0101") == "410183076521"
    assert ask(unit, "0141") == "414100176504"


def test_codes_have_a_count_on_can_and_none_before(car: Any) -> None:
    """Two codes: count byte on CAN; off CAN frames of three, filled with zeros."""
    memory = Fixed(
        stored=("P0171", "P0300"),
        pending=("C0123", "B1234", "U116B", "P0420"),
        permanent=("P0171",),
    )
    can = with_memory(car, memory)
    assert ask(can, "03") == "430201710300"
    assert ask(can, "07") == "4704412392 34d16b0420".replace(" ", "")
    assert ask(can, "0A") == "4a010171"
    older = with_memory(car, memory, can=False)
    assert ask(older, "03") == "43017103000000"
    frames = [reply.payload.hex() for reply in older.replies(b"\x07")]
    assert frames == ["4741239234d16b", "47042000000000"]


def test_no_codes_is_an_answer(car: Any) -> None:
    """Without codes a unit says so instead of saying nothing."""
    assert ask(ControlUnit(car), "03") == "4300"
    assert ask(ControlUnit(car, can=False), "03") == "43000000000000"


def test_codes_are_two_bytes() -> None:
    """One code of each system, worked by hand."""
    examples = {"P0171": "0171", "C0123": "4123", "B1234": "9234", "U116B": "d16b"}
    assert {code: code_bytes(code).hex() for code in examples} == examples


def test_a_freeze_frame_is_answered_with_its_frame_number(car: Any) -> None:
    """PID 02 is the code that set it; other PIDs come from the kept readings."""
    kept = FreezeFrame("P0171", {"rpm": 1726.0, "ect_c": 83.0})
    unit = with_memory(car, Fixed(stored=("P0171",), freeze_frames=(kept,)))
    assert ask(unit, "020200") == "4202000171"
    assert ask(unit, "020C00") == "420c001af8"
    assert ask(unit, "020500020C00") == ""
    assert ask(unit, "0205000C00") == "4205007b0c001af8"
    assert ask(unit, "020000") == "42000048100000"
    assert ask(unit, "020C01") == ""
    assert ask(ControlUnit(car), "020200") == "4202000000"


def test_test_results_are_laid_out_as_published(car: Any) -> None:
    """Nine bytes a result: MID 05, TID 05, scaling 10, 72 ms within 0 and 100."""
    rows = (
        TestResult(0x05, 0x05, 0x10, 0x48, 0, 0x64),
        TestResult(0x05, 0x06, 0x10, 0x40, 0, 0x64),
        TestResult(0x21, 0x80, 0x8A, -1000, -0x8000, 0),
    )
    unit = with_memory(car, Fixed(tests=rows))
    one = "050510004800000064"
    assert ask(unit, "0605") == "46" + one + "050610004000000064"
    assert ask(unit, "0600") == "460008000001"
    assert ask(unit, "0620") == "462080000000"
    assert ask(unit, "0621") == "4621808afc1880000000"
    assert ask(unit, "0602") == ""


def test_test_results_before_can_have_one_limit_a_frame(car: Any) -> None:
    """A bitmap after a filler byte; lowest and highest limit in frames of their own."""
    rows = (
        TestResult(0x01, 0x05, 0x10, 0x48, 0, 0x64),
        TestResult(0x02, 0x07, 0x0B, 0x60, 0x20, 0x1C2),
    )
    unit = with_memory(car, Fixed(tests=rows), can=False)
    assert ask(unit, "0600") == "4600ffc0000000"
    assert ask(unit, "0601") == "46010500480064"
    frames = [reply.payload.hex() for reply in unit.replies(b"\x06\x02")]
    assert frames == ["46028700600020", "460207006001c2"]
    assert ask(unit, "0603") == ""


def test_vehicle_information_on_can_counts_its_items(car: Any) -> None:
    """VIN, calibration ids of sixteen characters, numbers of four bytes, a name."""
    names = UnitNames(VIN, ("ABC", "DEF"), (0x1234ABCD, 1), "ECM-EngineControl")
    unit = ControlUnit(car, names, evidence=Fixed(ratios=(1, 2)))
    assert ask(unit, "0900") == "490055400000"
    assert ask(unit, "0902") == "490201" + VIN.encode().hex()
    assert ask(unit, "0904") == "490402" + "414243" + "00" * 13 + "444546" + "00" * 13
    assert ask(unit, "0906") == "4906021234abcd00000001"
    assert ask(unit, "0908") == "49080200010002"
    assert ask(unit, "090A") == "490a01" + b"ECM\0-EngineControl\0\0".hex()


def test_vehicle_information_off_can_is_numbered_fours(car: Any) -> None:
    """Five messages for a VIN, three zero bytes first; item 01 says how many."""
    unit = ControlUnit(car, UnitNames(VIN), can=False)
    assert ask(unit, "0901") == "490105"
    frames = [reply.payload.hex() for reply in unit.replies(b"\x09\x02")]
    assert frames == [
        "49020100000031",
        "49020247344148",
        "49020335394834",
        "49020435473131",
        "49020538333431",
    ]


@pytest.mark.parametrize("request_text", ["0902", "0601", "010B", "22F40C", "0A01"])
def test_refusals_are_told_only_to_who_asked_this_unit(
    car: Any, request_text: str
) -> None:
    """Asked as one of many the unit is silent, asked alone it refuses."""
    unit = ControlUnit(car)
    request = bytes.fromhex(request_text)
    assert unit.replies(request) == ()
    (refusal,) = unit.replies(request, functional=False)
    assert refusal.payload[:2] == bytes((0x7F, request[0]))


def test_clearing_is_refused_while_the_engine_runs(car: Any) -> None:
    """7F 04 22 with the engine running, 44 and a cleared memory without."""

    class Memory(Fixed):
        cleared = 0

        def clear(self) -> None:
            Memory.cleared += 1

    unit = with_memory(car, Memory(stored=("P0171",)))
    assert ask(unit, "04") == "7f0422"
    assert Memory.cleared == 0
    car.engine_running = False
    assert ask(unit, "04") == "44"
    assert Memory.cleared == 1


def test_a_busy_unit_answers_when_asked_again(car: Any) -> None:
    """7F 03 21 first, the answer at the second request."""
    unit = ControlUnit(car, manners=Manners(busy=frozenset({0x03})))
    assert [ask(unit, "03") for _ in range(4)] == ["7f0321", "4300"] * 2


def test_a_slow_unit_asks_for_patience_first(car: Any) -> None:
    """7F 09 78 at once, the answer 1.2 seconds later."""
    names = UnitNames(verifications=(7,))
    unit = ControlUnit(car, names, manners=Manners(pending_s={0x09: 1.2}))
    first, second = unit.replies(b"\x09\x06")
    assert (first.payload.hex(), first.later_s) == ("7f0978", 0.0)
    assert (second.payload.hex(), second.later_s) == ("49060100000007", 1.2)


def test_bitmaps_chain_to_the_next_block() -> None:
    """The last bit is set when a later block has something to say."""
    assert bitmap(0x00, {0x01, 0x20}).hex() == "80000001"
    assert bitmap(0x00, {0x41}).hex() == "00000001"
    assert bitmap(0x20, {0x41}).hex() == "00000001"
    assert bitmap(0x40, {0x41}).hex() == "80000000"
    assert bitmap(0x60, {0x41}) == b""
    assert bitmap(0x00, set()).hex() == "00000000"


def test_every_pid_that_carries_signals_can_be_offered(car: Any) -> None:
    """No row of the PID table with named signals is out of a unit's reach."""
    for number, pid in PIDS.items():
        names = signals_of(number, Layout.TWO_BANKS)
        if not names or number % 0x20 == 0:
            continue
        car.readings = dict.fromkeys(names, 1.0)
        manners = Manners(extra_pids=frozenset({number}))
        unit = ControlUnit(car, manners=manners)
        answer = unit.answer(bytes((0x01, number)))
        assert answer is not None, f"PID {number:02X}"
        assert len(answer) == 2 + pid.length
