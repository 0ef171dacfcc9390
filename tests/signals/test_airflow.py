"""Air density, filling and displacement from hand-written pulls."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.frame import Frame

Build = Callable[..., Frame]


def test_filling_of_the_worked_example(drive: Build) -> None:
    """20 g/s at 2000 rpm fill 2 L to 50.7 %: 1.2 g a cycle, 1.3605 g/s of fuel."""
    frame = drive(
        10, rpm=2000.0, maf_gps=20.0, baro_kpa=101.325, iat_c=25.0, litres=2.0
    )
    assert frame["density_gpl"][-1] == pytest.approx(1.1839, abs=5e-5)
    assert frame["ve_pct"][-1] == pytest.approx(50.7, abs=0.05)
    assert frame["grams_per_cycle"][-1] / 4 == pytest.approx(0.300, abs=5e-4)
    assert frame["fuel_gps"][-1] == pytest.approx(1.3605, abs=5e-5)


def test_a_sound_pull_and_a_low_one(drive: Build) -> None:
    """Full expected airflow makes a pull with ratio 1, 60 % of it makes a low one."""

    def pull(maf: float) -> Frame:
        return drive(
            20,
            rpm=5000.0,
            throttle_pct=lambda t: np.where(t < 8, 20.0, 90.0),
            maf_gps=maf,
            baro_kpa=101.325,
            iat_c=25.0,
            litres=3.5,
        )

    sound, low = pull(172.7 * 0.8), pull(172.7 * 0.8 * 0.6)
    assert sound["pull_ve_ratio"][-1] == pytest.approx(1.0, abs=0.01)
    assert (sound["pulls"][-1], sound["low_pulls"][-1]) == (1, 0)
    assert (low["pulls"][-1], low["low_pulls"][-1]) == (1, 1)


def test_displacement_follows_from_absolute_load(drive: Build) -> None:
    """Air mass and absolute load together give the displacement nobody told."""
    load = 100 * (40 * 120 / 2500) / (1.184 * 2.4)
    frame = drive(60, rpm=2500.0, maf_gps=40.0, abs_load_pct=load, throttle_pct=30.0)
    assert frame["displacement_l"][-1] == pytest.approx(2.4, abs=0.01)


def test_an_engine_without_air_meter_has_no_filling(drive: Build) -> None:
    """Manifold pressure alone gives no filling; the car does not support it."""
    frame = drive(10, rpm=2000.0, map_kpa=50.0, litres=2.0)
    assert np.isnan(frame["ve_pct"]).all()
    frame.columns.supported = frozenset({"rpm", "map_kpa"})
    assert frame.why("ve_pct") == "not supported by this car"
    assert frame["mass_air"][-1] == 0
