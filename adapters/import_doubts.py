"""Imported values that look as if told in another unit than the map says.

Nothing is changed because of a doubt: a sentence asks, and the map answers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from bankwise.adapters.import_table import Series
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Floats


def _middle(values: Floats) -> float:
    return float(np.median(values))


def _top(values: Floats) -> float:
    return float(np.percentile(values, 99))


@dataclass(frozen=True, slots=True)
class Doubt:
    """What a signal of a driven car lies within, and what it may be when it does not.

    Attributes:
        stem: how the signal's name begins; `unit`: the catalogue's.
        of: what of the values is looked at.
        low, high: bounds, in the signal's unit.
        ask: what the map may have to say.
    """

    stem: str
    unit: str
    of: Callable[[Floats], float]
    low: float
    high: float
    ask: str


_ENDLESS = float("inf")

DOUBTS: Final = (
    Doubt("rpm", "rpm", _top, 300, 12000, 'scale = 1000, or unit = "Hz"'),
    Doubt("speed_kmh", "km/h", _top, -_ENDLESS, 260, "scale"),
    Doubt("ect_c", "°C", _middle, -40, 135, 'unit = "°F" or "K"'),
    Doubt("iat_c", "°C", _middle, -40, 110, 'unit = "°F" or "K"'),
    Doubt("map_kpa", "kPa", _middle, 12, 300, 'unit = "psi", "inHg", "bar" or "mbar"'),
    Doubt("baro_kpa", "kPa", _middle, 50, 112, 'unit = "psi", "inHg", "bar" or "mbar"'),
    Doubt("load_pct", "%", _top, 3, 101, 'unit = "ratio"'),
    Doubt("abs_load_pct", "%", _top, 3, 400, 'unit = "ratio"'),
    Doubt("throttle_pct", "%", _top, 3, 101, 'unit = "ratio"'),
    Doubt("maf_gps", "g/s", _top, 1, 600, 'unit = "kg/h" or "lb/min"'),
    Doubt("o2_", "V", _top, -_ENDLESS, 1.6, 'unit = "mV"'),
    Doubt("lambda_", "λ", _middle, 0.6, 2.0, 'unit = "AFR"'),
    Doubt("module_v", "V", _middle, 6, 32, 'unit = "mV"'),
)
"""By signal; the first row that fits counts. Common practice, no source: what no engine
on the road leaves, wide enough to stay silent on odd cars."""

_FACTOR_NEAR = (0.7, 1.3)
"""A trim that never leaves this is told as a factor: in percent it would be as good as
constant. Source: our choice."""


def doubts(series: Iterable[Series]) -> Iterator[str]:
    """A sentence for each signal whose values look like another unit's."""
    for one in series:
        if len(one.values):
            yield from _doubt(one.signal, one.values)


def _doubt(signal: str, values: Floats) -> Iterator[str]:
    unit = SIGNALS[signal].unit
    if "tft_" in signal:
        low, high = float(values.min()), float(values.max())
        if _FACTOR_NEAR[0] < low < high < _FACTOR_NEAR[1]:
            yield f'{signal}: all values lie near 1: is it unit = "factor"?'
        return
    for row in DOUBTS:
        if signal.startswith(row.stem) and unit == row.unit:
            value = row.of(values)
            if not row.low <= value <= row.high:
                yield (
                    f"{signal}: {value:.5g} {unit} is not what a car shows: does the "
                    f"map need {row.ask}?"
                )
            return
