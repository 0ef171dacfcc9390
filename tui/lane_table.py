"""The lanes: what can be drawn over time, one record a lane.

Adding a lane is adding a row here; the chooser, the help and the saved choice read
this table.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

import numpy as np

from bankwise.signals.columns import Floats


class Shape(Enum):
    """How two banks share a lane."""

    OVER = "overlaid, the band between them tinted"
    HALVES = "one above the other, same way up"
    WORDS = "what the engine was doing, in words"


@dataclass(frozen=True, slots=True)
class Scale:
    """One way to measure a lane's quantity.

    Attributes:
        names: a signal for each trace.
        unit: as printed.
        low: value at the bottom.
        high: value at the top.
        guides: values with a faint line.
        decimals: digits after the point.
        grow: the ends move outwards in steps of this, 0 for fixed ends.
        honest: signals that say whether it is measured often enough to switch.
        paced_by: measured signals whose rate counts, where `names` are derived.
    """

    names: tuple[str, ...]
    unit: str
    low: float
    high: float
    guides: tuple[float, ...] = ()
    decimals: int = 0
    grow: float = 0.0
    paced_by: tuple[str, ...] = ()
    honest: tuple[str, ...] = ()

    def ends(self, values: Iterable[Floats]) -> tuple[float, float]:
        """Bottom and top that hold all values, in whole steps; they never shrink."""
        low, high = self.low, self.high
        if self.grow:
            for array in values:
                known = array[np.isfinite(array)]
                if len(known):
                    steps = np.ceil((known.max() - high) / self.grow)
                    high += max(float(steps), 0.0) * self.grow
                    steps = np.ceil((low - known.min()) / self.grow)
                    low -= max(float(steps), 0.0) * self.grow
            if self.low < 0 < self.high:
                high = max(high, -low)
                low = -high
        return low, high


@dataclass(frozen=True, slots=True)
class Lane:
    """A strip over time.

    Attributes:
        id: stable; kept in the saved choice.
        title: a few letters for the margin.
        about: the whole name, for the chooser.
        banks: the bank of each trace, None for the engine.
        scales: ways to measure it; the first that has data is drawn.
        shape: how two banks share it.
        short: drawn on its own window of about ten seconds.
        least: rows below which it is not worth drawing.
        weight: share of the rows left over.
    """

    id: str
    title: str
    about: str
    banks: tuple[int | None, ...]
    scales: tuple[Scale, ...]
    shape: Shape = Shape.OVER
    short: bool = False
    least: int = 2
    weight: int = 2


def _banks(pattern: str) -> tuple[str, ...]:
    return tuple(pattern.format(bank) for bank in (1, 2))


_BOTH = (1, 2)
_ENGINE = (None,)


def _engine(
    id_: str,
    title: str,
    about: str,
    name: str,
    unit: str,
    low: float,
    high: float,
    grow: float = 0.0,
    decimals: int = 0,
) -> Lane:
    scale = Scale((name,), unit, low, high, (), decimals, grow)
    return Lane(id_, title, about, _ENGINE, (scale,), weight=1)


_ROWS = (
    Lane(
        "front",
        "front",
        "front sensors, each bank on its own half",
        _BOTH,
        (
            Scale(
                _banks("o2_b{}s1_v"),
                "V",
                0.0,
                1.0,
                (0.45,),
                2,
                honest=_banks("honest_switching_b{}s1"),
            ),
            Scale(_banks("lambda_b{}s1"), "λ", 0.8, 1.2, (1.0,), 3, 0.1),
        ),
        Shape.HALVES,
        short=True,
        least=4,
        weight=3,
    ),
    Lane(
        "trim",
        "trim",
        "total trim of each bank",
        _BOTH,
        (
            Scale(
                _banks("total_trim_b{}_pct"),
                "%",
                -20.0,
                20.0,
                (0.0,),
                1,
                10.0,
                _banks("stft_b{}_pct"),
            ),
        ),
        least=3,
        weight=4,
    ),
    Lane(
        "rear",
        "rear",
        "rear sensors",
        _BOTH,
        (
            Scale(_banks("o2_b{}s2_v"), "V", 0.0, 1.0, (0.45,), 2),
            Scale(_banks("lambda_b{}s2"), "λ", 0.8, 1.2, (1.0,), 3, 0.1),
        ),
        least=3,
        weight=3,
    ),
    Lane(
        "state",
        "drive",
        "what the engine was doing: idle, cruise, fuel cut",
        _ENGINE,
        (Scale(("state",), "", 0.0, 1.0),),
        Shape.WORDS,
        least=1,
        weight=0,
    ),
    _engine("rpm", "rpm", "engine speed", "rpm", "", 0, 3000, 1000),
    _engine("load", "load", "calculated load", "load_pct", "%", 0, 100),
    _engine("maf", "air", "air mass flow", "maf_gps", "g/s", 0, 40, 20, 1),
    _engine("map", "MAP", "manifold pressure", "map_kpa", "kPa", 0, 100, 20),
    _engine("speed", "speed", "vehicle speed", "speed_kmh", "km/h", 0, 100, 20),
    _engine("coolant", "cool", "coolant temperature", "ect_c", "°C", 0, 120, 20),
    Lane(
        "short",
        "short",
        "short-term trim of each bank",
        _BOTH,
        (Scale(_banks("stft_b{}_pct"), "%", -20.0, 20.0, (0.0,), 1, 10.0),),
        least=3,
    ),
    Lane(
        "long",
        "long",
        "long-term trim of each bank",
        _BOTH,
        (Scale(_banks("ltft_b{}_pct"), "%", -20.0, 20.0, (0.0,), 1, 10.0),),
        least=3,
    ),
    Lane(
        "slowfront",
        "front",
        "front sensors, overlaid on the long window",
        _BOTH,
        (
            Scale(_banks("o2_b{}s1_v"), "V", 0.0, 1.0, (0.45,), 2),
            Scale(_banks("lambda_b{}s1"), "λ", 0.8, 1.2, (1.0,), 3, 0.1),
        ),
        Shape.HALVES,
        least=4,
        weight=3,
    ),
    Lane(
        "cam",
        "cam",
        "actual cam position, from a definition file",
        _BOTH,
        (Scale(_banks("cam_actual_b{}_deg"), "°", -10.0, 40.0, (0.0,), 1, 10.0),),
    ),
    Lane(
        "camwant",
        "cam?",
        "desired cam position, from a definition file",
        _BOTH,
        (Scale(_banks("cam_desired_b{}_deg"), "°", -10.0, 40.0, (0.0,), 1, 10.0),),
    ),
    _engine("throttle", "throt", "throttle", "throttle_pct", "%", 0, 100),
    _engine("timing", "spark", "ignition advance", "timing_deg", "°", -10, 40, 10),
    _engine("intake", "inlet", "intake air temperature", "iat_c", "°C", 0, 60, 20),
    _engine("volts", "volts", "control unit voltage", "module_v", "V", 10, 16, 1, 1),
    _engine("purge", "purge", "purge valve", "purge_pct", "%", 0, 100),
    _engine("command", "λ cmd", "commanded lambda", "lambda_cmd", "", 0.8, 1.2, 0.1, 3),
)

LANES: dict[str, Lane] = {lane.id: lane for lane in _ROWS}
"""Every lane by id, in the order of the chooser."""

FIRST_CHOICE = ("front", "trim", "rear", "state", "rpm", "load", "speed", "coolant")
"""The lanes of the road test until a person chooses others."""
