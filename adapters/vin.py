"""Vehicle identification numbers: the check digit, and hiding one from view.

The check digit is required in North America only, so a wrong one elsewhere says
nothing: it is a warning, never an error. Source: 49 CFR 565.15 (c).
"""

from __future__ import annotations

from enum import Enum
from typing import Final

LENGTH: Final = 17
"""Characters of a VIN. Source: 49 CFR 565.13."""

CHECK_PLACE: Final = 8
"""Index of the check digit. Source: 49 CFR 565.15 (c)."""

_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""Weight of each place. Source: 49 CFR 565.15, table IV."""

_LETTERS: Final = dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", "12345678123457923456789", strict=True)
)
"""Value of each letter; I, O and Q do not occur. Source: 49 CFR 565.15, table III."""

_NORTH_AMERICA: Final = frozenset("12345")
"""First characters given to North America. Source: from memory of SAE J853."""

_SHOWN: Final = 3
"""Characters left visible: who made it. Source: our choice; they name no car."""


class VinVerdict(Enum):
    """What the check digit says, in words."""

    HOLDS = "check digit holds"
    FAILS = "check digit wrong: mistyped, or damaged on the way"
    NOT_REQUIRED = "check digit does not hold, and need not outside North America"
    NO_VIN = "not a VIN: it needs 17 letters and digits, without I, O and Q"


def weighted_sum(vin: str) -> int:
    """The sum that gives the check digit.

    Raises:
        ValueError: when a character cannot stand in a VIN.
    """
    total = 0
    for sign, weight in zip(vin.upper(), _WEIGHTS, strict=True):
        value = sign if "0" <= sign <= "9" else _LETTERS.get(sign)
        if value is None:
            raise ValueError(f"{sign!r} cannot stand in a VIN")
        total += int(value) * weight
    return total


def check_digit(vin: str) -> str:
    """The check digit that belongs at place nine of a VIN.

    Raises:
        ValueError: when the text is no VIN.
    """
    rest = weighted_sum(vin) % 11
    return "X" if rest == 10 else str(rest)


def verdict(vin: str) -> VinVerdict:
    """What the check digit of a VIN says; never raises."""
    vin = vin.strip().upper()
    if len(vin) != LENGTH:
        return VinVerdict.NO_VIN
    try:
        digit = check_digit(vin)
    except ValueError:
        return VinVerdict.NO_VIN
    if vin[CHECK_PLACE] == digit:
        return VinVerdict.HOLDS
    if vin[0] in _NORTH_AMERICA:
        return VinVerdict.FAILS
    return VinVerdict.NOT_REQUIRED


def masked(vin: str) -> str:
    """A VIN that names no single car any more: its first three characters remain."""
    return vin[:_SHOWN] + "•" * max(len(vin) - _SHOWN, 0)
