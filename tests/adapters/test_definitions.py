"""Definition files: what they may say, and their values from the wire to a flag."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.capture import capture
from bankwise.adapters.car.maker_values import EXAMPLE, data, example, maker_values
from bankwise.adapters.car.stories import STORIES, Story
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.definition_file import (
    DefinitionFault,
    of_header,
    parse,
    read_definitions,
)
from bankwise.adapters.definitions import NONE, Definitions
from bankwise.adapters.errors import GateRefused
from bankwise.adapters.gate import permit
from bankwise.adapters.maker_reads import STRIKES, MakerReads
from bankwise.adapters.records import Exchange, Header, Record

GOOD = """
[[value]]
name = "cam_actual_b1_deg"
service = 22
id = "2A11"
header = "7E0"
start = 1
length = 2
signed = true
scale = 0.1
offset = -4
unit = "°"
rate = 2
low = -60
high = 60
"""


def test_a_value_is_raw_times_scale_plus_offset() -> None:
    """Hand-computed: FF9C is -100, so -10 - 4 = -14 degrees."""
    row = parse(GOOD).rows[0]
    assert row.request == "222A11"
    assert row.value(bytes.fromhex("622A1100FF9C")) == pytest.approx(-14.0)
    assert row.value(bytes.fromhex("622A110000C8")) == pytest.approx(16.0)


@pytest.mark.parametrize(
    "answer",
    ["622A11", "622A1100FF", "622A1200FF9C", "7F2231", "622A11007FFF", ""],
    ids=["empty", "short", "another", "refused", "not sane", "nothing"],
)
def test_what_is_not_the_value_is_none(answer: str) -> None:
    """Short, foreign and insane answers give no value, never a wrong one."""
    assert parse(GOOD).rows[0].value(bytes.fromhex(answer)) is None


def test_what_was_encoded_decodes_to_the_same() -> None:
    """The simulated car's bytes and the reader agree, signed ones too."""
    for row in example().rows:
        for value in (row.low, 0.0, row.high / 3):
            payload = row.answer_head + row.encode(value)
            assert row.value(payload) == pytest.approx(value, abs=row.scale / 2)


def test_only_the_unit_that_was_asked_counts() -> None:
    """An answer of another control unit is not taken."""
    found = parse(GOOD)
    payload = bytes.fromhex("622A1100FF9C")
    assert found.values("222A11", [("7E9", payload)]) == {}
    assert found.values("222A11", [("7E8", payload)]) != {}
    assert found.values("222A111", [("7E8", payload)]) != {}


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("service = 22", "service = 2E", 4, "Expected newline"),
        ("service = 22", "service = 31", 4, "must be 22 or 21"),
        ("service = 22", "service = true", 4, "must be 22 or 21"),
        ('id = "2A11"', 'id = "2A1"', 5, "4 hexadecimal digits"),
        ('id = "2A11"', 'id = "F40C"', 5, "standard one"),
        ('id = "2A11"', "", 2, "id is missing"),
        ('header = "7E0"', 'header = "7DF"', 6, '"7E0" to "7E7"'),
        ("start = 1", "start = -1", 7, "whole number from 0"),
        ("length = 2", "length = 5", 8, "from 1 to 4"),
        ("signed = true", "signed = 1", 9, "true or false"),
        ("scale = 0.1", "scale = 0", 10, "must not be 0"),
        ("scale = 0.1", "scale = 1e-320", 10, "at least 1e-09"),
        ("scale = 0.1", "scale = -1e-12", 10, "at least 1e-09"),
        ("scale = 0.1", "scale = inf", 10, "must be a number"),
        ("offset = -4", "offset = nan", 11, "must be a number"),
        ("rate = 2", "rate = 50", 13, "requests a second"),
        ("low = -60", "low = 60", 14, "below high"),
        ("high = 60", "hihg = 60", 15, "not known here"),
        ('"cam_actual_b1_deg"', '"rpm"', 3, "signal of its own"),
        ('"cam_actual_b1_deg"', '"Cam"', 3, "small letters"),
        ("[[value]]", "[[values]]", 2, "only [[value]]"),
        ("[[value]]", "[value]", 2, "at least one"),
    ],
)
def test_a_fault_is_one_line_with_its_place(
    old: str, new: str, line: int, words: str
) -> None:
    """File, line and what was expected; never a traceback."""
    with pytest.raises(DefinitionFault) as told:
        parse(GOOD.replace(old, new), "mine.toml")
    text = str(told.value)
    assert text.startswith(f"mine.toml:{line}: ")
    assert words in text
    assert "\n" not in text


