"""Who a simulated car is: an invented name, a VIN that passes its check digit, ids.

Every maker, model and serial number here is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""Weight of each VIN place; place 9 is the check digit. Source: 49 CFR 565 (C1)."""

_VALUES = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
"""Number a VIN letter stands for. Source: 49 CFR 565 (C1)."""

_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"
_MAKES = ("Averlind", "Korvane", "Ostermoor", "Tallowick", "Brennick", "Quillane")
_MODELS = ("Heron", "Drover", "Larkspur", "Pilot", "Marl", "Tern", "Fellside", "Otter")
_MAKER_CODES = ("1ZX", "2ZK", "4ZV", "5ZW")
"""Invented maker codes; no maker is known to use them."""


@dataclass(frozen=True, slots=True)
class Identity:
    """Name, VIN, calibration ids with their verification numbers, unit name."""

    name: str
    vin: str
    calibration_ids: tuple[str, ...]
    verification_numbers: tuple[int, ...]
    unit_name: str = "ECM-EngineControl"


def check_digit(vin: str) -> str:
    """The check digit that belongs at place 9 of a VIN: 0-9 or X.

    Source: 49 CFR 565 (C1).

    Raises:
        ValueError: when it is not 17 characters of the VIN alphabet.
    """
    if len(vin) != len(_WEIGHTS) or any(letter not in _VALUES for letter in vin):
        raise ValueError(f"not a VIN: {vin!r}")
    total = sum(
        _VALUES[letter] * weight for letter, weight in zip(vin, _WEIGHTS, strict=True)
    )
    rest = total % 11
    return "X" if rest == 10 else str(rest)


def with_check_digit(vin: str) -> str:
    """The same VIN with the right check digit at place 9."""
    return vin[:8] + check_digit(vin[:8] + "0" + vin[9:]) + vin[9:]


def random_identity(rng: Random) -> Identity:
    """An invented identity, the same for the same random numbers."""
    describing = "".join(rng.choice(_LETTERS) for _ in range(5))
    year = rng.choice("ABCDEFGHJKLMN")
    vin = with_check_digit(
        f"{rng.choice(_MAKER_CODES)}{describing}0{year}{rng.choice(_LETTERS)}"
        f"{rng.randrange(1_000_000):06d}"
    )
    calibration = f"{rng.choice(_LETTERS)}{rng.randrange(10**8):08d}"
    return Identity(
        name=f"{rng.choice(_MAKES)} {rng.choice(_MODELS)}",
        vin=vin,
        calibration_ids=(calibration,),
        verification_numbers=(rng.randrange(1 << 32),),
    )
