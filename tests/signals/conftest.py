"""Hand-written series for the engine's tests: columns from plain arrays."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Columns, Floats, Mark, Vehicle
from bankwise.signals.engine import Engine
from bankwise.signals.frame import Frame
from bankwise.signals.thresholds import DEFAULTS, Thresholds

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


def square(hz: float, low: float = 0.1, high: float = 0.85) -> Wave:
    """A switching sensor in good health: rounded square wave between two levels."""

    def wave(t: Floats) -> Floats:
        middle, half = (low + high) / 2, (high - low) / 2
        level: Floats = middle + half * np.tanh(6 * np.sin(2 * np.pi * hz * t))
        return level

    return wave


def _by_leg(idle: float, low: float, mid: float) -> Wave:
    """Idle for 100 s, easy driving for 80 s, brisk driving from then on."""
    return lambda t: np.select([t < 100, t < 180], [idle, low], mid)


WARM: dict[str, Wave] = {
    "rpm": _by_leg(750, 1800, 2300),
    "speed_kmh": _by_leg(0, 55, 85),
    "load_pct": _by_leg(20, 28, 45),
    "throttle_pct": _by_leg(12, 20, 30),
    "maf_gps": _by_leg(3.5, 12, 25),
    "ect_c": 90.0,
    "iat_c": 25.0,
    "module_v": 14.1,
    "fuel_status_b1": 2.0,
    "fuel_status_b2": 2.0,
    "stft_b1_pct": lambda t: 2 * np.sin(2 * np.pi * 0.9 * t),
    "stft_b2_pct": lambda t: 2 * np.sin(2 * np.pi * 0.9 * t),
    "ltft_b1_pct": 1.0,
    "ltft_b2_pct": 1.0,
    "o2_b1s1_v": square(0.9),
    "o2_b2s1_v": square(1.1),
    "o2_b1s2_v": lambda t: 0.65 + 0.08 * np.sin(t / 9),
    "o2_b2s2_v": lambda t: 0.64 + 0.08 * np.sin(t / 11),
}
"""A warm healthy two-bank engine with an airflow meter, idling and then driving."""

Change = Mapping[str, Wave | None]
Watch = Callable[..., Engine]


@pytest.fixture(name="watch")
def _watch() -> Watch:
    """Watches the warm engine with changes: `watch({"ect_c": 60}, seconds=200)`.

    A signal changed to None is not delivered at all.
    """

    def build(
        change: Change | None = None,
        *,
        seconds: float = 300.0,
        hz: float = 12.5,
        litres: float | None = None,
        marks: Sequence[Mark] = (),
        codes: Sequence[CodeRead] = (),
        thresholds: Thresholds = DEFAULTS,
    ) -> Engine:
        signals = {**WARM, **(change or {})}
        waves = {name: wave for name, wave in signals.items() if wave is not None}
        columns = _columns(waves, seconds, hz, {}, litres)
        columns.marks.extend(marks)
        columns.codes.extend(codes)
        engine = Engine(thresholds)
        engine.advance(columns, seconds)
        return engine

    return build


Bay = Callable[..., tuple[str, ...]]


@pytest.fixture(name="raised")
def _raised(watch: Watch) -> Bay:
    """Ids with places that a drive raised: `parked-at-bias B1S1`."""

    def build(change: Change | None = None, **kwargs: object) -> tuple[str, ...]:
        return tuple(f"{f.id} {f.about}" for f in watch(change, **kwargs).flags)

    return build


@pytest.fixture(name="judge")
def _judge() -> Watch:
    """Builds a whole engine from waves, as `drive` builds a frame."""

    def build(
        seconds: float,
        *,
        hz: float = 12.0,
        rates: Mapping[str, float] | None = None,
        litres: float | None = None,
        **signals: Wave,
    ) -> Engine:
        engine = Engine()
        columns = _columns(signals, seconds, hz, rates or {}, litres)
        columns.supported = frozenset(signals)
        engine.advance(columns, seconds)
        return engine

    return build
