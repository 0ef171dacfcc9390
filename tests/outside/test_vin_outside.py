"""The VIN check digit against a published example and the vininfo package.

Sources: the worked example of 49 CFR 565.15 (1G4AH59H45G118341, sum 411, digit 4), the
often printed 1M8GDM9AXKP042788, and vininfo, an independent implementation.
"""

from __future__ import annotations

import random

import pytest
from vininfo import Vin

from bankwise.adapters.vin import (
    CHECK_PLACE,
    VinVerdict,
    check_digit,
    masked,
    verdict,
    weighted_sum,
)

SIGNS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"


def test_the_published_example() -> None:
    """Sum 411 and digit 4, as printed in the regulation."""
    vin = "1G4AH59H45G118341"
    assert weighted_sum(vin) == 411
    assert check_digit(vin) == "4"
    assert verdict(vin) is VinVerdict.HOLDS


def test_the_digit_ten_is_an_x() -> None:
    """A remainder of ten is written X."""
    assert check_digit("1M8GDM9AXKP042788") == "X"
    assert verdict("1m8gdm9axkp042788 ") is VinVerdict.HOLDS


def test_random_numbers_agree_with_vininfo() -> None:
    """On thousands of random VINs, right and wrong, both say the same."""
    noise = random.Random(565)
    right = 0
    for _ in range(3000):
        vin = "".join(noise.choice(SIGNS) for _ in range(17))
        if noise.random() < 0.5:
            vin = vin[:CHECK_PLACE] + check_digit(vin) + vin[CHECK_PLACE + 1 :]
        number = Vin(vin)
        if not getattr(number.assembler, "uses_sae_checkdigit", True):
            continue  # it does not compute the digit for makers that have none
        theirs = number.verify_checksum(check_year=False)
        assert (verdict(vin) is VinVerdict.HOLDS) == theirs, vin
        right += theirs
    assert 1200 < right < 2000


def test_every_single_wrong_digit_is_found() -> None:
    """One digit replaced by another one never keeps the check digit, but by X."""
    vin = "1G4AH59H45G118341"
    for i, sign in enumerate(vin):
        for other in "0123456789":
            if sign.isdigit() and other != sign and i != CHECK_PLACE:
                changed = vin[:i] + other + vin[i + 1 :]
                assert verdict(changed) is not VinVerdict.HOLDS


@pytest.mark.parametrize(
    ("vin", "expected"),
    [
        ("1G4AH59H55G118341", VinVerdict.FAILS),
        ("WG4AH59H55G118341", VinVerdict.NOT_REQUIRED),
        ("1G4AH59H45G11834", VinVerdict.NO_VIN),
        ("1G4AH59H45G11834I", VinVerdict.NO_VIN),
        ("1G4AH59H45G11834²", VinVerdict.NO_VIN),
        ("", VinVerdict.NO_VIN),
    ],
)
def test_verdicts(vin: str, expected: VinVerdict) -> None:
    """A wrong digit fails only where one is required; other texts are no VIN."""
    assert verdict(vin) is expected


def test_a_masked_vin_names_no_car() -> None:
    """Only the maker remains, and the length."""
    assert masked("1G4AH59H45G118341") == "1G4" + "•" * 14
    assert masked("1G") == "1G"
