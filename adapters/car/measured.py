"""What the unit measures for a check, kept as the test result that service 06 tells.

Only readings of the car are taken; nothing in here moves it. While the check passes
the result is a mean of passing measurements; once it has failed, what it failed with.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bankwise.adapters.car.checks import (
    HEATER_LOW_A,
    LEAN_PCT,
    heater_amperes,
    total_trim_pct,
)
from bankwise.adapters.car.evidence import TestResult

if TYPE_CHECKING:
    from bankwise.adapters.car.model import Car

_AMPERES, _PERCENT = 0x0E, 0x39
"""Scalings: 0.001 A a bit, and 0.01 % a bit from -327.68 %. Source: SAE J1979's table
as python-OBD carries it. The second is unsigned, because before CAN no scaling is told
and a reader takes every number for positive."""

_ZERO_PCT = 0x8000

_MAKER_TEST = 0x81
"""Heaters and fuel systems have no standard test numbers; from 80 on they are the
maker's. Source: from memory of SAE J1979."""

_MOST = 0xFFFF
_MEAN_S = 10.0
"""Time constant of the mean. Source: our choice, above a limit cycle at idle."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One measured quantity of a bank and the checks that judge it.

    Attributes:
        monitors: monitor number for bank 1 and bank 2.
        codes: the codes of those checks, by bank.
        scaling, bit, zero: unit-and-scaling number, the value of one bit, and the raw
            number that means zero.
        low, high: limits as raw numbers; the end of the range for none.
        measure: the quantity now.
    """

    monitors: tuple[int, int]
    codes: tuple[tuple[str, ...], tuple[str, ...]]
    scaling: int
    bit: float
    zero: int
    low: int
    high: int
    measure: Callable[[Car, int], float]

    def raw(self, value: float) -> int:
        """A value as a raw number; what lies beyond a limit is rounded beyond it."""
        exact = value / self.bit + self.zero
        if exact > self.high:
            return math.ceil(exact)
        return math.floor(exact) if exact < self.low else round(exact)


def _front_amperes(car: Car, b: int) -> float:
    return heater_amperes(car, b, rear=False)


def _rear_amperes(car: Car, b: int) -> float:
    return heater_amperes(car, b, rear=True)


_LEAST_MA = round(HEATER_LOW_A * 1000.0)
_TRIM = round(LEAN_PCT * 100.0)

MEASURED: tuple[Measured, ...] = (
    Measured(
        (0x41, 0x45), (("P0135",), ("P0155",)),
        _AMPERES, 0.001, 0, _LEAST_MA, _MOST, _front_amperes,
    ),
    Measured(
        (0x42, 0x46), (("P0141",), ("P0161",)),
        _AMPERES, 0.001, 0, _LEAST_MA, _MOST, _rear_amperes,
    ),
    Measured(
        (0x81, 0x82), (("P0171", "P0172"), ("P0174", "P0175")),
        _PERCENT, 0.01, _ZERO_PCT, _ZERO_PCT - _TRIM, _ZERO_PCT + _TRIM, total_trim_pct,
    ),
)  # fmt: skip
"""Heater current of each sensor, and the whole trim of each bank.

Monitor numbers: from memory of SAE J1979 (41-50 heaters, 81-84 fuel systems).
"""


class Measurement:
    """How one measured quantity of one bank stands in this drive."""

    __slots__ = ("_failed", "_value")

    def __init__(self) -> None:
        self._value: float | None = None
        self._failed = False

    def take(self, dt: float, row: Measured, value: float, *, failed: bool) -> None:
        """Takes a measurement. `failed`: a check of it has failed in this drive."""
        if self._failed:
            return
        if failed:
            self._failed = True
            self._value = value
            return
        if not row.low <= row.raw(value) <= row.high:
            return  # failing, though not for long enough to be a result
        before = value if self._value is None else self._value
        self._value = before + (value - before) * dt / (dt + _MEAN_S)

    def result(self, row: Measured, b: int) -> TestResult | None:
        """The result for a bank; None before the first measurement."""
        if self._value is None:
            return None
        return TestResult(
            row.monitors[b],
            _MAKER_TEST,
            row.scaling,
            row.raw(self._value),
            row.low,
            row.high,
        )
