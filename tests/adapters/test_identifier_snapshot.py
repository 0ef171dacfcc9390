"""Codes of a car of SAE J1979-2: read, saved and cleared by identifier."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bankwise.adapters.analysis import analyse
from bankwise.adapters.car.evidence import Fixed
from bankwise.adapters.car.uds_unit import three_bytes
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.code_reading import three_byte_name, three_bytes_of
from bankwise.adapters.code_table import description, failure_type
from bankwise.adapters.code_visit import CodeVisit, confirmation
from bankwise.adapters.errors import GateRefused
from bankwise.adapters.records import Exchange, Record
from bankwise.adapters.session_file import read_session
from bankwise.adapters.snapshot import next_requests, session_snapshot, snapshot
from bankwise.signals.two_trips import code_stories


@pytest.fixture(name="modern")
def _modern(parked: Any) -> Any:
    """The parked car, with units that answer by identifier only."""
    parked.uds = True
    parked.memory.pending = ("P0174", "P0300-11")
    return parked


def _visit(car: Any, path: Path | None) -> CodeVisit:
    visit = CodeVisit(VirtualLink(car.adapter()), path)
    visit.connect()
    return visit


@pytest.mark.parametrize("protocol", ["6", "7"])
def test_a_visit_reads_and_saves_everything(
    modern: Any, tmp_path: Path, protocol: str
) -> None:
    """Codes with their status, frames, monitors, results and VIN, live and saved."""
    modern.protocol = protocol
    path = tmp_path / "visit.jsonl"
    visit = _visit(modern, path)
    seen = visit.read()
    visit.close()
    assert seen.codes["stored"].codes == ("P0174", "P0155")
    assert seen.codes["pending"].codes == ("P0174", "P0300-11")
    assert seen.codes["permanent"].codes == ("P0155",)
    assert seen.codes["pending"].states("P0300-11") == (0x05,)
    assert seen.lamp is True
    (frame,) = seen.frames
    assert (frame.code, frame.values["rpm"]) == ("P0174", 2100.0)
    assert frame.values["load_pct"] == pytest.approx(38.0, abs=0.2)
    (result,) = seen.results
    assert (result.about, result.value, result.high, result.sign) == (
        "B1S1",
        40.0,
        100.0,
        "ms",
    )
    assert next(iter(seen.this_drive.values())).open == ("catalyst",)
    assert seen.vin == "1M8GDM9AXKP042788"
    assert seen.unread == ()
    assert seen.count_mismatch() == ()
    saved = read_session(path)
    again = session_snapshot(saved)
    assert (again.frames, again.results, again.units, again.since_clear) == (
        seen.frames,
        seen.results,
        seen.units,
        seen.since_clear,
    )
    assert {w: r.codes for w, r in again.codes.items()} == {
        w: r.codes for w, r in seen.codes.items()
    }


def test_nothing_but_services_22_and_19_is_asked_and_codes_reach_the_columns(
    modern: Any, tmp_path: Path
) -> None:
    """After the search no older service is sent; code reads become columns."""
    path = tmp_path / "visit.jsonl"
    visit = _visit(modern, path)
    first = len(visit.records)
    visit.read()
    asked = [r.q for r in visit.records[first:] if isinstance(r, Exchange)]
    visit.close()
    assert {request[:2] for request in asked} == {"22", "19"}
    columns = analyse(read_session(path)).columns
    assert {read.when: read.codes for read in columns.codes} == {
        "stored": ("P0174", "P0155"),
        "pending": ("P0174", "P0300-11"),
        "permanent": ("P0155",),
    }
    assert columns.vehicle.vin == "1M8GDM9AXKP042788"


def test_clearing_uses_the_group_of_emission_codes(modern: Any, tmp_path: Path) -> None:
    """14 FF FF 33 after the snapshot was saved; what is permanent stays."""
    modern.other("P0700")
    visit = _visit(modern, tmp_path / "visit.jsonl")
    seen = visit.read()
    assert {u.unit: u.codes for u in seen.codes["stored"].units} == {
        "7E8": ("P0174", "P0155"),
        "7E9": ("P0700",),
    }
    outcome = visit.clear(confirmation(seen))
    visit.close()
    assert outcome.ok
    assert outcome.words == ("7E8: cleared", "7E9: cleared")
    assert outcome.left.codes["stored"].codes == ()
    assert outcome.left.codes["permanent"].codes == ("P0155",)
    asked = [r.q for r in visit.records if isinstance(r, Exchange)]
    assert asked.count("14FFFF33") == 1
    assert "04" not in asked


def test_a_running_engine_is_not_cleared(modern: Any, tmp_path: Path) -> None:
    """Engine speed is read by identifier, and refuses."""
    visit = _visit(modern, tmp_path / "visit.jsonl")
    seen = visit.read()
    modern.car.readings["rpm"] = 700.0
    with pytest.raises(GateRefused, match="engine is running"):
        visit.clear(confirmation(seen))
    assert modern.memory.stored == ("P0174", "P0155")


def _x(t: float, request: str, *lines: str, word: str | None = None) -> Record:
    return Exchange(t, request, lines, 0.02, word)


UP = _x(0.0, "22F400", "7E80762F40018000000")


def test_silence_and_refusal_are_not_no_codes() -> None:
    """A refused report and an unanswered one leave the sets unknown."""
    seen = snapshot(
        [
            UP,
            _x(1.0, "194233081E", "7E8037F1922"),
            _x(2.0, "194233041E", word="NO DATA"),
            _x(3.0, "195533", "7E8055955338D04"),
        ],
        "6",
    )
    assert not seen.codes["stored"].known
    assert seen.codes["stored"].trouble == ("7E8: refused: conditions not right",)
    assert seen.codes["pending"].trouble == ("no answer from the car",)
    assert seen.codes["permanent"].known
    assert "stored codes: 7E8: refused: conditions not right" in seen.unread


def test_a_unit_that_ignores_the_mask_is_read_by_status() -> None:
    """A pending code in the answer about confirmed ones is not stored."""
    answer = bytes.fromhex("594233FF1E04" + "0201710004" + "020174000C")
    lines = (
        f"7E81{len(answer):03X}{answer[:6].hex().upper()}",
        f"7E821{answer[6:13].hex().upper()}",
        f"7E822{answer[13:].hex().upper()}",
    )
    seen = snapshot([UP, _x(1.0, "194233081E", *lines)], "6")
    assert seen.codes["stored"].codes == ("P0174",)


def test_a_status_of_unknown_length_is_told_raw() -> None:
    """F501 with other than four bytes is not guessed at."""
    seen = snapshot([UP, _x(1.0, "22F501", "7E80662F501810765")], "6")
    assert seen.since_clear == {}
    assert any("3 bytes" in line and "810765" in line for line in seen.unread)


def test_a_frame_with_an_unknown_identifier_is_told_cut_short() -> None:
    """What comes before the unknown one is kept, and the rest is not guessed."""
    answer = bytes.fromhex("5904" + "017400" + "0C" + "0002" + "F40C20D0" + "D10011")
    lines = (
        f"7E81{len(answer):03X}{answer[:6].hex().upper()}",
        f"7E821{answer[6:13].hex().upper()}",
        f"7E822{answer[13:].hex().upper()}",
    )
    seen = snapshot([UP, _x(1.0, "1904017400FF", *lines)], "6")
    (frame,) = seen.frames
    assert (frame.code, frame.values) == ("P0174", {"rpm": 2100.0})
    assert any("more than is understood" in line for line in seen.unread)


def test_a_frame_is_asked_for_each_code_once() -> None:
    """A code that is stored and pending has one request for its frames."""
    answer = "59423 3FF1E04".replace(" ", "") + "020174000C"
    lines = (f"7E8100B{answer[:12]}", f"7E821{answer[12:]}")
    records = [
        UP,
        _x(1.0, "194233081E", *lines),
        _x(2.0, "194233041E", *lines),
    ]
    wanted = next_requests(records, "6")
    assert [q for q in wanted if q.startswith("1904")] == ["1904017400FF"]


@pytest.mark.parametrize("code", ["P0171", "P0171-1A", "U0101-87", "B1234", "C0123-F0"])
def test_three_bytes_and_names_are_inverse(code: str) -> None:
    """The simulated unit's bytes and ours agree both ways."""
    assert three_bytes_of(code) == three_bytes(code)
    assert three_byte_name(three_bytes_of(code)) == code