def test_the_second_table_has_its_own_lines() -> None:
    """A fault in a later table is told at its line."""
    with pytest.raises(DefinitionFault, match=r"definitions:18: .* there twice"):
        parse(GOOD + GOOD)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("# mine\nvalue = [1, 2]\n", 2, "entry 1 of value is a number"),
        ('\nvalue = [\n  "rpm",\n]\n', 2, "entry 1 of value is a text"),
        ("value = [[1]]\n", 1, "entry 1 of value is a list"),
        ("value = [true]\n", 1, "entry 1 of value is true or false"),
        ("value = [2026-03-01]\n", 1, "entry 1 of value is a date"),
        ("\n\nvalue = 3\n", 3, "at least one [[value]] table"),
        ("\nvalue = [{}]\n", 2, "name is missing"),
    ],
)
def test_a_list_that_is_no_table_says_what_it_is(
    text: str, line: int, words: str
) -> None:
    """With its line, and how a table is written."""
    with pytest.raises(DefinitionFault) as told:
        parse(text, "mine.toml")
    assert str(told.value).startswith(f"mine.toml:{line}: ")
    assert words in str(told.value)
    if "entry" in words:
        assert "write [[value]]" in str(told.value)


def test_a_mark_at_the_files_begin_is_no_fault(tmp_path: Any) -> None:
    """Editors put a byte-order mark before the text; it is read all the same."""
    path = tmp_path / "marked.toml"
    path.write_text(GOOD, encoding="utf-8-sig")
    assert read_definitions(path) == parse(GOOD)
    path.write_text(GOOD.replace("length = 2", "length = 9"), encoding="utf-8-sig")
    with pytest.raises(DefinitionFault, match=r"marked\.toml:8: length"):
        read_definitions(path)


def test_a_file_that_is_not_there_is_one_line(tmp_path: Any) -> None:
    """So is one that is no text."""
    with pytest.raises(DefinitionFault, match="No such file"):
        read_definitions(tmp_path / "none.toml")
    (tmp_path / "raw.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(DefinitionFault, match="UTF-8"):
        read_definitions(tmp_path / "raw.toml")
    assert read_definitions(None) is NONE


def test_the_gate_lets_pass_only_what_is_listed() -> None:
    """Not another identifier, not another service, and nothing without a file."""
    listed = parse(GOOD).listed
    assert permit("222A11", listed).text == "222A11"
    for text in ("222A12", "2E2A1100", "2111", "312A11", "222A112A12"):
        with pytest.raises(GateRefused):
            permit(text, listed)
    with pytest.raises(GateRefused):
        permit("222A11")


def test_the_shipped_example_is_good() -> None:
    """It names both cams of both banks, and one value of the older service."""
    found = read_definitions(EXAMPLE)
    assert {row.request for row in found.rows} == {"222A10", "222A20", "21C1"}
    assert len(found.rows) == 5


@pytest.mark.parametrize(
    "rows",
    [
        "text",
        [1],
        [{"name": "x"}],
        [{"service": 0x2E, "id": 1, "name": "abc"}],
        [{**parse(GOOD).as_json()[0], "service": 0x2E}],
        [{**parse(GOOD).as_json()[0], "scale": "1"}],
        [{**parse(GOOD).as_json()[0], "more": 1}],
    ],
)
def test_a_header_that_was_tampered_with_gives_nothing(rows: Any) -> None:
    """Rows that no file could have made are left out."""
    assert of_header({"definitions": rows}).rows == ()


KEYS = ("name", "service", "id", "start", "length", "scale", "low", "high", "value")
LINES = st.one_of(
    st.sampled_from([line for line in GOOD.splitlines() if line]),
    st.builds("{} = {}".format, st.sampled_from(KEYS), st.text(max_size=8)),
    st.text(max_size=20),
)


@given(st.lists(LINES, max_size=20).map("\n".join))
def test_any_text_is_taken_or_told_in_one_line(text: str) -> None:
    """No text makes a traceback."""
    told = "definitions:"
    try:
        assert parse(text).rows
    except DefinitionFault as fault:
        told = str(fault)
    assert told.startswith("definitions:")
    assert "\n" not in told


@given(
    st.recursive(
        st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text()),
        lambda inner: st.one_of(
            st.lists(inner, max_size=3),
            st.dictionaries(st.sampled_from(KEYS), inner, max_size=9),
        ),
    )
)
def test_any_header_gives_rows_or_none(rows: Any) -> None:
    """A session of others may hold anything there."""
    assert isinstance(of_header({"definitions": rows}).rows, tuple)


