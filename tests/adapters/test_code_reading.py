"""Trouble codes, their words and their places."""

from __future__ import annotations

import itertools

import pytest

from bankwise.adapters.code_reading import (
    code_name,
    codes_in,
    grouped,
    status_codes_in,
)
from bankwise.adapters.code_table import MAKER_SPECIFIC, NO_TEXT, description
from bankwise.signals import trouble_codes
from bankwise.signals.evidence import CodeReading, UnitCodes


@pytest.mark.parametrize(
    ("raw", "code"),
    [("0171", "P0171"), ("4123", "C0123"), ("9234", "B1234"), ("D16B", "U116B")],
)
def test_two_bytes_make_the_code_of_the_worked_examples(raw: str, code: str) -> None:
    """Letter, digit and hexadecimal digits come out as worked by hand."""
    assert code_name(*bytes.fromhex(raw)) == code


def test_can_answer_counts_its_codes_and_ignores_padding() -> None:
    """The count byte, not the padding, says how many codes there are."""
    assert codes_in(bytes.fromhex("43020171030000"), counted=True) == (
        "P0171",
        "P0300",
    )
    assert codes_in(bytes.fromhex("4300"), counted=True) == ()


def test_can_answer_shorter_than_its_count_is_not_read() -> None:
    """A lost frame gives no codes at all, not fewer."""
    assert codes_in(bytes.fromhex("43030171"), counted=True) is None
    assert codes_in(bytes.fromhex("43"), counted=True) is None


def test_older_answer_has_three_zero_filled_pairs() -> None:
    """Without a count byte zero pairs are filling, not codes."""
    assert codes_in(bytes.fromhex("47017100000000"), counted=False) == ("P0171",)
    assert codes_in(bytes.fromhex("470171000000"), counted=False) is None


def test_no_answer_is_not_no_codes() -> None:
    """A reading without units is unknown; with an empty unit it is known empty."""
    assert not CodeReading("stored", 1.0).known
    assert CodeReading("stored", 1.0, (UnitCodes("7E8", ()),)).known
    refused = CodeReading("stored", 1.0, (UnitCodes("7E8", ()),), ("7E9 refused",))
    assert not refused.known


def test_three_byte_codes_carry_their_status() -> None:
    """`59 42` records give code, failure type, pending and confirmed bits."""
    answer = bytes.fromhex("594233FF1E04" + "2001711A0C" + "2001740004")
    codes = status_codes_in(answer)
    assert codes is not None
    assert [(c.code, c.pending, c.confirmed) for c in codes] == [
        ("P0171-1A", True, True),
        ("P0174", True, False),
    ]
    assert status_codes_in(answer[:-1]) is None
    assert status_codes_in(bytes.fromhex("59")) is None


def test_words_name_the_bank_and_lettered_codes_are_found() -> None:
    """P0171 and P0174 differ in words, and P0A10 has text."""
    assert description("P0171").endswith("(B1)")
    assert description("P0174").endswith("(B2)")
    assert description("p0a10") not in {MAKER_SPECIFIC, NO_TEXT}


def test_no_text_names_the_table_it_came_from() -> None:
    """Slow-response codes read as the standard has them."""
    assert description("P0133") == "O2 Sensor Circuit Slow Response (B1S1)"
    assert description("P0159") == "O2 Sensor Circuit Slow Response (B2S2)"


def test_maker_codes_are_left_to_service_information() -> None:
    """No words are invented for codes the standard does not define."""
    assert description("P1133") == MAKER_SPECIFIC
    assert description("P3111") == MAKER_SPECIFIC
    assert description("U116B") == MAKER_SPECIFIC


@pytest.mark.parametrize(
    ("code", "place", "system"),
    [
        ("P0131", "B1S1", trouble_codes.SENSOR),
        ("P0155", "B2S1", trouble_codes.HEATER),
        ("P0161-1A", "B2S2", trouble_codes.HEATER),
        ("P0174", "B2", trouble_codes.FUEL),
        ("P0018", "B2", trouble_codes.CAM),
        ("P0430", "B2", trouble_codes.CATALYST),
        ("P2195", "B1S1", trouble_codes.SENSOR),
        ("P0455", "engine", trouble_codes.OTHER),
    ],
)
def test_a_code_names_its_place(code: str, place: str, system: str) -> None:
    """Bank, sensor and system come from the number."""
    assert (trouble_codes.about(code), trouble_codes.system(code)) == (place, system)


def test_ranges_are_in_order_and_do_not_overlap() -> None:
    """Every code lies in one row at most."""
    rows = sorted(trouble_codes.RANGES, key=lambda row: row.first)
    assert all(a.last < b.first for a, b in itertools.pairwise(rows))


def test_codes_are_grouped_by_bank_with_the_engine_last() -> None:
    """Banks come first, in order."""
    groups = list(grouped(["P0455", "P0174", "P0171", "P0131"]))
    assert [place for place, _ in groups] == ["B1", "B1S1", "B2", "engine"]
