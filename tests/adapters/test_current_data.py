"""Sizes, frames and support of answers with current data."""

from __future__ import annotations

import pytest

from bankwise.adapters.current_data import (
    BY_IDENTIFIER,
    PLAIN,
    bitmap,
    can_frames,
    expected_digit,
)


@pytest.mark.parametrize(
    ("length", "frames"), [(1, 1), (7, 1), (8, 2), (13, 2), (14, 3), (20, 3), (21, 4)]
)
def test_frames_of_a_payload(length: int, frames: int) -> None:
    """Seven bytes fit one frame; then six and seven more each (ISO 15765-2)."""
    assert can_frames(length) == frames


def test_request_text() -> None:
    """PIDs follow the service, the digit comes last."""
    assert PLAIN.request([0x0C, 0x14]) == "010C14"
    assert PLAIN.request([0x0C, 0x14], 1) == "010C141"


def test_digit_sums_over_units() -> None:
    """Each unit answers for what it supports; a silent one adds nothing."""
    engine = frozenset({0x0C, 0x0D, 0x14, 0x18, 0x06, 0x08})
    gearbox = frozenset({0x0D})
    six = (0x0C, 0x0D, 0x14, 0x18, 0x06, 0x08)
    # 1 + 3 + 2 + 3 + 3 + 2 + 2 = 16 bytes: three frames.
    assert PLAIN.payload_bytes(six) == 16
    assert expected_digit(six, {"7E8": engine}, can=True) == 3
    assert expected_digit(six, {"7E8": engine, "7E9": gearbox}, can=True) == 4
    assert expected_digit((0x0D,), {"10": engine, "18": gearbox}, can=False) == 2
    assert expected_digit((0x2F,), {"7E8": engine}, can=True) is None


def test_too_many_frames_give_no_digit() -> None:
    """More than fifteen frames cannot be said in one digit."""
    long = frozenset({0x78, 0x79, 0x68, 0x66, 0x64, 0x73})
    units = {f"7E{8 + i}": long for i in range(3)}
    assert expected_digit(sorted(long), units, can=True) is None


def test_identifiers_of_service_22() -> None:
    """The same data by SAE J1979-2: two-byte identifiers, three to a request."""
    pids = (0x0C, 0x0D, 0x14)
    assert BY_IDENTIFIER.request(pids, 3) == "22F40CF40DF4143"
    # 1 + (2+2) + (2+1) + (2+2) = 12 bytes: two frames.
    assert BY_IDENTIFIER.payload_bytes(pids) == 12
    units = {"7E8": frozenset(pids)}
    assert expected_digit(pids, units, can=True, way=BY_IDENTIFIER) == 2
    assert BY_IDENTIFIER.answered(0x20) == b"\x62\xf4\x20"
    assert PLAIN.answered(0x20) == b"\x41\x20"


def test_bitmap_example() -> None:
    """BE1FA813 names the PIDs that SAE J1979's own example does."""
    assert bitmap(0x00, bytes.fromhex("BE1FA813")) == {
        0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11,
        0x13, 0x15, 0x1C, 0x1F, 0x20,
    }  # fmt: skip
    assert bitmap(0x20, b"\x00\x00\x00\x01") == {0x40}
