"""The snapshot of codes: what is asked, what the answers say, what stays unknown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import zip_longest

import pytest

from bankwise.adapters.car.evidence import Fixed, FreezeFrame, Monitor, TestResult
from bankwise.adapters.car.framing import (
    PROTOCOLS,
    TRANSMISSION,
    answer_frames,
)
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.unit import ControlUnit
from bankwise.adapters.monitor_results import older_result
from bankwise.adapters.newest_answers import plain
from bankwise.adapters.records import Exchange, Record
from bankwise.adapters.snapshot import next_requests, snapshot

VIN = "1M8GDM9AXKP042788"

READINGS = {
    "rpm": 2000.0,
    "load_pct": 40.0,
    "ect_c": 88.0,
    "stft_b1_pct": 3.9,
    "warmups": 12.0,
    "cleared_km": 340.0,
}


@dataclass
class ParkedCar:
    """A car that reports fixed readings."""

    readings: Mapping[str, float] = field(default_factory=lambda: dict(READINGS))
    key_on: bool = True
    engine_running: bool = False

    def advance(self, t: float) -> None:
        """Nothing changes."""


ENGINE_MEMORY = Fixed(
    lamp=True,
    stored=("P0174", "P0171", "P0155", "P0300"),
    pending=("P0171",),
    permanent=("P0174",),
    freeze_frames=(FreezeFrame("P0174", READINGS),),
    supported=frozenset({Monitor.CATALYST, Monitor.OXYGEN_SENSOR, Monitor.MISFIRE}),
    open_since_clear=frozenset({Monitor.CATALYST}),
    tests=(
        TestResult(0x05, 0x05, 0x10, 0x48, 0, 0x64),
        TestResult(0x21, 0x81, 0x7F, 7, 0, 9),
    ),
)


def _units(protocol: str, second: bool) -> list[ControlUnit]:
    can = PROTOCOLS[protocol].can
    names = UnitNames(vin=VIN)
    units = [ControlUnit(ParkedCar(), names, can=can, evidence=ENGINE_MEMORY)]
    if second:
        memory = Fixed(stored=("P0700",))
        units.append(
            ControlUnit(ParkedCar(), address=TRANSMISSION, can=can, evidence=memory)
        )
    return units


def _lines(protocol: str, units: Iterable[ControlUnit], request: str) -> list[str]:
    """Answer lines of every unit, frames of multi-frame answers interleaved."""
    spoken = PROTOCOLS[protocol]
    columns = []
    for unit in units:
        lines = []
        for reply in unit.replies(bytes.fromhex(request)):
            for frame in answer_frames(spoken, unit.address, reply.payload):
                head = frame.header.hex().upper()
                if spoken.can:
                    head = head[-3:] if spoken.id_bits == 11 else head
                body = frame.data.hex().upper()
                lines.append(head + body + frame.check.hex().upper())
        columns.append(lines)
    return [line for row in zip_longest(*columns) for line in row if line]


def _survey(protocol: str, second: bool = False) -> list[Record]:
    units = _units(protocol, second)
    records: list[Record] = [
        Exchange(0.0, q, tuple(_lines(protocol, units, q)), 0.02)
        for q in ("0100", "0120", "0140")
    ]
    t = 1.0
    while wanted := next_requests(records, protocol):
        for request in wanted:
            lines = _lines(protocol, units, request)
            word = None if lines else "NO DATA"
            records.append(Exchange(t, request, tuple(lines), 0.02, word))
            t += 0.1
        assert t < 100, "the survey does not end"
    return records


@pytest.mark.parametrize("protocol", ["1", "3", "5", "6", "7", "9"])
def test_a_car_tells_everything_on_every_protocol(protocol: str) -> None:
    """Codes, lamp, readiness and counters are the car's own, framing aside."""
    seen = snapshot(_survey(protocol), protocol)
    assert seen.codes["stored"].codes == ENGINE_MEMORY.stored
    assert seen.codes["pending"].codes == ("P0171",)
    assert seen.codes["permanent"].codes == ("P0174",)
    assert all(reading.known for reading in seen.codes.values())
    assert seen.lamp is True
    (status,) = seen.since_clear.values()
    assert status.count == 4
    assert status.open == ("catalyst",)
    assert seen.count_mismatch() == ()
    assert seen.counters == {"warmups": 12.0, "cleared_km": 340.0}
    (frame,) = seen.frames
    assert (frame.code, frame.values["rpm"], frame.values["ect_c"]) == (
        "P0174",
        2000.0,
        88.0,
    )
    assert seen.vin == VIN
    assert seen.unread == ()


