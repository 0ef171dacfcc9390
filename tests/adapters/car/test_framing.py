"""Framing: segmentation, headers and check bytes of the nine protocols."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.adapters.car.framing import (
    ENGINE,
    PROTOCOLS,
    TRANSMISSION,
    answer_frames,
    byte_sum,
    crc8,
    frames_needed,
    functional,
    hears,
    segment,
)


def test_the_published_vin_example_is_segmented_as_printed() -> None:
    """The VIN example of ISO 15765-2 comes out byte for byte."""
    payload = b"\x49\x02\x01" + b"1G4AH59H45G118341"
    assert [frame.hex() for frame in segment(payload)] == [
        "1014490201314734",
        "2141483539483435",
        "2247313138333431",
    ]


@given(st.binary(min_size=1, max_size=4095))
def test_segments_join_to_the_message(payload: bytes) -> None:
    """Length and data survive segmentation, and the frame count is as computed."""
    fields = segment(payload)
    assert len(fields) == frames_needed(len(payload))
    assert all(len(field) == 8 for field in fields)
    if len(fields) == 1:
        assert fields[0][1 : 1 + fields[0][0]] == payload
    else:
        length = int.from_bytes(fields[0][:2], "big") & 0xFFF
        joined = fields[0][2:] + b"".join(field[1:] for field in fields[1:])
        assert joined[:length] == payload
        numbers = [field[0] & 0x0F for field in fields[1:]]
        assert numbers == [i % 16 for i in range(1, len(fields))]


def test_short_frames_may_stay_short() -> None:
    """Without padding a frame ends with its data."""
    assert segment(b"\x41\x0c\x1a\xf8", pad=None) == (b"\x04\x41\x0c\x1a\xf8",)


def test_messages_that_do_not_fit_are_refused() -> None:
    """Empty and oversized messages raise ValueError."""
    for payload in (b"", bytes(4096)):
        with pytest.raises(ValueError, match="4095"):
            segment(payload)
    with pytest.raises(ValueError, match="7 data bytes"):
        answer_frames(PROTOCOLS["3"], ENGINE, bytes(8))


def test_check_bytes_match_public_check_values() -> None:
    """CRC-8 of SAE J1850 gives 4B for "123456789"; the byte sum is modulo 256."""
    assert crc8(b"123456789") == 0x4B
    assert byte_sum(b"\x48\x6b\x10\x41\x0c\x1a\xf8") == 0x22


@pytest.mark.parametrize(
    ("number", "expected"),
    [
        ("1", "416b10410c1af8"),
        ("2", "486b10410c1af8"),
        ("3", "486b10410c1af8"),
        ("4", "84f110410c1af8"),
        ("5", "84f110410c1af8"),
        ("6", "000007e804410c1af8000000"),
        ("7", "18daf11004410c1af8000000"),
        ("8", "000007e804410c1af8000000"),
        ("9", "18daf11004410c1af8000000"),
    ],
)
def test_answers_carry_the_header_of_their_protocol(number: str, expected: str) -> None:
    """An engine speed answer is laid out as each protocol asks for."""
    (frame,) = answer_frames(PROTOCOLS[number], ENGINE, b"\x41\x0c\x1a\xf8")
    assert (frame.header + frame.data).hex() == expected
    assert len(frame.check) == (0 if PROTOCOLS[number].can else 1)


@pytest.mark.parametrize("number", list(PROTOCOLS))
def test_requests_to_all_reach_every_unit(number: str) -> None:
    """The protocol's own request header is heard by engine and transmission."""
    protocol = PROTOCOLS[number]
    assert functional(protocol, protocol.header)
    assert hears(protocol, protocol.header, ENGINE)
    assert hears(protocol, protocol.header, TRANSMISSION)


def test_requests_to_one_unit_reach_only_it() -> None:
    """7E1 and 18DA18F1 are for the transmission alone."""
    for number, header in (("6", "000007e1"), ("7", "18da18f1")):
        protocol = PROTOCOLS[number]
        assert hears(protocol, bytes.fromhex(header), TRANSMISSION)
        assert not hears(protocol, bytes.fromhex(header), ENGINE)
