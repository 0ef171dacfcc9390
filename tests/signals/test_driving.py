"""Driving states, starts and fuel cuts from hand-written drives."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import Floats
from bankwise.signals.driving import Driving
from bankwise.signals.frame import Frame

Build = Callable[..., Frame]


def _from(moment: float, before: float, after: float) -> Callable[[Floats], Floats]:
    return lambda t: np.where(t < moment, before, after)


def test_off_cranking_and_idle_follow_each_other(drive: Build) -> None:
    """Zero is off, a starter's speed is cranking, standing at 750 rpm is idle."""
    frame = drive(
        20,
        rpm=lambda t: np.where(t < 5, 0, np.where(t < 7, 220, 750)),
        throttle_pct=14.0,
        speed_kmh=0.0,
    )
    state = frame["state"]
    assert state[8] == Driving.OFF
    assert state[12] == Driving.CRANKING
    assert state[20] == Driving.IDLE


def test_time_since_start_is_seen(drive: Build) -> None:
    """A start in the session counts from the tick at which the engine runs."""
    frame = drive(30, rpm=_from(10.0, 0, 800))
    assert frame["since_start_s"][-1] == pytest.approx(19.5)
    assert frame["start_seen"][-1] == 1


def test_time_since_start_is_told(drive: Build) -> None:
    """A session that begins with the engine running takes the car's own clock."""
    frame = drive(30, rpm=800.0, run_s=lambda t: np.floor(100 + t))
    assert frame["since_start_s"][-1] == pytest.approx(130, abs=1)
    assert frame["start_seen"][-1] == 0


def test_time_since_start_is_unknown(drive: Build) -> None:
    """Nobody saw the start and the car does not tell: no number, but a reason."""
    frame = drive(30, rpm=800.0)
    assert np.isnan(frame["since_start_s"]).all()
    assert frame.why("since_start_s") != ""


def test_a_fuel_cut_needs_the_pedal_at_rest(drive: Build) -> None:
    """Open loop with a touched pedal is no cut, even at the same fuel status."""
    frame = drive(
        40,
        rpm=lambda t: np.where(t < 10, 750, 2000),
        throttle_pct=lambda t: np.where(t < 25, 15.0, 17.5),
        speed_kmh=lambda t: np.where(t < 10, 0, 60),
        fuel_status_b1=lambda t: np.where(t < 12, 2, 4),
    )
    assert frame["fuel_cut"][2 * 20] == 1
    assert frame["fuel_cut"][2 * 30] == 0
    assert frame["cuts"][-1] == 1


def test_a_sensor_in_plain_air_confirms_the_cut(drive: Build) -> None:
    """A throttle a little above rest is a cut when the front sensor sees no fuel."""
    frame = drive(
        40,
        rpm=lambda t: np.where(t < 10, 750, 2000),
        throttle_pct=lambda t: np.where(t < 10, 15.0, 17.0),
        speed_kmh=lambda t: np.where(t < 10, 0, 60),
        fuel_status_b1=lambda t: np.where(t < 12, 2, 4),
        o2_b1s1_v=lambda t: np.where(t < 12, 0.7, 0.05),
    )
    assert frame["fuel_cut"][2 * 20] == 1


def test_wide_open_and_steady_cruise(drive: Build) -> None:
    """An open throttle is wide open, a held one at speed is steady cruise."""
    frame = drive(
        40,
        rpm=lambda t: np.where(t < 20, 2200.0, 3500.0),
        throttle_pct=lambda t: np.where(t < 2, 14.0, np.where(t < 20, 24.0, 85.0)),
        speed_kmh=90.0,
        load_pct=lambda t: np.where(t < 20, 40.0, 96.0),
    )
    assert frame["state"][2 * 15] == Driving.CRUISE
    assert frame["state"][2 * 30] == Driving.WIDE_OPEN
    assert frame["enrichments"][-1] == 1


def test_an_open_throttle_under_a_light_foot_is_not_wide_open(drive: Build) -> None:
    """An engine throttled by its valves opens the flap at part load: not wide open."""
    frame = drive(10, rpm=2000.0, throttle_pct=85.0, pedal_pct=30.0, speed_kmh=70.0)
    assert frame["wide_open"][-1] == 0


def test_enriching_needs_a_command_or_open_loop(drive: Build) -> None:
    """Wide open in closed loop at λ 1 is no enrichment; open loop by load is."""
    signals = {"rpm": 3000.0, "throttle_pct": 85.0, "speed_kmh": 70.0}
    closed = drive(10, **signals, fuel_status_b1=2.0, lambda_cmd=1.0)
    opened = drive(10, **signals, fuel_status_b1=4.0)
    assert closed["enriching"][-1] == 0
    assert opened["enriching"][-1] == 1


def test_states_without_throttle_or_speed(drive: Build) -> None:
    """A car that delivers engine speed alone still idles and runs."""
    frame = drive(20, rpm=_from(10.0, 800, 2500))
    assert frame["state"][10] == Driving.IDLE
    assert frame["state"][-1] != Driving.IDLE
    assert frame["off_idle"][-1] == 1


def test_the_newest_value_ages_out(drive: Build) -> None:
    """A signal that stops has no value two seconds later, and says for how long."""
    frame = _with_hole(drive)
    assert frame["rpm"][2 * 11] == 800
    assert np.isnan(frame["rpm"][2 * 14])
    assert "no value for" in frame.why("rpm")


def _with_hole(drive: Build) -> Frame:
    """A drive whose engine speed stops at ten seconds."""
    frame = drive(10, rpm=800.0, speed_kmh=0.0)
    columns = frame.columns
    t = np.arange(10.1, 20, 0.1)
    columns.extend("speed_kmh", t, np.zeros(len(t)), np.full(len(t), 0.02))
    frame.advance(columns, 40)
    return frame


def test_a_stale_load_makes_no_wide_open(drive: Build) -> None:
    """A load read seconds ago says nothing of a throttle that was lifted since."""
    frame = drive(
        40,
        rpm=2200.0,
        speed_kmh=80.0,
        throttle_pct=_from(23.0, 60.0, 40.0),
        load_pct=95.0,
        rates={"load_pct": 0.1},
    )
    assert frame["state"][42] == Driving.WIDE_OPEN
    assert frame["state"][54] != Driving.WIDE_OPEN


def test_a_standing_car_idles_above_its_lowest_throttle(drive: Build) -> None:
    """The plate closes further in overrun than at idle; standing at 680 rpm is idle."""
    frame = drive(
        60,
        rpm=_from(30.0, 1900, 680),
        speed_kmh=_from(30.0, 60, 0),
        throttle_pct=lambda t: np.where(t < 10, 20, np.where(t < 28, 12.2, 16.1)),
    )
    assert frame["state"][110] == Driving.IDLE
