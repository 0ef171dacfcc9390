"""Answer lines become messages only when nothing about them is in doubt."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bankwise.adapters.frames import (
    Answer,
    BusFault,
    Data,
    Malformed,
    Negative,
    Silent,
    answers,
    j1850_crc,
)
from bankwise.adapters.records import Exchange
from bankwise.adapters.troubles import TROUBLES, is_hex, split_line


def told(*lines: str, protocol: str = "6", e: str | None = None) -> list[Answer]:
    """What the parser makes of some lines."""
    return answers(Exchange(0.0, "0100", lines, 0.02, e), protocol)


def data(unit: str, text: str) -> Data:
    """A message from its hexadecimal text."""
    return Data(unit, bytes.fromhex(text))


SIX = ("7E8100E410C1AF80678", "7E8210783087F098104", "7E8223EAAAAAAAAAAAA")


@pytest.mark.parametrize("protocol", ["6", "8", "A6", ""])
@pytest.mark.parametrize(
    "lines",
    [
        SIX,
        tuple(line.lower() for line in SIX),
        tuple(f"{line[:3]} {line[3:5]} {line[5:7]} {line[7:]}" for line in SIX),
        (SIX[0], SIX[2], SIX[1]),
        ("SEARCHING...", *SIX),
        ("SEARCHING..." + SIX[0], *SIX[1:]),
    ],
)
def test_a_message_over_three_frames(lines: tuple[str, ...], protocol: str) -> None:
    """First and consecutive frames join, in either case, spaced or swapped."""
    whole = data("7E8", "410C1AF80678078308 7F0981043E")
    assert told(*lines, protocol=protocol) == [whole]


@pytest.mark.parametrize("lost", [1, 2])
def test_a_message_with_a_frame_missing_is_no_message(lost: int) -> None:
    """Without one of its consecutive frames a message gives nothing."""
    lines = [line for i, line in enumerate(SIX) if i != lost]
    assert [type(a) for a in told(*lines)] == [Malformed]


def test_a_first_frame_alone_and_a_late_frame_alone_are_no_messages() -> None:
    """Neither beginning nor end alone counts."""
    assert [type(a) for a in told(SIX[0])] == [Malformed]
    assert [type(a) for a in told(SIX[1], SIX[2])] == [Malformed]


def test_units_that_talk_at_once_are_kept_apart() -> None:
    """Interleaved frames of two units give two messages."""
    other = [line.replace("7E8", "7E9", 1).replace("1AF8", "0AF8") for line in SIX]
    lines = [line for pair in zip(SIX, other, strict=True) for line in pair]
    assert told(*lines) == [
        data("7E8", "410C1AF806780783087F0981043E"),
        data("7E9", "410C0AF806780783087F0981043E"),
    ]


def test_two_messages_of_one_unit_are_two_answers() -> None:
    """A unit may answer twice; neither answer hides the other."""
    lines = ("7E804410C1AF8", "7E803410D33")
    assert told(*lines) == [data("7E8", "410C1AF8"), data("7E8", "410D33")]


def test_29_bit_identifiers() -> None:
    """A 29-bit answer counts when it is addressed to a tester."""
    assert told("18DAF11004410C1AF8", protocol="7") == [data("18DAF110", "410C1AF8")]
    assert told("18DA10F104410C1AF8", protocol="7") == [
        Malformed("not from an emission-related control unit")
    ]


@pytest.mark.parametrize("unit", ["748", "7E0", "7DF", "6E8"])
def test_other_identifiers_are_no_answers(unit: str) -> None:
    """Traffic of other units is never read as an engine's answer."""
    assert [type(a) for a in told(f"{unit}04410C1AF8")] == [Malformed]


def test_a_length_beyond_the_frame_is_no_message() -> None:
    """A frame that promises more bytes than it has gives nothing."""
    assert told("7E806410C1AF8") == [Malformed("a message shorter than it says")]
    assert [type(a) for a in told("7E80143")] == [Malformed]
    assert [type(a) for a in told("7E800")] == [Malformed]
    assert [type(a) for a in told("7E8")] == [Malformed]


def test_bytes_after_the_length_are_padding() -> None:
    """What follows the message inside its frame is not part of it."""
    assert told("7E803410D33AAAAAAAA") == [data("7E8", "410D33")]


def test_a_code_answer_keeps_its_count_and_codes() -> None:
    """A code answer is whole only with all the codes it counts."""
    assert told("7E80643020171030000") == [data("7E8", "430201710300")]
    assert told("7E81008430301710300", "7E82101000000000000") == [
        data("7E8", "4303017103000100")
    ]
    assert [type(a) for a in told("7E81008430301710300")] == [Malformed]


