"""On-board test results as service 06 gives them, from the unit's own measurements.

Monitor, test and scaling ids are from memory of SAE J1979-DA.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bankwise.adapters.car.checks import CATALYST_INDEX, SLOW_S
from bankwise.adapters.car.evidence import TestResult

if TYPE_CHECKING:
    from bankwise.adapters.car.model import Car

_MILLISECONDS, _RATIO, _COUNTS, _VOLTS = 0x10, 0x20, 0x24, 0x0B
_FRONT = (0x01, 0x05)
_REAR = (0x02, 0x06)
_CATALYST = (0x21, 0x22)
_FIRST_CYLINDER = 0xA2
_RICH_TO_LEAN, _LEAN_TO_RICH, _LOWEST, _HIGHEST = 0x05, 0x06, 0x07, 0x08
_MISFIRES_NOW = 0x0C
_MAKER_TEST = 0x80
_MOST = 0xFFFF
_REAR_CUT_S = 6.0
"""Fuel cut that the rear sensor's test needs in a drive: time for the catalyst to fill
with oxygen. Unit: s. Source: our choice, near Mazda 2003 P0138's six seconds."""


def results(car: Car) -> tuple[TestResult, ...]:
    """The results that exist so far, bank by bank."""
    rows: list[TestResult] = []
    limit_ms = round(SLOW_S * 1000.0)
    for b, bank in enumerate(car.engine.banks):
        control = bank.control
        if control.swings:
            for test, seconds in (
                (_RICH_TO_LEAN, control.falling_s),
                (_LEAN_TO_RICH, control.rising_s),
            ):
                rows.append(
                    TestResult(
                        _FRONT[b],
                        test,
                        _MILLISECONDS,
                        _raw(seconds * 1000.0),
                        0,
                        limit_ms,
                    )
                )
        if _rear_tested(car, b):
            low = TestResult(
                _REAR[b], _LOWEST, _VOLTS, _raw(control.rear_low_v * 1e3), 0, 450
            )
            high = TestResult(
                _REAR[b], _HIGHEST, _VOLTS, _raw(control.rear_high_v * 1e3), 550, 1300
            )
            rows += (low, high)
        index = car.monitors.catalyst_index(b)
        if index is not None:
            rows.append(
                TestResult(
                    _CATALYST[b],
                    _MAKER_TEST,
                    _RATIO,
                    _raw(index * 256.0),
                    0,
                    _raw(CATALYST_INDEX * 256.0),
                )
            )
        rows += _misfires(car, b)
    return tuple(rows)


def _rear_tested(car: Car, b: int) -> bool:
    """Whether the rear sensor's test has run in this drive.

    Until then a unit reports no result rather than half of one.
    """
    control = car.engine.banks[b].control
    seen = control.rear_high_v - control.rear_low_v
    return control.rear_cut_s >= _REAR_CUT_S and seen >= 0.0


def _misfires(car: Car, b: int) -> list[TestResult]:
    """The bank's misfires fall on its first cylinder, as one bad coil's would."""
    each = car.spec.cylinders // car.spec.banks
    first = _FIRST_CYLINDER + b
    counted = _raw(car.engine.banks[b].misfires)
    return [
        TestResult(
            first + car.spec.banks * place,
            _MISFIRES_NOW,
            _COUNTS,
            counted if place == 0 else 0,
            0,
            _MOST,
        )
        for place in range(each)
    ]


def _raw(value: float) -> int:
    return min(max(round(value), 0), _MOST)
