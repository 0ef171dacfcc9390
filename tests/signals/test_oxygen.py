"""Switching sensors: swings, switches, parked, stuck, awake, and what rates allow."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.claims import cannot_tell
from bankwise.signals.columns import Floats
from bankwise.signals.frame import Frame

Build = Callable[..., Frame]

_LOOP = {"rpm": 2000.0, "fuel_status_b1": 2.0, "ect_c": 90.0, "speed_kmh": 60.0}


def _square(
    hz: float, low: float = 0.1, high: float = 0.8
) -> Callable[[Floats], Floats]:
    return lambda t: np.where((t * hz) % 1.0 < 0.5, high, low)


def test_switches_of_a_one_hertz_square(drive: Build) -> None:
    """Twenty seconds of 1 Hz hold forty full passes and swing by 0.7 V."""
    frame = drive(60, **_LOOP, o2_b1s1_v=_square(1.0))
    assert frame["switches_b1s1"][-1] == pytest.approx(40, abs=1)
    assert frame["switching_hz_b1s1"][-1] == pytest.approx(1.0, abs=0.05)
    assert frame["swing_b1s1_v"][-1] == pytest.approx(0.7)
    assert frame["time_rich_b1s1_pct"][-1] == pytest.approx(50, abs=2)
    assert frame["dwell_rich_b1s1_s"][-1] == pytest.approx(0.5, abs=0.1)


def test_too_slow_gives_no_count_but_a_reason(drive: Build) -> None:
    """Two samples a second count nothing: no value, and the rate in words."""
    frame = drive(60, **_LOOP, rates={"o2_b1s1_v": 2.1}, o2_b1s1_v=_square(1.0))
    assert np.isnan(frame["switches_b1s1"]).all()
    assert frame.why("switches_b1s1") == "sampled at 2.1 Hz, needs 10 Hz"
    said = {(c.about, c.what): c.why for c in cannot_tell(frame)}
    assert said["B1S1", "switching"] == "sampled at 2.1 Hz, needs 10 Hz"


def test_a_hole_makes_the_count_dishonest(drive: Build) -> None:
    """A window with three seconds missing carries no count until they are past."""
    frame = drive(30, **_LOOP, o2_b1s1_v=_square(1.0))
    columns = frame.columns
    t = np.arange(33.0, 80.0, 0.05)
    for name in (*_LOOP, "o2_b1s1_v"):
        wave = _square(1.0)(t) if name == "o2_b1s1_v" else np.full(len(t), _LOOP[name])
        columns.extend(name, t, wave, np.full(len(t), 0.02))
    frame.advance(columns, 159)
    counts = frame["switches_b1s1"]
    assert not np.isnan(counts[2 * 29])
    assert np.isnan(counts[2 * 40])
    assert counts[-1] == pytest.approx(40, abs=1)


def test_nothing_is_joined_across_a_hole(drive: Build) -> None:
    """A sensor that was lean before a hole and rich after it was not seen to switch."""
    frame = drive(30, **_LOOP, o2_b1s1_v=0.1)
    columns = frame.columns
    t = np.arange(40.0, 70.0, 0.05)
    columns.extend("o2_b1s1_v", t, np.full(len(t), 0.8), np.full(len(t), 0.02))
    frame.advance(columns, 139)
    assert frame["switches_b1s1"][-1] == 0
    assert np.nansum(frame["tick_switches_b1s1"]) == 0


def test_the_bias_is_learned_and_the_wake_up_timed(drive: Build) -> None:
    """A sensor at 0.47 V at key-on leaves it 25 s after the start."""
    frame = drive(
        60,
        rpm=lambda t: np.where(t < 10, 0.0, 900.0),
        o2_b1s1_v=lambda t: np.where(t < 35, 0.47, _square(1.0)(t)),
    )
    assert frame["bias_b1s1_v"][-1] == pytest.approx(0.47)
    assert frame["wake_up_b1s1_s"][-1] == pytest.approx(25.0, abs=1.0)
    assert np.isnan(frame["asleep_b1s1_s"][-1])


def test_no_wake_up_time_when_nobody_saw_the_start(drive: Build) -> None:
    """A session that begins with a live sensor has no wake-up time, and says so."""
    frame = drive(60, rpm=900.0, o2_b1s1_v=_square(1.0))
    assert np.isnan(frame["wake_up_b1s1_s"]).all()
    assert frame.why("wake_up_b1s1_s") == "the start was not seen"


def test_a_sensor_that_never_wakes_is_timed(drive: Build) -> None:
    """A sensor still at rest counts on; its wake-up time says for how long."""
    frame = drive(
        100, rpm=lambda t: np.where(t < 10, 0.0, 900.0), o2_b1s1_v=0.45, hz=5.0
    )
    assert frame["asleep_b1s1_s"][-1] == pytest.approx(90.0, abs=1.0)
    assert "still at rest" in frame.why("wake_up_b1s1_s")


def test_parked_counts_only_time_off_idle(drive: Build) -> None:
    """Parked for a minute, half of it at idle, is half a minute off idle."""
    frame = drive(
        70,
        rpm=lambda t: np.where(t < 40, 750.0, 2200.0),
        speed_kmh=lambda t: np.where(t < 40, 0.0, 70.0),
        throttle_pct=lambda t: np.where(t < 40, 14.0, 25.0),
        o2_b1s1_v=0.45,
    )
    assert frame["parked_b1s1_s"][-1] == pytest.approx(69, abs=2)
    assert frame["parked_off_idle_b1s1_s"][-1] == pytest.approx(30, abs=2)


def test_stuck_ends_with_one_sample_on_the_other_side(drive: Build) -> None:
    """One sample above the lean limit starts the stuck time anew."""
    frame = drive(
        60, **_LOOP, o2_b1s1_v=lambda t: np.where(np.abs(t - 40.0) < 0.04, 0.5, 0.1)
    )
    stuck = frame["stuck_lean_b1s1_s"]
    assert stuck[2 * 39] == pytest.approx(38, abs=1.5)
    assert np.isnan(stuck[2 * 40 + 1])
    assert stuck[-1] == pytest.approx(18, abs=1.5)


def test_a_wide_band_position_has_no_volt_signals(drive: Build) -> None:
    """Where λ is measured, switch counts do not apply even if volts are reported."""
    frame = drive(60, **_LOOP, o2_b1s1_v=_square(1.0), lambda_b1s1=1.0)
    assert frame["wideband_b1s1"][-1] == 1
    assert np.isnan(frame["switches_b1s1"]).all()
    assert frame["frozen_b1s1_s"][-1] == pytest.approx(60, abs=1)


def test_lambda_error_against_the_command(drive: Build) -> None:
    """λ 1.05 against a command of 1.0 is five percent lean."""
    frame = drive(30, **_LOOP, lambda_b1s1=1.05, lambda_cmd=1.0)
    assert frame["lambda_error_b1s1_pct"][-1] == pytest.approx(5.0)
    assert frame["lean_b1s1"][-1] == 0
    assert frame["rich_b1s1"][-1] == 0


def test_a_diesel_has_no_lambda_error(drive: Build) -> None:
    """λ 2 without closed loop and without a command is how a diesel runs: no error."""
    frame = drive(30, rpm=2000.0, lambda_b1s1=1.9)
    assert np.isnan(frame["lambda_error_b1s1_pct"]).all()


def test_response_bounds_hold_the_true_time(drive: Build) -> None:
    """A ramp of 200 ms between the thresholds lies inside the proven bounds."""

    def ramp(t: Floats) -> Floats:
        phase = t % 2.037  # no multiple of the sample interval
        up = np.clip(0.1 + phase * 1.5, 0.1, 0.8)
        down = np.clip(0.8 - (phase - 1.0) * 3.0, 0.1, 0.8)
        return np.where(phase < 1.0, up, down)

    frame = drive(80, **_LOOP, hz=25.0, o2_b1s1_v=ramp)
    assert frame["lr_low_b1s1_ms"][-1] <= 200 <= frame["lr_high_b1s1_ms"][-1]
    assert frame["rl_low_b1s1_ms"][-1] <= 100 <= frame["rl_high_b1s1_ms"][-1]
    assert frame["asymmetry_low_b1s1"][-1] <= 2.0 <= frame["asymmetry_high_b1s1"][-1]
    assert frame["lr_n_b1s1"][-1] >= 30


def test_two_fast_ways_have_no_ratio(drive: Build) -> None:
    """Edges of about 40 and 80 ms differ by two, and no word is lost on it."""

    def wave(t: Floats) -> Floats:
        phase = t % 1.037
        up = np.clip(0.1 + phase * 7.5, 0.1, 0.8)
        down = np.clip(0.8 - (phase - 0.5) * 3.75, 0.1, 0.8)
        return np.where(phase < 0.5, up, down)

    frame = drive(80, **_LOOP, hz=40.0, o2_b1s1_v=wave)
    assert frame["rl_mean_b1s1_ms"][-1] == pytest.approx(80, abs=8)
    assert frame["lr_mean_b1s1_ms"][-1] == pytest.approx(40, abs=8)
    assert np.isnan(frame["asymmetry_low_b1s1"]).all()
    assert frame.why("asymmetry_low_b1s1") == "both ways are fast"


def test_a_dead_rear_counts_cuts_while_flat(drive: Build) -> None:
    """A rear sensor flat through two fuel cuts has both counted against it."""

    def status(t: Floats) -> Floats:
        return np.where((t % 30) > 20, 4.0, 2.0)

    frame = drive(
        70,
        rpm=2200.0,
        speed_kmh=70.0,
        throttle_pct=lambda t: np.where((t % 30) > 20, 14.0, 25.0),
        fuel_status_b1=status,
        o2_b1s2_v=0.46,
        rates={"fuel_status_b1": 5.0},
    )
    assert frame["flat_cuts_b1s2"][-1] == 2
    assert frame["flat_b1s2_s"][-1] > 60


def _refreshed(wave: Callable[[Floats], Floats], hz: float) -> Callable[..., Floats]:
    """The wave as a control unit gives it that looks at it so often a second."""
    return lambda t: wave(np.floor(t * hz) / hz)


def _ramp(t: Floats) -> Floats:
    """A sensor at 1 Hz whose edges take a fifth of a second."""
    level: Floats = 0.45 + 0.35 * np.clip(4 * np.sin(2 * np.pi * t), -1, 1)
    return np.round(level / 0.005) * 0.005


def test_values_handed_out_again_do_not_count_as_samples(drive: Build) -> None:
    """Asked 20 times a second, a unit that looks 3 times a second gives 3 values."""
    frame = drive(80, **_LOOP, o2_b1s1_v=_refreshed(_ramp, 2.9))
    assert frame["hz_b1s1"][-1] == pytest.approx(20, abs=0.5)
    assert frame["fresh_hz_b1s1"][-1] == pytest.approx(2.9, abs=0.8)
    assert np.isnan(frame["switches_b1s1"][-1])
    assert frame.why("switches_b1s1").startswith("sampled at")


def test_a_unit_that_looks_as_often_as_it_is_asked_is_judged(drive: Build) -> None:
    """Fresh values on every edge leave the sample rate as it is."""
    frame = drive(80, **_LOOP, o2_b1s1_v=_ramp)
    assert frame["fresh_hz_b1s1"][-1] == pytest.approx(20, abs=0.5)
    assert frame["switches_b1s1"][-1] == pytest.approx(40, abs=1)


def test_a_sensor_at_rest_is_not_called_seldom_refreshed(drive: Build) -> None:
    """A parked sensor repeats its value because nothing moves it."""
    frame = drive(80, **_LOOP, o2_b1s1_v=0.45)
    assert frame["fresh_hz_b1s1"][-1] == pytest.approx(20, abs=0.5)


def test_repeats_prove_no_slow_edge(drive: Build) -> None:
    """An old value handed out again between the thresholds lengthens no edge."""
    frame = drive(120, **_LOOP, o2_b1s1_v=_refreshed(_ramp, 10.5))
    honest = drive(120, **_LOOP, o2_b1s1_v=_ramp)
    assert honest["lr_low_b1s1_ms"][-1] < 100
    assert not frame["lr_low_b1s1_ms"][-1] > honest["lr_low_b1s1_ms"][-1] + 10


def test_the_extremes_so_far_are_those_of_every_sample(drive: Build) -> None:
    """A dip between two ticks counts, and so does one long ago."""
    spike = {3: 0.02, 4: 0.93}
    frame = drive(
        60,
        **_LOOP,
        o2_b1s2_v=lambda t: np.array([spike.get(k, 0.6) for k in range(len(t))]),
    )
    column = frame.columns["o2_b1s2_v"]
    for tick in (0, 1, 2, 60, 120):
        seen = column.v[column.t <= frame.ticks[tick]]
        least = seen.min() if seen.size else np.nan
        most = seen.max() if seen.size else np.nan
        np.testing.assert_equal(frame["lowest_b1s2_v"][tick], least)
        np.testing.assert_equal(frame["highest_b1s2_v"][tick], most)
