"""Monitor status, on-board test results, vehicle information and freeze frames."""

from __future__ import annotations

import pytest

from bankwise.adapters.freeze_frame import freeze_frames, pieces
from bankwise.adapters.monitor_results import PLACES, results_in, scaling
from bankwise.adapters.pids import Layout
from bankwise.adapters.readiness import MEANING, monitor_status
from bankwise.adapters.vehicle_info import item, unit_info
from bankwise.signals.evidence import MonitorResult


def _only(found: tuple[MonitorResult, ...] | None) -> MonitorResult:
    assert found is not None
    assert len(found) == 1
    return found[0]


def test_the_worked_readiness_example() -> None:
    """`83 07 65 21` reads as worked by hand: lamp on, three codes, two tests open."""
    status = monitor_status(bytes.fromhex("83076521"))
    assert status is not None
    assert (status.lamp, status.count, status.compression) == (True, 3, False)
    assert status.open == ("catalyst", "oxygen sensors")
    complete = {m.name for m in status.monitors if m.complete}
    assert {"evaporative system", "oxygen sensor heaters"} <= complete


def test_every_monitor_has_a_meaning() -> None:
    """No monitor is shown without words, petrol or diesel."""
    for data in ("007F00FF", "0008FFFF", "0077FFFF", "007FFFFF"):
        status = monitor_status(bytes.fromhex(data + "00")[:4])
        assert status is not None
        assert all(m.meaning == MEANING[m.name] for m in status.monitors)
    assert monitor_status(b"\x00") is None


@pytest.mark.parametrize(
    ("uas", "raw", "value", "unit"),
    [
        (0x0A, "0E66", 449.692, "mV"),
        (0x8A, "FC18", -122.0, "mV"),
        (0x16, "0FA0", 360.0, "°C"),
    ],
)
def test_scalings_of_the_worked_examples(
    uas: int, raw: str, value: float, unit: str
) -> None:
    """Three unit-and-scaling rows give values worked by hand."""
    row = scaling(uas)
    assert row is not None
    assert row.value(bytes.fromhex(raw)) == pytest.approx(value)
    assert row.unit == unit


def test_the_worked_test_result() -> None:
    """`46 05 05 10 0048 0000 0064`: B2S1, rich to lean, 72 ms, passes 0 to 100."""
    result = _only(results_in(bytes.fromhex("46050510004800000064"), "7E8"))
    assert (result.about, result.title) == ("B2S1", "rich to lean switch time")
    assert (result.value, result.low, result.high, result.sign) == (72, 0, 100, "ms")
    assert result.passed
    assert result.margin == pytest.approx(0.28)


def test_an_unknown_scaling_is_shown_raw() -> None:
    """A number outside the table keeps its raw value and limits."""
    result = _only(results_in(bytes.fromhex("4601817F00480000FFFF"), "7E8"))
    assert not result.scaled
    assert (result.value, result.high) == (0x48, 0xFFFF)
    assert result.title == "maker's test 81"
    assert results_in(bytes.fromhex("46018100"), "7E8") is None


def test_every_scaling_row_has_a_sign_for_its_unit() -> None:
    """The whole table loads, true-or-false row included."""
    known = [number for number in range(256) if scaling(number)]
    assert 0x2E in known
    assert len(known) > 80
    assert PLACES[0x41] == ("B1S1", "sensor heater")
    assert PLACES[0xA2] == ("engine", "misfire")


def test_vehicle_information_joins_counted_and_numbered_answers() -> None:
    """A VIN arrives whole on CAN and in five numbered pieces elsewhere."""
    vin = b"1G4AH59H45G118341"
    kind, data = item([b"\x49\x02\x01" + vin], counted=True) or (0, b"")
    assert (kind, unit_info("7E8", {2: data}).vin) == (2, vin.decode())
    padded = b"\x00\x00\x00" + vin
    parts = [b"\x49\x02" + bytes([n + 1]) + padded[4 * n : 4 * n + 4] for n in range(5)]
    joined = item(list(reversed(parts)), counted=False)
    assert joined is not None
    assert unit_info("10", {2: joined[1]}).vin == vin.decode()
    assert item(parts[:2] + parts[3:], counted=False) is None


def test_calibrations_and_their_numbers_are_cut_apart() -> None:
    """Two calibrations in one answer stay two."""
    info = unit_info(
        "7E8",
        {
            4: b"CAL-ONE".ljust(16, b"\x00") + b"CAL-TWO".ljust(16, b"\x00"),
            6: bytes.fromhex("1791BC8216E062BE"),
            8: bytes.fromhex("0010002000030004"),
            10: b"ECM\x00-EngineControl\x00\x00\x00",
        },
    )
    assert info.calibrations == ("CAL-ONE", "CAL-TWO")
    assert info.verifications == ("1791BC82", "16E062BE")
    assert info.ratios[:2] == (("conditions met", 16), ("ignition cycles", 32))
    assert info.name == "ECM-EngineControl"


def test_a_freeze_frame_keeps_frame_number_code_and_values() -> None:
    """Values are read after PID and frame number, and the code with them."""
    triples = pieces(bytes.fromhex("42" + "02000171" + "0C001AF8" + "05007B"))
    assert triples is not None
    (frame,) = freeze_frames("7E8", triples, Layout.TWO_BANKS)
    assert (frame.number, frame.code) == (0, "P0171")
    assert frame.values == {"rpm": 1726.0, "ect_c": 83.0}


def test_a_cut_freeze_frame_is_not_read() -> None:
    """A short answer gives no value."""
    assert pieces(bytes.fromhex("420C001A")) is None
    assert pieces(bytes.fromhex("42FE00")) is None
    (frame,) = freeze_frames(
        "7E8", pieces(bytes.fromhex("4202000000")) or [], Layout.TWO_BANKS
    )
    assert frame.code is None


def test_misfire_results_name_their_cylinder() -> None:
    """Monitor A2 is cylinder 1."""
    result = _only(results_in(bytes.fromhex("46A20C2400050000FFFF"), "7E8"))
    assert result.title == "cylinder 1, this or the last drive"
    assert (result.value, result.margin) == (5.0, None)
