"""Response bounds by simulation: the truth is never outside what is claimed."""

from __future__ import annotations

import numpy as np
import pytest

from bankwise.signals.columns import Column
from bankwise.signals.tracks import Track, volts


def _passes(
    seed: int, hz: float, jitter: float, interval_s: float
) -> tuple[int, int, float, float]:
    """Random ramps, randomly sampled.

    Returns:
        How many passes, how many bounds were wrong, the mean error of the middles and
        its standard error.
    """
    rng = np.random.default_rng(seed)
    count = 3000
    length = rng.uniform(0.03, 0.9, count)
    # Each edge has two seconds: a ramp of its length between 300 and 600 mV.
    middles = np.arange(count) * 2.0 + rng.uniform(0.9, 1.1, count)
    steps = rng.uniform(1 - jitter, 1 + jitter, int(count * 2.0 * hz * 1.2)) / hz
    true_t = np.cumsum(steps)
    true_t = true_t[true_t < count * 2.0]
    edge = np.minimum((true_t / 2.0).astype(int), count - 1)
    slope = 0.3 / length[edge]
    rising = np.where(edge % 2 == 0, 1.0, -1.0)
    v = np.clip(0.45 + rising * slope * (true_t - middles[edge]), 0.05, 0.85)
    # The value was really taken anywhere inside its interval.
    noted = true_t + rng.uniform(-0.5, 0.5, len(true_t)) * interval_s
    order = np.argsort(noted, kind="stable")
    column = Column()
    column.extend(noted[order], v[order], np.full(len(v), interval_s))
    track = Track(volts)
    track.follow(column, len(column))
    at = track["pass_at"].astype(int)
    truth = length[np.minimum((column.t[at] / 2.0).astype(int), count - 1)]
    wrong = (track["low_s"] > truth + 1e-9) | (track["high_s"] < truth - 1e-9)
    off = track["middle_s"] - truth
    return (
        len(at),
        int(wrong.sum()),
        float(off.mean()),
        float(off.std()) / len(at) ** 0.5,
    )


@pytest.mark.parametrize("hz", [4.0, 8.0, 12.0, 25.0, 50.0])
@pytest.mark.parametrize("interval_s", [0.0, 0.01])
def test_no_pass_lies_outside_its_bounds(hz: float, interval_s: float) -> None:
    """In thousands of random passes not one true time lies outside its bounds."""
    passes, wrong, _, _ = _passes(int(hz), hz, 0.4, interval_s)
    assert passes > 2000
    assert wrong == 0


@pytest.mark.parametrize("hz", [8.0, 12.0, 25.0])
def test_the_middles_are_right_on_average(hz: float) -> None:
    """Averaged over passes, the middles of the bounds are the true time at any rate."""
    _, _, off, error = _passes(5, hz, 0.0, 0.01)
    assert error < 0.002
    assert abs(off) < 4 * error


def test_even_sampling_gives_the_textbook_bounds() -> None:
    """With n samples strictly between, the bounds are (n−1)·Ts and (n+1)·Ts."""
    column = Column()
    t = np.arange(0, 3, 0.1)
    v = np.clip(0.1 + (t - 1.0) * 0.6, 0.1, 0.8)
    column.extend(t, v, np.zeros(len(t)))
    track = Track(volts)
    track.follow(column, len(column))
    n = int(np.count_nonzero((v >= 0.3) & (v <= 0.6)))
    assert track["low_s"] == pytest.approx([(n - 1) * 0.1])
    assert track["high_s"] == pytest.approx([(n + 1) * 0.1])