def test_failure_types_and_states_come_in_words(modern: Any) -> None:
    """`P0300-11` is told as a short to ground, with its status."""
    visit = _visit(modern, None)
    stories = {story.code: story for story in code_stories(visit.read())}
    assert stories["P0300-11"].states == ("failing at the last test", "pending")
    assert "asks for the lamp" in stories["P0174"].states
    assert failure_type("P0300-11") == "circuit short to ground"
    assert failure_type("P0300") == ""
    assert failure_type("P0300-F7").startswith("failure type F7")
    assert description("P0174-11") == description("P0174")


def test_a_healthy_modern_car_has_no_codes(modern: Any) -> None:
    """No records after the masks is an answer: no codes."""
    modern.memory = Fixed(supported=modern.memory.supported)
    seen = _visit(modern, None).read()
    assert all(reading.known for reading in seen.codes.values())
    assert all(reading.codes == () for reading in seen.codes.values())
    assert seen.lamp is False


REQUESTS = (
    "22F400",
    "22F501",
    "22F441",
    "22F421",
    "22F802",
    "22F804",
    "22F600",
    "22F605",
    "194233081E",
    "194233041E",
    "195533",
    "1904017400FF",
)


@settings(max_examples=200, deadline=None)
@example({"22F400": (0, b""), "22F600": (0, b"\x00\xe0\x00\x00\x00\x01")})
@given(
    st.dictionaries(
        st.sampled_from(REQUESTS),
        st.tuples(st.integers(0, 6), st.binary(max_size=7)),
        max_size=len(REQUESTS),
    )
)
def test_no_answer_makes_it_fall(told: dict[str, tuple[int, bytes]]) -> None:
    """Any bytes after any true beginning give a snapshot and further questions."""
    records = [UP]
    for t, (request, (kept, noise)) in enumerate(told.items(), 1):
        head = bytes.fromhex(request)
        start = bytes((head[0] | 0x40,)) + head[1:kept]
        payload = (start + noise)[:7]
        line = f"7E8{len(payload):02X}{payload.hex().upper()}"
        records.append(_x(float(t), request, line))
    seen = snapshot(records, "6")
    assert set(seen.codes) == {"stored", "pending", "permanent"}
    assert next_requests(records, "6")
