"""Behind the catalyst: who copies whom at any rate, and what a fuel cut shows."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import Bools, Floats
from bankwise.signals.frame import Frame

Build = Callable[..., Frame]

_WARM = {
    "rpm": 2000.0,
    "fuel_status_b1": 2.0,
    "ect_c": 90.0,
    "module_v": 14.0,
    "speed_kmh": 70.0,
    "throttle_pct": 25.0,
}


def _front(t: Floats) -> Floats:
    volts: Floats = 0.45 + 0.38 * np.tanh(5 * np.sin(2 * np.pi * 1.27 * t))
    return volts


def _good(t: Floats) -> Floats:
    return 0.68 + 0.03 * np.sin(0.3 * t)


@pytest.mark.parametrize("rear_hz", [12.0, 4.0, 1.1])
def test_a_rear_that_copies_is_seen_at_any_rate(drive: Build, rear_hz: float) -> None:
    """A rear sensor with the front's own signal has a ratio near one, slow or fast."""
    frame = drive(
        240,
        **_WARM,
        hz=12.0,
        rates={"o2_b1s2_v": rear_hz},
        o2_b1s1_v=_front,
        o2_b1s2_v=lambda t: _front(t - 0.05),
    )
    assert frame["downstream_ratio_b1"][-1] == pytest.approx(1.0, abs=0.12)


@pytest.mark.parametrize("rear_hz", [12.0, 4.0, 1.1])
def test_a_rear_behind_a_good_catalyst_hardly_moves(
    drive: Build, rear_hz: float
) -> None:
    """A slow, rich rear has a ratio near zero at the same rates."""
    frame = drive(
        240,
        **_WARM,
        hz=12.0,
        rates={"o2_b1s2_v": rear_hz},
        o2_b1s1_v=_front,
        o2_b1s2_v=_good,
    )
    assert frame["downstream_ratio_b1"][-1] < 0.1
    assert frame["crossing_ratio_b1"][-1] == 0


def test_judged_driving_adds_up_in_pieces(drive: Build) -> None:
    """Four stretches of closed loop between fuel cuts make the hundred seconds."""

    def cut(t: Floats) -> Bools:
        return (t % 50) > 40

    frame = drive(
        280,
        **{
            **_WARM,
            "fuel_status_b1": lambda t: np.where(cut(t), 4.0, 2.0),
            "throttle_pct": lambda t: np.where(cut(t), 14.0, 25.0),
        },
        hz=12.0,
        o2_b1s1_v=lambda t: np.where(cut(t), 0.05, _front(t)),
        o2_b1s2_v=lambda t: np.where(cut(t), 0.05, _front(t)),
    )
    assert frame["downstream_ratio_b1"][-1] > 0.8


def test_a_wide_band_front_swings_about_its_own_mean(drive: Build) -> None:
    """A λ signal that is half a percent off still gives its crossings."""

    def swing(t: Floats) -> Floats:
        return 1.006 + 0.006 * np.sin(2 * np.pi * t)

    frame = drive(
        240,
        **_WARM,
        hz=12.0,
        lambda_b1s1=swing,
        o2_b1s2_v=lambda t: 0.45 + 0.3 * np.sin(2 * np.pi * t),
    )
    assert frame["crossing_ratio_b1"][-1] == pytest.approx(1.0, abs=0.15)


def test_air_and_time_until_the_rear_is_lean(drive: Build) -> None:
    """In a cut at 4 g/s a rear that falls 3 s after its start took 12 g of air."""

    def since_cut(t: Floats) -> Floats:
        return np.where(t >= 40, t - 40, -1.0)

    frame = drive(
        60,
        **{
            **_WARM,
            "throttle_pct": lambda t: np.where((t > 5) & (t < 40), 25.0, 14.0),
            "fuel_status_b1": lambda t: np.where(t < 40, 2.0, 4.0),
        },
        maf_gps=4.0,
        o2_b1s1_v=lambda t: np.where(since_cut(t) > 0.5, 0.05, 0.6),
        o2_b1s2_v=lambda t: np.where(since_cut(t) > 3.0, 0.1, 0.7),
    )
    assert frame["rear_drop_b1s2_g"][-1] == pytest.approx(12.0, abs=2.5)
    assert frame["rear_drop_b1s2_s"][-1] < 0.2
    # From front lean at 0.5 s to rear lean at 3 s: 2.5 s at 4 g/s, 23.2 % oxygen.
    assert frame["storage_b1_mg"][-1] == pytest.approx(2320, rel=0.15)