def test_interleaved_answers_of_two_units_stay_apart() -> None:
    """Each unit keeps its own codes, frame by frame interleaved or not."""
    seen = snapshot(_survey("6", second=True), "6")
    units = {unit.unit: unit.codes for unit in seen.codes["stored"].units}
    assert units == {"7E8": ENGINE_MEMORY.stored, "7E9": ("P0700",)}


def test_test_results_come_with_words_or_raw() -> None:
    """Known scalings give values, unknown ones their raw numbers."""
    first, second = snapshot(_survey("6"), "6").results
    assert (first.about, first.value, first.sign, first.scaled) == (
        "B2S1",
        72.0,
        "ms",
        True,
    )
    assert (second.about, second.value, second.scaled) == ("B1", 7.0, False)


def _x(t: float, request: str, *lines: str, word: str | None = None) -> Exchange:
    return Exchange(t, request, lines, 0.02, word)


def test_silence_is_not_no_codes() -> None:
    """NO DATA leaves the stored codes unknown and says so."""
    seen = snapshot([_x(0.0, "03", word="NO DATA")], "6")
    assert not seen.codes["stored"].known
    assert seen.codes["stored"].trouble == ("no answer from the car",)
    assert "stored codes: no answer from the car" in seen.unread


def test_a_refusal_is_not_no_codes() -> None:
    """A negative answer is named with its unit and reason."""
    seen = snapshot([_x(0.0, "03", "7E8037F0322")], "6")
    assert seen.codes["stored"].trouble == ("7E8: refused: conditions not right",)


def test_a_lost_frame_is_not_fewer_codes() -> None:
    """A multi-frame answer without its last frame gives nothing."""
    seen = snapshot([_x(0.0, "03", "7E8100A430401710174")], "6")
    assert not seen.codes["stored"].known
    assert seen.codes["stored"].codes == ()


def test_one_unit_silent_and_one_answering_is_told_apart() -> None:
    """A unit that refuses beside one that answers makes the set incomplete."""
    seen = snapshot([_x(0.0, "07", "7E8044701017100", "7E9037F0711")], "6")
    assert seen.codes["pending"].codes == ("P0171",)
    assert not seen.codes["pending"].known


def test_a_later_silence_does_not_erase_a_good_reading() -> None:
    """The newest usable reading counts."""
    records = [_x(0.0, "03", "7E8024300"), _x(5.0, "03", word="NO DATA")]
    assert snapshot(records, "6").codes["stored"].known
    newer = [*records, _x(9.0, "03", "7E80443010171")]
    assert snapshot(newer, "6").codes["stored"].codes == ("P0171",)


@pytest.mark.parametrize(
    ("lines", "word", "why"),
    [
        ((), "NO DATA", "no answer from the car"),
        ((), "no answer", "the adapter itself did not answer in time"),
        (("7E8037F0322",), None, "7E8: refused: conditions not right"),
        ((), "CAN ERROR", "the CAN bus does not acknowledge (CAN ERROR)"),
        (("7E8024",), None, "damaged answer: "),
    ],
)
def test_reading_again_in_vain_loses_nothing(
    lines: tuple[str, ...], word: str | None, why: str
) -> None:
    """What was read stays, with its time, and the failure is told beside it."""
    records = [_x(3.0, "03", "7E80443010171"), _x(70.0, "03", *lines, word=word)]
    seen = snapshot(records, "6")
    assert seen.codes["stored"].codes == ("P0171",)
    assert seen.codes["stored"].t == 3.0
    told = next(line for line in seen.unread if line.startswith("stored codes"))
    assert told.startswith(f"stored codes: read again at 1:10: {why}")


