"""Switching figures against scipy and against simulation, on uneven sampling."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.signal import lombscargle

from bankwise.signals.columns import Columns, Floats
from bankwise.signals.frame import Frame
from bankwise.signals.thresholds import DEFAULTS

SECONDS = 60.0


def _uneven(rng: np.random.Generator, hz: float) -> Floats:
    steps = rng.uniform(0.6, 1.4, int(SECONDS * hz * 1.1)) / hz
    t = np.cumsum(steps)
    return t[t < SECONDS]


def _frame(t: Floats, v: Floats) -> Frame:
    columns = Columns()
    columns.extend("o2_b1s1_v", t, v, np.full(len(t), 0.03))
    for name, value in (("rpm", 2000.0), ("fuel_status_b1", 2.0), ("ect_c", 90.0)):
        at = np.arange(0, SECONDS, 0.2)
        columns.extend(name, at, np.full(len(at), value), np.full(len(at), 0.03))
    frame = Frame(DEFAULTS)
    frame.advance(columns, int(SECONDS * 2) + 1)
    return frame


@pytest.mark.parametrize("hz", [0.37, 0.6, 0.83, 1.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_frequency_agrees_with_a_lomb_scargle_spectrum(hz: float, seed: int) -> None:
    """The crossings give the frequency at which scipy's spectrum peaks, within 5 %."""
    rng = np.random.default_rng(seed)
    t = _uneven(rng, 12.0)
    v = (
        0.45
        + 0.35 * np.tanh(4 * np.sin(2 * np.pi * hz * t))
        + rng.normal(0, 0.01, len(t))
    )
    last = t > SECONDS - 20.5
    tried = np.linspace(0.1, 3.0, 3000)
    power = lombscargle(t[last], v[last] - v[last].mean(), 2 * np.pi * tried)
    peak = tried[np.argmax(power)]
    found = _frame(t, v)["switching_hz_b1s1"][-1]
    assert peak == pytest.approx(hz, rel=0.03)
    # Twenty seconds hold a whole number of crossings: one more or less at the ends.
    assert found == pytest.approx(peak, abs=0.05 * peak + 1 / 40)


@pytest.mark.parametrize("level", [-0.6, 0.0, 0.5])
def test_time_rich_agrees_with_an_integral(level: float) -> None:
    """The share above 450 mV agrees with a fine numerical integral of the true wave."""
    t = _uneven(np.random.default_rng(7), 12.0)

    def wave(at: Floats) -> Floats:
        volts: Floats = 0.45 + 0.35 * np.tanh(5 * (np.sin(np.pi * at) - level))
        return volts

    fine = np.linspace(SECONDS - 20, SECONDS, 200_001)
    truth = 100 * trapezoid((wave(fine) > 0.45).astype(float), fine) / 20.0
    found = _frame(t, wave(t))["time_rich_b1s1_pct"][-1]
    assert found == pytest.approx(truth, abs=2.0)


def test_slow_polling_never_gives_a_switch_count() -> None:
    """A 2 Hz sensor polled at 2 Hz looks stuck, at 4 Hz like 1 Hz: neither is said."""
    rng = np.random.default_rng(3)
    for rate in (1.0, 2.0, 4.0):
        t = _uneven(rng, rate)
        v = np.where((2.0 * t) % 1.0 < 0.5, 0.8, 0.1)
        frame = _frame(t, v)
        assert np.isnan(frame["switches_b1s1"]).all()
        assert "needs 10 Hz" in frame.why("switches_b1s1")
