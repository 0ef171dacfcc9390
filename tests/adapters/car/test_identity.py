"""Invented identities pass the published check."""

from __future__ import annotations

from random import Random

import pytest

from bankwise.adapters.car.identity import check_digit, random_identity


def test_published_examples_give_their_check_digits() -> None:
    """The regulation's own sample and the X case. Source: C1."""
    assert check_digit("1G4AH59H45G118341") == "4"
    assert check_digit("1M8GDM9AXKP042788") == "X"


@pytest.mark.parametrize("text", ["", "1G4AH59H45G11834", "1G4AH59H45G11834I"])
def test_what_is_no_vin_is_refused(text: str) -> None:
    """Too short, or a letter that VINs do not use."""
    with pytest.raises(ValueError, match="not a VIN"):
        check_digit(text)


def test_invented_vins_pass_and_repeat() -> None:
    """A hundred identities pass the check, and a seed repeats its own."""
    for seed in range(100):
        vin = random_identity(Random(seed)).vin
        assert vin[8] == check_digit(vin)
    assert random_identity(Random(5)) == random_identity(Random(5))