def test_one_unit_missing_at_the_second_reading_is_kept() -> None:
    """The unit that answered is new, the silent one is as it was read before."""
    records = [
        _x(3.0, "03", "7E80443010171", "7E90443010700"),
        _x(70.0, "03", "7E8024300", "7E9037F0321"),
    ]
    seen = snapshot(records, "6")
    units = {unit.unit: unit.codes for unit in seen.codes["stored"].units}
    assert units == {"7E8": (), "7E9": ("P0700",)}
    assert any("from 7E9 was read before" in line for line in seen.unread)


def test_clearing_takes_away_what_it_wiped_and_nothing_more() -> None:
    """After `44` an unanswered question is open; the calibration is still known."""
    records = [
        _x(1.0, "03", "7E80443010171"),
        _x(2.0, "020200", "7E805420200 0171".replace(" ", "")),
        _x(3.0, "0A", "7E8044A010171"),
        _x(4.0, "04", "7E80144"),
        _x(5.0, "03", word="NO DATA"),
    ]
    seen = snapshot(records, "6")
    assert not seen.codes["stored"].known
    assert seen.codes["stored"].codes == ()
    assert seen.frames == ()
    assert seen.codes["permanent"].codes == ("P0171",)
    refused = [*records[:3], _x(4.0, "04", "7E8037F0422"), records[4]]
    assert snapshot(refused, "6").codes["stored"].codes == ("P0171",)


def test_an_empty_freeze_frame_shows_no_left_over_values() -> None:
    """Code 0000 means that nothing is kept, whatever stands in the other places."""
    records = [
        _x(2.0, "020200", "7E8054202000171"),
        _x(2.1, "020C00", "7E805420C001F40"),
        _x(9.0, "020200", "7E8054202000000"),
    ]
    (frame,) = snapshot(records, "6").frames
    assert (frame.code, frame.values) == (None, {})


def test_a_count_that_differs_from_the_list_is_told() -> None:
    """PID 01 says one code, service 03 lists none."""
    records = [_x(0.0, "0101", "7E8064101810765 21".replace(" ", ""))]
    records.append(_x(1.0, "03", "7E8024300"))
    assert snapshot(records, "6").count_mismatch() == ("7E8",)


def test_the_expected_answer_digit_is_dropped() -> None:
    """`01011` asks the same as `0101`."""
    assert plain("01011") == "0101"
    assert snapshot([_x(0.0, "031", "7E8024300")], "6").codes["stored"].known


def test_nothing_asked_is_said() -> None:
    """Without any exchange every part is unread."""
    seen = snapshot([], "6")
    assert seen.lamp is None
    assert len(seen.unread) == 5


def test_older_results_stay_raw_with_one_limit() -> None:
    """Before CAN a result has the maker's numbers and a limit on one side."""
    records = [_x(0.0, "0605", "486B1046058100280014CB")]
    (result,) = snapshot(records, "3").results
    assert (result.value, result.low, result.has_low, result.has_high) == (
        40,
        20,
        True,
        False,
    )
    assert result.margin == pytest.approx(1.0)
    assert not result.scaled


def test_older_limits_at_the_end_of_the_range_are_none() -> None:
    """FFFF as the highest and 0000 as the lowest limit limit nothing."""
    high = older_result(bytes.fromhex("4605010028FFFF"), "10")
    low = older_result(bytes.fromhex("46058100280000"), "10")
    assert high is not None
    assert low is not None
    assert (high.has_low, high.has_high) == (False, False)
    assert (low.has_low, low.has_high) == (False, False)
    assert high.margin is None
