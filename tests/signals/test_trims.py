"""Fuel trims: totals, imbalance, limits, learning, patterns over airflow."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import Floats
from bankwise.signals.frame import Frame
from bankwise.signals.trim_map import trim_map

Build = Callable[..., Frame]

_LOOP = {"rpm": 800.0, "fuel_status_b1": 2.0, "fuel_status_b2": 2.0, "speed_kmh": 0.0}


def test_total_trim_both_ways(drive: Build) -> None:
    """+25 and +10 make 35 added and 37.5 multiplied. Source: derived."""
    frame = drive(5, **_LOOP, stft_b1_pct=25.0, ltft_b1_pct=10.0)
    assert frame["total_trim_b1_pct"][-1] == pytest.approx(35.0)
    assert frame["total_trim_mult_b1_pct"][-1] == pytest.approx(37.5)


def test_a_car_without_long_term_trim_has_a_total(drive: Build) -> None:
    """Short-term alone is the total where no long-term trim is measured."""
    frame = drive(5, **_LOOP, stft_b1_pct=4.0)
    assert frame["total_trim_b1_pct"][-1] == 4.0


def test_sixty_forty_split_mirrors(drive: Build) -> None:
    """A 60/40 split of the air asks for +20 and −20 percent. Source: MOTOR 2012."""
    frame = drive(30, **_LOOP, stft_b1_pct=20.0, stft_b2_pct=-20.0)
    assert frame["imbalance_pct"][-1] == pytest.approx(40.0)
    assert frame["common_trim_pct"][-1] == pytest.approx(0.0)


def test_open_loop_trims_speak_for_nothing(drive: Build) -> None:
    """In open loop the total stays visible but enters no median and no imbalance."""
    signals = {**_LOOP, "fuel_status_b1": 1.0, "fuel_status_b2": 1.0}
    frame = drive(30, **signals, stft_b1_pct=20.0, stft_b2_pct=0.0)
    assert frame["total_trim_b1_pct"][-1] == 20.0
    assert np.isnan(frame["imbalance_pct"]).all()
    assert np.isnan(frame["trim_idle_b1_pct"]).all()


def test_bank_two_without_a_status_follows_bank_one(drive: Build) -> None:
    """A second status byte of zero means one fuel system for both banks."""
    signals = {**_LOOP, "fuel_status_b2": 0.0}
    frame = drive(20, **signals, stft_b2_pct=3.0)
    assert frame["status_b2"][-1] == 2
    assert frame["closed_run_b2_s"][-1] == pytest.approx(19.5, abs=0.5)


def test_a_pegged_trim_is_at_its_limit(drive: Build) -> None:
    """A short-term trim that climbs and then stands at its extreme is at its limit."""
    frame = drive(60, **_LOOP, stft_b1_pct=lambda t: np.minimum(t, 25.0))
    at = frame["at_limit_b1_s"]
    assert np.isnan(at[2 * 20])
    assert at[-1] == pytest.approx(35.0, abs=2.0)
    assert frame["limit_side_b1"][-1] == 1


def test_a_settled_long_term_trim_is_not_at_its_limit(drive: Build) -> None:
    """A learned +18 with short-term around zero is a correction, not an end."""
    frame = drive(
        60,
        **_LOOP,
        ltft_b1_pct=18.0,
        stft_b1_pct=lambda t: 3.0 * np.sign(np.sin(3 * t)),
    )
    assert np.isnan(frame["at_limit_b1_s"]).all()


def test_a_long_term_trim_at_its_end_counts_while_short_term_asks(
    drive: Build,
) -> None:
    """Long-term stands at +25: pegged while short-term stays up, not while it falls."""
    asking = drive(40, **_LOOP, ltft_b1_pct=25.0, stft_b1_pct=8.0)
    falling = drive(40, **_LOOP, ltft_b1_pct=25.0, stft_b1_pct=lambda t: 30.0 - 0.6 * t)
    assert asking["limit_side_b1"][-1] == 1
    assert np.nansum(falling["limit_side_b1"]) == 0


def test_a_wide_band_bank_on_target_is_not_at_its_limit(drive: Build) -> None:
    """A correction that holds λ at its command stands still without being pegged."""
    on = drive(60, **_LOOP, stft_b1_pct=12.0, lambda_b1s1=1.0, lambda_cmd=1.0)
    off = drive(60, **_LOOP, stft_b1_pct=12.0, lambda_b1s1=1.2, lambda_cmd=1.0)
    assert np.isnan(on["at_limit_b1_s"]).all()
    assert off["at_limit_b1_s"][-1] > 30


def test_learning_moves_long_term_against_short_term(drive: Build) -> None:
    """Long-term rises as short-term falls, the sum stands: that is learning."""
    frame = drive(
        120,
        **_LOOP,
        ltft_b1_pct=lambda t: t / 15.0,
        stft_b1_pct=lambda t: 8.0 - t / 15.0,
    )
    assert frame["ltft_rate_b1_pctpm"][-1] == pytest.approx(4.0, abs=0.3)
    assert frame["learning_b1"][-1] == 1


def _leak(t: Floats) -> Floats:
    return np.where(t < 60, 16.0, 2.0)


def test_pattern_medians_hold_until_the_bin_is_seen_again(drive: Build) -> None:
    """Idle needed +16; at cruise +2 is seen and the idle median stays beside it."""
    frame = drive(
        120,
        rpm=lambda t: np.where(t < 60, 750.0, 2200.0),
        load_pct=lambda t: np.where(t < 60, 25.0, 45.0),
        speed_kmh=lambda t: np.where(t < 60, 0.0, 80.0),
        throttle_pct=lambda t: np.where(t < 60, 14.0, 25.0),
        fuel_status_b1=2.0,
        stft_b1_pct=_leak,
    )
    assert frame["trim_idle_b1_pct"][-1] == pytest.approx(16.0)
    assert frame["trim_mid_b1_pct"][-1] == pytest.approx(2.0)
    assert frame["common_idle_pct"][-1] == pytest.approx(16.0)
    assert frame["bins_known_b1"][-1] == 2


def test_trim_map_cells(drive: Build) -> None:
    """Cells hold what was needed there, with spread and count; short visits do not."""
    frame = drive(
        60,
        rpm=lambda t: np.where(t < 58, 2240.0, 3100.0),
        load_pct=43.0,
        fuel_status_b1=2.0,
        stft_b1_pct=lambda t: 5.0 + np.sign(np.sin(t)),
    )
    (cell,) = trim_map(frame, 1)
    assert (cell.rpm, cell.load_pct) == (2000.0, 40.0)
    assert abs(cell.median - 5.0) <= 1.0
    assert cell.iqr == pytest.approx(2.0, abs=0.1)
    assert cell.n > 100