def test_a_header_keeps_the_definitions() -> None:
    """What a session keeps is what the file said."""
    found = of_header({"definitions": example().as_json()})
    assert found.rows == example().rows


def _asked(reads: MakerReads, now: float) -> list[str]:
    """Everything asked in one piece."""
    found = []
    while (request := reads.next(now)) is not None:
        found.append(request.text)
        reads._took(request.text, ok=True)
    return found


def test_reads_of_one_unit_go_between_its_header_and_everyones() -> None:
    """The header is put back in the same piece, and polls follow."""
    reads = MakerReads(example())
    reads.begin("6", 0.0)
    piece = _asked(reads, 0.0)
    assert piece == ["ATSH7E0", "222A10", "222A20", "ATSH7DF"]
    assert reads.next(0.1) is None
    for _ in piece:
        reads.polled()
    assert _asked(reads, 0.1) == ["21C1"]


def test_a_header_of_another_kind_of_bus_is_left_out() -> None:
    """On 29-bit CAN and on older lines only what needs no header is asked."""
    for protocol in ("7", "3"):
        reads = MakerReads(example())
        reads.begin(protocol, 0.0)
        assert _asked(reads, 0.0) == ["21C1"]


def test_without_its_header_a_read_is_not_sent() -> None:
    """An adapter that refuses the header gets no read, but the way back."""
    reads = MakerReads(example())
    reads.begin("6", 0.0)
    first = reads.next(0.0)
    assert first is not None
    reads._took(first.text, ok=False)
    assert _asked(reads, 0.0) == ["ATSH7DF"]


def test_what_is_refused_again_and_again_is_left_out() -> None:
    """After three refusals in a row it is named and asked no more."""
    reads = MakerReads(parse(GOOD.replace('header = "7E0"\n', "")))
    reads.begin("6", 0.0)
    for i in range(STRIKES):
        request = reads.next(float(i))
        assert request is not None
        reads._took(request.text, ok=False)
        reads.polled()
    assert reads.next(9.0) is None
    assert reads.refused == ["222A11"]


def test_a_test_that_wants_one_sensor_stops_them() -> None:
    """Rates by name hold for a maker's values too: what is not named is not asked."""
    reads = MakerReads(example())
    reads.begin("6", 0.0)
    assert reads.next(0.0, {"o2_b1s1_v": 50.0}) is None
    request = reads.next(0.0, {"oil_pressure_kpa": 1.0})
    assert request is not None
    assert request.text == "21C1"


def _drive(story: Story, seconds: float, found: Definitions) -> tuple[Header, Any]:
    car = story.car()
    records: list[Record] = []
    link = VirtualLink(plug_in(car, car.spec))
    header = capture(link, seconds, emit=records.append, definitions=found)
    assert header is not None
    return header, records


def test_a_late_cam_is_flagged_from_recorded_bytes_alone() -> None:
    """File, gate, car, session, columns and rule; the session decodes by itself."""
    header, records = _drive(STORIES["bank-breathes-less"], 75.0, example())
    analysis = Analysis(header)
    analysis.feed(records)
    analysis.finish()
    actual = analysis.columns["cam_actual_b1_deg"]
    assert len(actual) > 50
    assert np.median(actual.v) < -10
    assert len(analysis.columns["oil_pressure_kpa"]) > 10
    assert ("cam-off-target", "B1") in {
        (flag.id, flag.about) for flag in analysis.engine.flags
    }
    assert ("cam-off-target", "B2") not in {
        (flag.id, flag.about) for flag in analysis.engine.flags
    }
    hz = len(analysis.columns["o2_b1s1_v"]) / 75.0
    assert hz > 10, "the front sensor is still watched closely"


def test_without_a_file_nothing_of_it_is_asked() -> None:
    """No request of service 22 or 21 leaves, and no column of it appears."""
    header, records = _drive(STORIES["healthy"], 8.0, NONE)
    assert "definitions" not in header.vehicle
    asked = [r.q for r in records if isinstance(r, Exchange)]
    assert not [q for q in asked if q.startswith(("22", "21", "ATSH"))]


def test_a_unit_does_not_know_other_identifiers() -> None:
    """What the example does not list is refused, as by a real unit."""
    car = STORIES["healthy"].car()
    values = maker_values(car)
    assert data(0x22, 0x2A10, values) != b""
    assert data(0x22, 0x2A11, values) == b""
    assert data(0x21, 0x2A, values) == b""


def test_a_parked_cam_control_reads_zero() -> None:
    """With the engine off desired and actual are both zero."""
    values = maker_values(STORIES["bank-breathes-less"].car())
    assert values["cam_desired_b1_deg"] == values["cam_actual_b1_deg"] == 0.0
