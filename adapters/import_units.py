"""Units that a column of another logger may be in, turned into the catalogue's.

Every factor is exact by definition unless its comment says otherwise.
"""

from __future__ import annotations

from typing import Final

STOICHIOMETRIC_AFR: Final = 14.7
"""Air to petrol by mass at lambda 1. Source: common practice, no source (DOMAIN 6)."""

Linear = tuple[float, float]
"""Factor and offset: catalogue value = value * factor + offset."""

_SAME: Linear = (1.0, 0.0)

CONVERSIONS: Final[dict[str, dict[str, Linear]]] = {
    "rpm": {"rpm": _SAME, "1/min": _SAME, "hz": (60.0, 0.0)},
    "km/h": {"km/h": _SAME, "kph": _SAME, "mph": (1.609344, 0.0), "m/s": (3.6, 0.0)},
    "°c": {
        "°c": _SAME,
        "c": _SAME,
        "°f": (5 / 9, -160 / 9),
        "f": (5 / 9, -160 / 9),
        "k": (1.0, -273.15),
    },
    "kpa": {
        "kpa": _SAME,
        "pa": (0.001, 0.0),
        "hpa": (0.1, 0.0),
        "mbar": (0.1, 0.0),
        "bar": (100.0, 0.0),
        "mpa": (1000.0, 0.0),
        "psi": (6.894757, 0.0),  # rounded
        "inhg": (3.386389, 0.0),  # rounded; conventional inch of mercury
    },
    "g/s": {
        "g/s": _SAME,
        "kg/h": (1 / 3.6, 0.0),
        "lb/min": (453.59237 / 60, 0.0),
    },
    "v": {"v": _SAME, "mv": (0.001, 0.0)},
    "ma": {"ma": _SAME, "a": (1000.0, 0.0)},
    "%": {"%": _SAME, "ratio": (100.0, 0.0), "factor": (100.0, -100.0)},
    "λ": {
        "λ": _SAME,
        "lambda": _SAME,
        "afr": (1 / STOICHIOMETRIC_AFR, 0.0),
    },
    "s": {"s": _SAME, "ms": (0.001, 0.0), "min": (60.0, 0.0)},
    "min": {"min": _SAME, "s": (1 / 60, 0.0), "h": (60.0, 0.0)},
    "km": {"km": _SAME, "mi": (1.609344, 0.0), "miles": (1.609344, 0.0)},
    "l/h": {"l/h": _SAME, "gal/h": (3.785411784, 0.0)},
    "°": {"°": _SAME, "deg": _SAME},
    "": {"": _SAME},
}
"""By the catalogue's unit: the units understood, in small letters.

`factor` is a trim told as a factor around 1.00; `ratio` a share told from 0 to 1.
"""


_SPELLINGS: Final = {
    "g/sec": "g/s", "gm/s": "g/s", "l/hr": "l/h", "gal/hr": "gal/h", "lb/m": "lb/min",
    "degc": "°c", "celsius": "°c", "ºc": "°c", "degf": "°f", "fahrenheit": "°f",
    "ºf": "°f", "kelvin": "k", "kmh": "km/h", "km/hr": "km/h", "kmph": "km/h",
    "mi/h": "mph", "volt": "v", "volts": "v", "millivolts": "mv", "percent": "%",
    "pct": "%", "r/min": "rpm", "min-1": "rpm", "u/min": "rpm", "degree": "deg",
    "degrees": "deg", "º": "°", "sec": "s", "seconds": "s", "in.hg": "inhg",
    "psia": "psi",
}  # fmt: skip
"""Other ways to write the units understood, small and without blanks."""


def plain_unit(unit: str) -> str:
    """A unit the way `CONVERSIONS` writes it, whatever its spelling."""
    small = "".join(unit.lower().split()).strip("[]()")
    return _SPELLINGS.get(small, small)


def conversion(unit: str, wanted: str) -> Linear | None:
    """How to turn a value in `unit` into the `wanted` one; None when it cannot be."""
    return CONVERSIONS.get(wanted.lower(), {}).get(plain_unit(unit))


def units_for(wanted: str) -> tuple[str, ...]:
    """The units understood for a catalogue unit."""
    return tuple(CONVERSIONS.get(wanted.lower(), {}))
