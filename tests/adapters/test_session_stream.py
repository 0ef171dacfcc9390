"""A session read piece by piece is the session read whole."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from bankwise.adapters.analysis import Analysis, analyse
from bankwise.adapters.errors import SessionError
from bankwise.adapters.records import Exchange, MarkRecord, Record
from bankwise.adapters.session_additions import add_note, add_vehicle
from bankwise.adapters.session_file import open_session, parse_session, read_session
from bankwise.adapters.session_stream import SessionStream

SHIPPED = Path(__file__).parents[2] / "replay_logs" / "front-sensor-aged.jsonl.gz"
HEAD = b'{"k":"session","id":"a","started":"b","tool":"c","adapter":{"name":"d"}}\n'
ODD = (
    HEAD
    + b'{"k":"x","t":5,"q":"010C","a":["7E804410C0FA0"],"d":0.1}\n'
    + b"no record\n"
    + b'{"k":"later","t":6,"what":"ever"}\n\n'
    + b'{"k":"mark","t":5.9,"text":"a little back"}\n'
    + b'{"k":"x","t":0.2,"q":"010C","a":["7E804410C0FA0"],"d":0.1}\n'
    + b"\x00\x00\x00\n"
    + b'{"k":"end","t":0.4}\n{"k":"mark","t":0.5,"te'
)


@pytest.mark.parametrize("size", [1, 60, 200, 10_000])
def test_the_size_of_pieces_does_not_matter(size: int) -> None:
    """Records, dropped lines and warnings are the same for any size of pieces."""
    whole = parse_session(ODD, "odd")
    stream = SessionStream(ODD, "odd")
    records: list[Record] = [r for piece in stream.pieces(size) for r in piece]
    assert records == whole.records
    assert [record.t for record in records] == [5.0, 6.0, 6.0, 6.0, 6.2]
    assert stream.dropped_lines == whole.dropped_lines == 3
    assert stream.warnings == whole.warnings
    assert len(stream.warnings) == 5


def test_what_is_judged_does_not_depend_on_pieces() -> None:
    """Columns, flags and figures of a drive are the same whole and in pieces."""
    whole = analyse(read_session(SHIPPED))
    stream = open_session(SHIPPED)
    parts = Analysis(stream.header)
    count = 0
    for piece in stream.pieces(50_000):
        parts.take_in(piece)
        count += 1
    parts.finish()
    assert count > 10
    assert parts.columns.signals.keys() == whole.columns.signals.keys()
    for name, column in whole.columns.signals.items():
        np.testing.assert_array_equal(parts.columns[name].t, column.t)
        np.testing.assert_array_equal(parts.columns[name].v, column.v)
        np.testing.assert_array_equal(parts.columns[name].d, column.d)
    assert parts.engine.flags == whole.engine.flags
    assert parts.engine.figures() == whole.engine.figures()
    assert parts.engine.explanations() == whole.engine.explanations()
    assert parts.holes() == whole.holes()


def test_additions_are_known_before_the_records(tmp_path: Path) -> None:
    """Details added after the end are in the header although no record is read yet."""
    path = tmp_path / "drive.jsonl"
    path.write_bytes(HEAD + b'{"k":"end","t":3}\n')
    add_vehicle(path, {"displacement_l": "2.5"})
    add_note(path, 'the "end" of it, {"k":"end","t":9}')
    add_vehicle(path, {"name": "blue"})
    assert open_session(path).header.vehicle == {"displacement_l": 2.5, "name": "blue"}


def test_a_session_that_goes_on_has_no_additions() -> None:
    """Marks of a drive that was not closed change nothing in the header."""
    mark = b'{"k":"mark","t":1,"text":"9","tag":"vehicle:vin"}\n'
    talk = b'{"k":"mark","t":1,"text":"the end","tag":"end"}\n'
    assert SessionStream(HEAD + talk + mark, "open").header.vehicle == {}


def test_damage_of_the_packing_is_told_first(tmp_path: Path) -> None:
    """A packed file cut short gives what can be unpacked, and says so first."""
    path = tmp_path / "cut.jsonl.gz"
    path.write_bytes(gzip.compress(ODD)[:-20])
    stream = open_session(path)
    assert sum(map(len, stream.pieces())) > 0
    assert stream.warnings[0] == "the packed file is cut short"


@pytest.mark.parametrize("before", [bytes(512), b"\xef\xbb\xbf", b"\xef\xbb\xbf\r\n"])
def test_what_stands_before_the_header_is_passed_over(before: bytes) -> None:
    """Zeros of a power cut and an editor's mark at the start hide no session."""
    session = parse_session(before + ODD, "odd")
    assert session.header.id == "a"
    assert len(session.records) == 5


@pytest.mark.parametrize("first", [b"", HEAD[40:], b'{"k":"odd"}\n', b"\xff\xfe\n"])
def test_a_lost_header_loses_no_exchange(first: bytes) -> None:
    """A file whose first line is damaged gives its records and says what is missing."""
    session = parse_session(first + ODD.removeprefix(HEAD), "headless")
    assert [r.q for r in session.records if isinstance(r, Exchange)] == ["010C", "010C"]
    assert session.header.adapter.protocol == ""
    assert session.warnings[0] == (
        "the header is missing or damaged: car and adapter are not known"
    )


@pytest.mark.parametrize(
    "data",
    [b"\x00" * 600, b"", b" \n", b"k,t\n1,2\n", b'{"k":"mark","t":1,"text":"a"}\n'],
)
def test_what_holds_no_exchange_is_no_session(data: bytes) -> None:
    """Without a header and without an exchange, nothing is taken for a session."""
    with pytest.raises(SessionError, match=r"^odd is (empty|not a session file)"):
        parse_session(data, "odd")


@pytest.mark.parametrize("number", ["1e400", "2", '"2.1"', "null", "[]", "-1"])
def test_another_format_is_said(number: str) -> None:
    """A number that is not this format's ends in one plain sentence."""
    head = HEAD.replace(b'"id"', b'"format":' + number.encode() + b',"id"')
    with pytest.raises(SessionError, match="of session format"):
        parse_session(head, "odd")


def test_words_can_always_be_printed() -> None:
    """Half a surrogate pair in the header does not reach a terminal."""
    head = HEAD[:-2] + b',"vehicle":{"note":"a\\ud800b","list":["\\udfff"]}}\n'
    vehicle = parse_session(head, "odd").header.vehicle
    assert vehicle == {"note": "a?b", "list": ["?"]}


def test_a_remark_in_another_encoding_counts() -> None:
    """A mark that is not UTF-8 keeps its time and all letters that can be read."""
    line = b'{"k":"mark","t":7,"text":"gr\xfcn"}\n'
    assert parse_session(HEAD + line, "odd").records == [MarkRecord(7.0, "gr\ufffdn")]


def test_a_packed_file_without_content_says_why(tmp_path: Path) -> None:
    """A packed file cut within its first bytes is not called empty."""
    path = tmp_path / "cut.jsonl.gz"
    path.write_bytes(gzip.compress(ODD)[:15])
    with pytest.raises(SessionError, match="the packed file is cut short"):
        open_session(path)


def test_one_line_is_told_as_one() -> None:
    """One dropped line is spoken of in the singular."""
    stream = SessionStream(HEAD + b"{}\n", "odd")
    assert list(stream.pieces()) == [[]]
    assert stream.warnings[-1] == "1 line is no record and was skipped"