def test_refusals_are_told() -> None:
    """7F names the service refused and why; it is never a value."""
    assert told("7E8037F0131") == [Negative("7E8", 0x01, 0x31)]
    assert told("7E8027F01") == [Malformed("a refusal too short")]


def test_an_answer_after_answer_follows_counts() -> None:
    """Reason 78 gives way to the answer that it promised, if one came."""
    assert told("7E8037F0178", "7E804410C1AF8") == [data("7E8", "410C1AF8")]
    assert told("7E8037F0178") == [Negative("7E8", 0x01, 0x78)]


@pytest.mark.parametrize(
    ("line", "protocol"),
    [
        ("486B10410C1AF817", "1"),
        ("486B10410C1AF817", "2"),
        ("486B10410C1AF822", "3"),
        ("84F110410C1AF8E4", "4"),
        ("84F110410C1AF8E4", "5"),
        ("486B10410C1AF822", ""),
        ("486B10410C1AF817", ""),
    ],
)
def test_older_protocols_need_their_check_byte(line: str, protocol: str) -> None:
    """A frame counts with the right check byte and with no other."""
    check = j1850_crc(bytes.fromhex(line[:-2])) if line.endswith("17") else None
    if check is not None:
        line = f"{line[:-2]}{check:02X}"
    assert told(line, protocol=protocol) == [data("10", "410C1AF8")]
    for wrong in (0x01, 0x80, 0xFF):
        bad = f"{line[:-2]}{int(line[-2:], 16) ^ wrong:02X}"
        assert told(bad, protocol=protocol) == [Malformed("check byte wrong")]


def test_the_j1850_check_byte() -> None:
    """The public check value of this CRC. Source: CRC catalogues, "123456789"."""
    assert j1850_crc(b"123456789") == 0x4B


def test_older_frames_stay_apart() -> None:
    """Each frame of an older protocol is a message of its own."""
    frames = ["486B1043017103000000", "486B1043042000000000"]
    lines = [f"{f}{sum(bytes.fromhex(f)) & 0xFF:02X}" for f in frames]
    assert told(*lines, protocol="3") == [
        data("10", "43017103000000"),
        data("10", "43042000000000"),
    ]


@pytest.mark.parametrize(
    ("lines", "e", "answer"),
    [
        ((), "NO DATA", Silent()),
        ((), "NODATA", Silent()),
        (("NODATA",), None, Silent()),
        ((), None, Silent()),
        ((), "CAN ERROR", BusFault("CAN ERROR")),
        (("7E804410C1AF8",), "BUFFER FULL", BusFault("BUFFER FULL")),
        (("7E804410C1AF8", "STOPPED"), None, BusFault("STOPPED")),
        (("7E804410C1AF8<DATAERROR",), None, BusFault("DATA ERROR")),
        (("?",), None, BusFault("?")),
        ((), "a word nobody knows", BusFault("a word nobody knows")),
        (("OK",), None, Malformed("a line that is no answer")),
    ],
)
def test_words_of_the_adapter(
    lines: tuple[str, ...], e: str | None, answer: Answer
) -> None:
    """Silence, faults and junk are told apart, and an answer beside a fault is void."""
    assert told(*lines, e=e) == [answer]


texts = st.one_of(
    st.text("0123456789ABCDEF", max_size=24),
    st.from_regex(r"\A7E[89][0-2][0-9A-F]{0,16}\Z"),
    st.from_regex(r"\A18DAF1[0-9A-F]{2}[0-2][0-9A-F]{0,16}\Z"),
    st.text(max_size=12),
    st.sampled_from([*SIX, "NO DATA", "SEARCHING...", "BUS INIT: OK", "OK", "\0"]),
)


@settings(max_examples=400, deadline=None)
@given(
    lines=st.lists(texts, max_size=5),
    protocol=st.sampled_from(["1", "2", "3", "4", "5", "6", "7", "8", "9", "A", ""]),
)
def test_no_line_ever_raises(lines: list[str], protocol: str) -> None:
    """Whatever an adapter says, there is at least one answer and no exception."""
    assert told(*lines, protocol=protocol)


def test_no_word_of_an_adapter_is_hexadecimal() -> None:
    """A line of hexadecimal digits alone can only be an answer."""
    assert [row.key for row in TROUBLES if is_hex(row.key)] == []
    assert split_line("7E8ERR94")[0] is None


def test_nothing_is_written_to_the_screen() -> None:
    """What python-OBD logs never reaches the terminal."""
    script = (
        "import logging, bankwise.adapters.frames as f\n"
        "logging.getLogger('obd').error('across the screen')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stderr == ""
