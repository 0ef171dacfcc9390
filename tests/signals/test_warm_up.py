"""Warm-up: slope, plateau, closed-loop entry, gates that open for what is missing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.frame import Frame

Build = Callable[..., Frame]


def test_the_slope_of_a_steady_warm_up(drive: Build) -> None:
    """Six degrees a minute in whole degrees every five seconds are found as six."""
    frame = drive(
        200,
        rpm=900.0,
        hz=2.0,
        rates={"ect_c": 0.2},
        ect_c=lambda t: np.round(20 + t / 10.0),
    )
    assert frame["ect_slope_cpm"][-1] == pytest.approx(6.0, abs=0.15)
    assert np.isnan(frame["plateau_c"][-1])


def test_a_plateau_below_warm_is_said_not_silenced(drive: Build) -> None:
    """Coolant that settles at 62 °C opens the gate after 15 min and is marked so."""
    frame = drive(
        1000,
        hz=1.0,
        rpm=lambda t: np.where(t < 2, 0.0, 900.0),
        ect_c=lambda t: np.round(np.minimum(20 + t / 10.0, 62.0)),
    )
    assert frame["plateau_c"][-1] == pytest.approx(62.0)
    assert frame["regulating_low"][-1] == 1
    assert frame["warm"][-1] == 1
    assert frame["warm"][2 * 600] == 0


def test_closed_loop_entry_is_timed_per_bank(drive: Build) -> None:
    """Each bank's entry counts from the start, its own first closed loop."""
    frame = drive(
        100,
        rpm=lambda t: np.where(t < 5, 0.0, 900.0),
        fuel_status_b1=lambda t: np.where(t < 35, 1.0, 2.0),
        fuel_status_b2=lambda t: np.where(t < 55, 1.0, 2.0),
        stft_b2_pct=0.0,
    )
    assert frame["closed_loop_entry_b1_s"][-1] == pytest.approx(30, abs=1)
    assert frame["closed_loop_entry_b2_s"][-1] == pytest.approx(50, abs=1)


def test_no_entry_time_for_a_session_that_begins_closed(drive: Build) -> None:
    """Already in closed loop, and the car tells its run time: no entry, but why."""
    frame = drive(60, rpm=900.0, run_s=lambda t: 300 + t, fuel_status_b1=2.0)
    assert np.isnan(frame["closed_loop_entry_b1_s"]).all()
    assert frame.why("closed_loop_entry_b1_s") == (
        "already in closed loop when the session began"
    )


def test_the_gate_waits_for_a_minute_of_closed_loop(drive: Build) -> None:
    """The bank's gate opens 60 s after its first closed loop, not before."""
    frame = drive(100, rpm=900.0, ect_c=90.0, module_v=14.0, fuel_status_b1=2.0)
    gate = frame["gate_b1"]
    assert gate[2 * 55] == 0
    assert gate[2 * 65] == 1


def test_missing_signals_open_the_gate_in_words(drive: Build) -> None:
    """Without voltage, coolant and status the gate is open and says what is missing."""
    frame = drive(30, rpm=900.0)
    assert frame["gate_b1"][-1] == 1
    assert "no fuel system status" in frame.missing("B1")
    assert "no voltage reading" in frame.missing("B1")


def test_low_voltage_shuts_the_gate(drive: Build) -> None:
    """Below 11 V nothing is judged."""
    frame = drive(10, rpm=900.0, module_v=10.4)
    assert frame["gate_engine"][-1] == 0
