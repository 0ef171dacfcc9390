"""Misfire counts of service 06 become columns."""

from __future__ import annotations

from pathlib import Path

import pytest

from bankwise.adapters.analysis import analyse
from bankwise.adapters.decode import Decoder
from bankwise.adapters.misfire_counts import is_misfire_request, misfire_counts
from bankwise.adapters.records import AdapterInfo, Exchange, Header
from bankwise.adapters.session_file import read_session

SHIPPED = Path(__file__).parents[2] / "replay_logs" / "healthy.jsonl.gz"
HEADER = Header("a", "b", "c", AdapterInfo("d", "6"))


def _result(monitor: int, test: int, scaling: int, value: int) -> bytes:
    head = bytes((monitor, test, scaling))
    return head + value.to_bytes(2, "big") + b"\x00\x00\xff\xff"


def test_counts_by_cylinder() -> None:
    """Tests 0B and 0C of A1 to AD give the average and the count, one bit one."""
    body = (
        _result(0xA2, 0x0B, 0x24, 7)
        + _result(0xA2, 0x0C, 0x24, 300)
        + _result(0xA1, 0x0C, 0x24, 65535)
        + _result(0xAD, 0x0C, 0x24, 1)
    )
    assert misfire_counts("06A1A2AD", [("7E8", b"\x46" + body)]) == {
        "misfire_average_c1": 7.0,
        "misfire_count_c1": 300.0,
        "misfire_count": 65535.0,
        "misfire_count_c12": 1.0,
    }


def test_counts_by_identifier() -> None:
    """By identifier the monitor stands once, ahead of eight bytes a result."""
    payload = b"\x62\xf6\xa3" + _result(0xA3, 0x0C, 0x24, 41)[1:]
    assert misfire_counts("22F6A3", [("7E8", payload)]) == {"misfire_count_c2": 41.0}


@pytest.mark.parametrize(
    ("request_", "unit", "payload"),
    [
        ("06A2", "10", b"\x46" + _result(0xA2, 0x0C, 0x24, 9)),
        ("06A2", "7E8", b"\x46" + _result(0xA3, 0x0C, 0x24, 9)),
        ("06A2", "7E8", b"\x46" + _result(0xA2, 0x0C, 0x01, 9)),
        ("06A2", "7E8", b"\x46" + _result(0xA2, 0x83, 0x24, 9)),
        ("06A2", "7E8", b"\x46" + _result(0xA2, 0x0C, 0x24, 9)[:-1]),
        ("06A2", "7E8", b"\x47" + _result(0xA2, 0x0C, 0x24, 9)),
        ("06A2", "7E8", b"\x46"),
        ("06A2", "7E8", b""),
        ("0621", "7E8", b"\x46" + _result(0x21, 0x0C, 0x24, 9)),
    ],
)
def test_nothing_else_is_a_count(request_: str, unit: str, payload: bytes) -> None:
    """No count: before CAN, not asked, other scaling or test, wrong length."""
    assert misfire_counts(request_, [(unit, payload)]) == {}


def test_the_lowest_unit_counts() -> None:
    """Of two units that both count, the one with the lowest identifier is taken."""
    answers = [
        ("7EA", b"\x46" + _result(0xA2, 0x0C, 0x24, 2)),
        ("7E8", b"\x46" + _result(0xA2, 0x0C, 0x24, 5)),
    ]
    assert misfire_counts("06A2", answers) == {"misfire_count_c1": 5.0}


def test_which_requests_ask() -> None:
    """Bitmaps and other monitors are no misfire requests."""
    assert [
        q
        for q in ("06A1", "06A0", "06AE", "0601AD", "22F6A2", "22F4A2", "06")
        if is_misfire_request(q)
    ] == ["06A1", "0601AD", "22F6A2"]


def test_each_read_is_a_sample() -> None:
    """A session that reads a count twice has two samples, in the middle of each."""
    answers = {
        10.0: ("7E8100A46A20C240003", "7E8210000FFFF000000"),
        20.0: ("7E8100A46A20C240011", "7E8210000FFFF000000"),
    }
    decoder = Decoder(HEADER)
    decoder.feed([Exchange(t, "06A2", lines, 0.1) for t, lines in answers.items()])
    column = decoder.columns["misfire_count_c1"]
    assert column.v.tolist() == [3.0, 17.0]
    assert column.t.tolist() == pytest.approx([10.05, 20.05])


def test_a_shipped_drive_has_them() -> None:
    """The healthy drive's test results give a count for each of six cylinders."""
    columns = analyse(read_session(SHIPPED)).columns
    names = {name for name in columns.measured if name.startswith("misfire_count_c")}
    assert names == {f"misfire_count_c{n}" for n in range(1, 7)}
    assert columns["misfire_count_c1"].v.tolist() == [0x3C]
