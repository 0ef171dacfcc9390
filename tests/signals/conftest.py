"""Hand-written series for the engine's tests: columns from plain arrays."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from bankwise.signals.columns import Columns, Floats, Vehicle
from bankwise.signals.frame import Frame
from bankwise.signals.thresholds import DEFAULTS

Wave = Callable[[Floats], Floats] | float
Build = Callable[..., Frame]


def _columns(
    signals: Mapping[str, Wave],
    seconds: float,
    hz: float,
    rates: Mapping[str, float],
    litres: float | None,
) -> Columns:
    columns = Columns(vehicle=Vehicle(displacement_l=litres))
    for name, wave in signals.items():
        t = np.arange(0.0, seconds + 1e-9, 1.0 / rates.get(name, hz)) + 0.001
        values = wave(t) if callable(wave) else np.full(len(t), wave)
        columns.extend(name, t, values, np.full(len(t), 0.02))
    columns.end_s = seconds
    return columns


@pytest.fixture(name="drive")
def _drive() -> Build:
    """Builds a frame from waves: `drive(60, rpm=800, o2_b1s1_v=lambda t: …)`."""

    def build(
        seconds: float,
        *,
        hz: float = 20.0,
        rates: Mapping[str, float] | None = None,
        litres: float | None = None,
        **signals: Wave,
    ) -> Frame:
        frame = Frame(DEFAULTS)
        columns = _columns(signals, seconds, hz, rates or {}, litres)
        frame.advance(columns, int(seconds * 2) + 1)
        return frame

    return build
