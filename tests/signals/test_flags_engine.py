"""Flags about rear sensors, fronts under witness, the engine and the evidence."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import Bools, CodeRead, Floats
from bankwise.signals.engine import Engine

Wave = Callable[[Floats], Floats] | float | None
Raised = Callable[..., tuple[str, ...]]
Watch = Callable[..., Engine]
Change = dict[str, Wave]


def _square(hz: float, low: float = 0.1, high: float = 0.85) -> Wave:
    return lambda t: np.where(np.sin(2 * np.pi * hz * t) > 0, high, low)


def _during(t0: float, t1: float, inside: Wave, outside: Wave) -> Wave:
    """One wave between two moments, another outside them."""

    def wave(t: Floats) -> Floats:
        one = inside(t) if callable(inside) else np.full(len(t), inside)
        two = outside(t) if callable(outside) else np.full(len(t), outside)
        return np.where((t >= t0) & (t < t1), one, two)

    return wave


CUT: Change = {
    "throttle_pct": _during(200, 212, 12.0, lambda t: np.where(t < 100, 12.0, 24.0)),
    "rpm": _during(200, 212, 2200.0, lambda t: np.where(t < 100, 750.0, 2000.0)),
    "load_pct": _during(200, 212, 8.0, lambda t: np.where(t < 100, 20.0, 35.0)),
    "fuel_status_b1": _during(200, 212, 4.0, 2.0),
    "fuel_status_b2": _during(200, 212, 4.0, 2.0),
    "o2_b1s1_v": _during(201, 212, 0.05, _square(1)),
    "o2_b2s1_v": _during(201, 212, 0.05, _square(1)),
    "o2_b1s2_v": _during(203, 214, 0.08, 0.65),
    "o2_b2s2_v": _during(203, 214, 0.08, 0.65),
}
"""The warm engine with one fuel cut of 12 s."""

PULL: Change = {
    "throttle_pct": _during(200, 208, 95.0, lambda t: np.where(t < 100, 12.0, 24.0)),
    "rpm": _during(
        200,
        208,
        lambda t: 3000 + 300 * (t - 200),
        lambda t: np.where(t < 100, 750, 2000),
    ),
    "load_pct": _during(200, 208, 95.0, lambda t: np.where(t < 100, 20.0, 35.0)),
    "fuel_status_b1": _during(200, 209, 4.0, 2.0),
    "fuel_status_b2": _during(200, 209, 4.0, 2.0),
    "o2_b1s1_v": _during(200.5, 208, 0.88, _square(1)),
    "o2_b2s1_v": _during(200.5, 208, 0.88, _square(1)),
}
"""The warm engine with one wide-open pull of 8 s."""

LYING: Change = {
    "stft_b2_pct": 8.0,
    "ltft_b2_pct": lambda t: np.clip((t - 100) / 4, 0, 14),
    "o2_b2s1_v": 0.07,
    "o2_b2s2_v": 0.86,
}

COLD: Change = {
    "rpm": lambda t: np.where(t < 3, 0.0, 1600.0),
    "run_s": lambda t: np.maximum(t - 3, 0),
    "ect_c": lambda t: 66 - 50 * np.exp(-t / 150),
}

MIXED: Change = {
    "throttle_pct": _during(150, 160, 35.0, lambda t: np.where(t < 100, 12.0, 24.0)),
    "speed_kmh": lambda t: np.select(
        [t < 100, t < 150, t < 165], [0, 50, 50 + (t - 150) * 3], 85
    ),
}
"""Idle, cruise, an acceleration and cruise again."""

RAISES: list[tuple[str, Change, float]] = [
    ("front-lean-rear-rich B2", LYING, 300),
    ("front-rich-rear-lean B2", LYING | {
        "ltft_b2_pct": -10.0, "stft_b2_pct": -9.0, "o2_b2s1_v": 0.88, "o2_b2s2_v": 0.05,
    }, 300),
    ("decel-not-lean B1S1",
     CUT | {"o2_b1s1_v": _during(199, 213, 0.6, _square(1))}, 300),
    ("full-throttle-not-rich B1S1",
     PULL | {"o2_b1s1_v": _during(199, 209, 0.3, _square(1))}, 300),
    ("rear-rich-in-decel B1S2", CUT | {"o2_b1s2_v": 0.7}, 300),
    ("rear-flat B1S2", MIXED | {"o2_b1s2_v": 0.46}, 300),
    ("rear-copies-front B1", {"o2_b1s2_v": _square(0.9, 0.15, 0.8)}, 320),
    ("catalyst-too-hot B2", {"cat_b2s1_c": 980.0}, 60),
    ("thermostat-low engine", COLD, 1200),
    ("low-fuel engine", {"fuel_level_pct": 6.0}, 60),
    ("voltage-out-of-range engine", {"module_v": 10.4}, 60),
    ("recently-cleared engine", {"warmups": 1.0}, 60),
    ("cam-off-target B2", {"cam_desired_b2_deg": 20.0, "cam_actual_b2_deg": 5.0}, 60),
]  # fmt: skip

QUIET: list[tuple[str, Change, float]] = [
    ("front-lean-rear-rich B2", LYING | {"o2_b2s2_v": 0.3}, 300),
    ("front-lean-rear-rich B2", LYING | {"o2_b2s1_v": _square(1)}, 300),
    ("front-rich-rear-lean B2", LYING, 300),
    ("decel-not-lean B1S1", CUT, 300),
    ("decel-not-lean B1S1", CUT | {
        "o2_b1s1_v": _during(199, 213, 0.6, _square(1)),
        "o2_b2s1_v": _during(199, 213, 0.6, _square(1)),
    }, 300),
    ("full-throttle-not-rich B1S1", PULL, 300),
    ("full-throttle-not-rich B1S1", PULL | {
        "lambda_cmd": 1.0, "o2_b1s1_v": _during(199, 209, 0.3, _square(1)),
    }, 300),
    ("rear-rich-in-decel B1S2", CUT, 300),
    ("rear-flat B1S2", CUT, 300),
    ("rear-flat B1S2", {"o2_b1s2_v": 0.46, "rpm": 750, "speed_kmh": 0,
                        "throttle_pct": 12, "load_pct": 20}, 300),
    ("rear-copies-front B1", {}, 320),
    ("catalyst-too-hot B2", {"cat_b2s1_c": 820.0}, 60),
    ("thermostat-low engine",
     COLD | {"ect_c": lambda t: 88 - 70 * np.exp(-t / 150)}, 1200),
    ("thermostat-low engine", COLD, 600),
    ("low-fuel engine", {"fuel_level_pct": 40.0}, 60),
    ("voltage-out-of-range engine", {"module_v": 11.8, "rpm": 0.0}, 60),
    ("recently-cleared engine", {"warmups": 40.0}, 60),
    ("cam-off-target B2", {"cam_desired_b2_deg": 0.0, "cam_actual_b2_deg": 0.0}, 60),
]  # fmt: skip


@pytest.mark.parametrize(("flag", "change", "seconds"), RAISES)
def test_a_drive_like_this_raises_its_flag(
    raised: Raised, flag: str, change: Change, seconds: float
) -> None:
    """A hand-written drive with the fault raises the flag at its place."""
    assert flag in raised(change, seconds=seconds)


@pytest.mark.parametrize(("flag", "change", "seconds"), QUIET)
def test_a_drive_like_that_stays_quiet(
    raised: Raised, flag: str, change: Change, seconds: float
) -> None:
    """A drive that lacks one part of it does not raise the flag."""
    assert flag not in raised(change, seconds=seconds)


@pytest.mark.parametrize(("share", "there"), [(0.62, True), (0.98, False)])
def test_low_airflow_needs_two_pulls_and_normal_trims(
    raised: Raised, share: float, there: bool
) -> None:
    """Two pulls with little metered air and good trims mean missing air."""
    pulls = [(200.0, 208.0), (240.0, 248.0)]

    def inside(t: Floats) -> Bools:
        return np.asarray(np.any([(t >= a) & (t < b) for a, b in pulls], axis=0))

    # 2.5 L at 3000 rpm breathes 2.5/2 * 3000/60 * 1.18 g/s when full.
    full = 2.5 / 2 * 3000 / 60 * 1.18
    change: Change = {
        "throttle_pct": lambda t: np.where(inside(t), 95.0, np.where(t < 100, 12, 24)),
        "rpm": lambda t: np.where(inside(t), 3000.0, np.where(t < 100, 750, 2300)),
        "load_pct": lambda t: np.where(inside(t), 95.0, np.where(t < 100, 20, 45)),
        "maf_gps": lambda t: np.where(inside(t), share * 0.85 * full, 20.0),
        "baro_kpa": 101.0,
    }
    flags = raised(change, seconds=300, litres=2.5)
    assert ("low-airflow engine" in flags) == there


def test_a_pending_code_waits_for_the_second_trip(raised: Raised) -> None:
    """Pending but not stored is said; stored as well is not."""
    pending = CodeRead(5.0, "pending", ("P0171",))
    flag = "second-trip-pending P0171"
    assert flag in raised(codes=[CodeRead(5.0, "stored", ()), pending], seconds=30)
    stored = CodeRead(5.0, "stored", ("P0171",))
    assert flag not in raised(codes=[stored, pending], seconds=30)


def test_silence_is_a_lost_link(raised: Raised) -> None:
    """Three seconds without any answer are a hole in the data."""
    assert "link-lost link" not in raised(seconds=30)


def test_a_hole_in_the_data_is_said(watch: Watch) -> None:
    """A session that goes silent in its middle says so, and for how long."""
    engine = watch(seconds=30)
    columns = engine.frame.columns
    for name, column in list(columns.signals.items()):
        t = np.arange(38.0, 50.0, 0.08)
        columns.extend(name, t, np.full(len(t), column.v[-1]), np.full(len(t), 0.02))
    columns.end_s = 50.0
    engine.advance(columns, 50.0)
    (span,) = next(f for f in engine.flags if f.id == "link-lost").spans
    assert span[0] == pytest.approx(33.0, abs=0.51)
    assert span[1] == pytest.approx(38.5, abs=0.51)
