"""Sizes, frames and splitting of answers with current data."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bankwise.adapters.current_data import (
    bitmap,
    can_frames,
    expected_digit,
    payload_bytes,
    request,
    split,
)
from bankwise.adapters.pids import PIDS

POLLED = sorted(pid for pid in PIDS if pid % 0x20)


@pytest.mark.parametrize(
    ("length", "frames"), [(1, 1), (7, 1), (8, 2), (13, 2), (14, 3), (20, 3), (21, 4)]
)
def test_frames_of_a_payload(length: int, frames: int) -> None:
    """Seven bytes fit one frame; then six and seven more each (ISO 15765-2)."""
    assert can_frames(length) == frames


def test_request_text() -> None:
    """PIDs follow the service, the digit comes last."""
    assert request([0x0C, 0x14]) == "010C14"
    assert request([0x0C, 0x14], 1) == "010C141"


def test_digit_sums_over_units() -> None:
    """Each unit answers for what it supports; a silent one adds nothing."""
    engine = frozenset({0x0C, 0x0D, 0x14, 0x18, 0x06, 0x08})
    gearbox = frozenset({0x0D})
    six = (0x0C, 0x0D, 0x14, 0x18, 0x06, 0x08)
    # 1 + 3 + 2 + 3 + 3 + 2 + 2 = 16 bytes: three frames.
    assert payload_bytes(six) == 16
    assert expected_digit(six, {"7E8": engine}, can=True) == 3
    assert expected_digit(six, {"7E8": engine, "7E9": gearbox}, can=True) == 4
    assert expected_digit((0x0D,), {"10": engine, "18": gearbox}, can=False) == 2
    assert expected_digit((0x2F,), {"7E8": engine}, can=True) is None


def test_too_many_frames_give_no_digit() -> None:
    """More than fifteen frames cannot be said in one digit."""
    long = frozenset({0x78, 0x79, 0x68, 0x66, 0x64, 0x73})
    units = {f"7E{8 + i}": long for i in range(3)}
    assert expected_digit(sorted(long), units, can=True) is None


def test_split_example() -> None:
    """The answer of ADAPTER.md 2 comes apart into six values."""
    payload = bytes.fromhex("410C1AF806780783087F0981043E")
    found = split(payload, [0x0C, 0x06, 0x07, 0x08, 0x09, 0x04])
    assert found == {
        0x0C: b"\x1a\xf8", 0x06: b"\x78", 0x07: b"\x83",
        0x08: b"\x7f", 0x09: b"\x81", 0x04: b"\x3e",
    }  # fmt: skip


@pytest.mark.parametrize(
    "payload",
    ["", "41", "7F0112", "420C1AF8", "410C1A", "410D00", "410C1AF80C1AF8",
     "410C1AF80678AA", "0C1AF8"],
)  # fmt: skip
def test_what_does_not_match_is_no_answer(payload: str) -> None:
    """Refusals, other services, foreign PIDs, doubles and cut values give None."""
    assert split(bytes.fromhex(payload), [0x0C, 0x06]) is None


@settings(max_examples=800, deadline=None)
@given(st.data())
def test_split_gives_back_what_was_packed(data: st.DataObject) -> None:
    """Any PIDs in any order with any bytes come back; any cut of it never lies."""
    pids = data.draw(
        st.lists(st.sampled_from(POLLED), min_size=1, max_size=6, unique=True)
    )
    values = {
        pid: data.draw(st.binary(min_size=PIDS[pid].length, max_size=PIDS[pid].length))
        for pid in pids
    }
    payload = b"\x41" + b"".join(bytes([pid]) + values[pid] for pid in pids)
    assert split(payload, pids) == values
    cut = split(payload[: data.draw(st.integers(0, len(payload)))], pids)
    if cut is not None:
        assert all(values[pid] == found for pid, found in cut.items())


def test_bitmap_example() -> None:
    """BE1FA813 names the PIDs that SAE J1979's own example does."""
    assert bitmap(0x00, bytes.fromhex("BE1FA813")) == {
        0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11,
        0x13, 0x15, 0x1C, 0x1F, 0x20,
    }  # fmt: skip
    assert bitmap(0x20, b"\x00\x00\x00\x01") == {0x40}
