"""Flags about sensors: one hand-written series raises each, one stays quiet."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import Floats, Mark
from bankwise.signals.engine import Engine

Wave = Callable[[Floats], Floats] | float | None
Raised = Callable[..., tuple[str, ...]]
Watch = Callable[..., Engine]
Change = dict[str, Wave]


def _after(t0: float, before: Wave, then: Wave) -> Callable[[Floats], Floats]:
    """One wave up to a moment, another from then on."""

    def wave(t: Floats) -> Floats:
        one: Floats = before(t) if callable(before) else np.full(len(t), before)
        two: Floats = then(t) if callable(then) else np.full(len(t), then)
        return np.where(t < t0, one, two)

    return wave


def _square(hz: float, low: float = 0.1, high: float = 0.85) -> Wave:
    return lambda t: np.where(np.sin(2 * np.pi * hz * t) > 0, high, low)


def _ramp(t: Floats) -> Floats:
    """A trim that climbs from 0 to 23 % between 100 and 140 s."""
    return np.clip((t - 100) * 23 / 40, 0, 23)


def _slow(t: Floats) -> Floats:
    """Half a second from lean to rich and back again, once in two seconds."""
    phase = t % 2.0
    return np.interp(phase, [0, 0.5, 1.0, 1.5, 2.0], [0.1, 0.85, 0.85, 0.1, 0.1])


def _lazy_up(t: Floats) -> Floats:
    """A second from lean to rich, and back between two samples."""
    phase = t % 2.0
    return np.interp(phase, [0, 1.2, 1.6, 1.65, 2.0], [0.1, 0.85, 0.85, 0.1, 0.1])


WIDE: Change = {
    "o2_b1s1_v": None,
    "o2_b2s1_v": None,
    "lambda_b1s1": lambda t: 1 + 0.004 * np.sin(5 * t),
    "lambda_b2s1": lambda t: 1 + 0.004 * np.sin(6 * t),
    "lambda_cmd": 1.0,
}
"""Front sensors that are wide-band."""


def _stepping(t: Floats) -> Floats:
    """A throttle that moves by 6 % every few seconds."""
    return np.where(np.sin(t / 3) > 0, 26.0, 20.0)


IDLING: Change = {"speed_kmh": 0, "rpm": 750, "throttle_pct": 12, "load_pct": 20}

RAISES: list[tuple[str, Change]] = [
    ("parked-at-bias B2S1", {"o2_b2s1_v": _after(120, _square(1), 0.445)}),
    ("parked-at-bias B1S2", {"o2_b1s2_v": 0.45}),
    ("wideband-frozen B1S1", WIDE | {"lambda_b1s1": 1.0, "throttle_pct": _stepping}),
    ("sensor-not-switching B1S1", {"o2_b1s1_v": _square(0.04)}),
    (
        "stuck-lean B1S1",
        {"o2_b1s1_v": _after(100, _square(1), 0.08), "stft_b1_pct": _ramp},
    ),
    (
        "stuck-lean B1S1",
        {"o2_b1s1_v": _after(100, _square(1), 0.28), "stft_b1_pct": _ramp},
    ),
    (
        "stuck-rich B1S1",
        {
            "o2_b1s1_v": _after(100, _square(1), 0.88),
            "stft_b1_pct": lambda t: -_ramp(t),
        },
    ),
    ("slow-switching B1S1", {"o2_b1s1_v": _slow}),
    ("slow-one-way B1S1", {"o2_b1s1_v": _lazy_up}),
    ("small-swing B2S1", {"o2_b2s1_v": _square(1.0, 0.3, 0.62)}),
    ("lambda-off-command B1S1", WIDE | {"lambda_b1s1": 1.09}),
]

QUIET: list[tuple[str, Change]] = [
    ("parked-at-bias B2S1", {"o2_b2s1_v": _square(1)}),
    ("parked-at-bias B1S2", {"o2_b1s2_v": lambda t: 0.45 + 0.1 * np.sin(t / 4)}),
    ("parked-at-bias B1S1", {"o2_b1s1_v": 0.445, **IDLING}),
    ("wideband-frozen B1S1", WIDE | {"lambda_b1s1": 1.0, "throttle_pct": 20.0}),
    ("wideband-frozen B1S1", WIDE | {"throttle_pct": _stepping}),
    ("sensor-not-switching B1S1", {"o2_b1s1_v": _square(0.5)}),
    ("sensor-not-switching B1S1", {"o2_b1s1_v": _square(0.04), "fuel_status_b1": 4.0}),
    ("stuck-lean B1S1", {"o2_b1s1_v": _after(100, _square(1), 0.08)}),
    ("stuck-rich B1S1", {"o2_b1s1_v": _after(100, _square(1), 0.88)}),
    ("slow-switching B1S1", {"o2_b1s1_v": _square(1)}),
    ("slow-one-way B1S1", {"o2_b1s1_v": _slow}),
    ("small-swing B2S1", {"o2_b2s1_v": _square(1.0, 0.1, 0.8)}),
    ("lambda-off-command B1S1", WIDE | {"lambda_b1s1": 1.02}),
    (
        "lambda-off-command B1S1",
        WIDE | {"lambda_b1s1": 0.88, "lambda_cmd": 0.88},
    ),
]


@pytest.mark.parametrize(("flag", "change"), RAISES)
def test_a_sensor_like_this_raises_its_flag(
    raised: Raised, flag: str, change: Change
) -> None:
    """A hand-written series of the fault raises the flag at its place."""
    assert flag in raised(change, hz=25.0)


@pytest.mark.parametrize(("flag", "change"), QUIET)
def test_a_sensor_like_that_stays_quiet(
    raised: Raised, flag: str, change: Change
) -> None:
    """A series that only looks a little like the fault raises nothing."""
    assert flag not in raised(change, hz=25.0)


def test_a_healthy_drive_raises_nothing(raised: Raised) -> None:
    """The warm healthy engine has no flag at all."""
    assert raised(hz=12.5) == ()


@pytest.mark.parametrize("hz", [1.0, 4.0])
@pytest.mark.parametrize("wave", [_square(0.04), _slow, _lazy_up, _square(0.7)])
def test_no_verdict_on_switching_from_slow_samples(
    raised: Raised, hz: float, wave: Wave
) -> None:
    """Below the honest rate only the sampling is spoken of, never the switching."""
    flags = raised({"o2_b1s1_v": wave}, hz=hz)
    about = {"sensor-not-switching", "slow-switching", "slow-one-way", "small-swing"}
    assert not about & {flag.split()[0] for flag in flags}
    assert "too-slow-to-tell o2_b1s1_v" in flags


def test_a_late_heater_is_told_from_its_neighbour(raised: Raised) -> None:
    """A sensor that leaves its bias 40 s after the other bank's has woken late."""
    cold: Change = {
        "rpm": _after(5, 0.0, 900.0),
        "speed_kmh": 0.0,
        "ect_c": lambda t: 20 + t / 6,
        "o2_b1s1_v": _after(20, 0.45, _square(1)),
        "o2_b2s1_v": _after(58, 0.45, _square(1)),
        "run_s": lambda t: np.maximum(t - 5, 0),
    }
    flags = raised(cold, seconds=200)
    assert "late-wake-up B2S1" in flags
    assert "late-wake-up B1S1" not in flags


@pytest.mark.parametrize("outcome", ["answers-forcing", "ignores-forcing"])
def test_a_guided_test_is_a_flag(raised: Raised, outcome: str) -> None:
    """The result of a forced test stands as a flag about that sensor alone."""
    mark = Mark(150.0, "forced", f"test:force-rich-lean:{outcome}:B2S1")
    flags = raised(marks=[mark])
    assert f"{outcome} B2S1" in flags
    assert f"{outcome} B1S1" not in flags


def test_without_a_voltage_the_gate_opens(raised: Raised) -> None:
    """A signal the car does not deliver silences nothing."""
    change: Change = {"o2_b2s1_v": _after(120, _square(1), 0.445), "module_v": None}
    assert "parked-at-bias B2S1" in raised(change)
