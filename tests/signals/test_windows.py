"""Windowed figures against the plain loop they replace."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.signals.columns import Column, Floats
from bankwise.signals.windows import (
    _worth_powers,
    clock,
    held,
    reduce_windows,
    rolling_count,
    rolling_median,
    window,
)

_NUMBERS = st.floats(-100, 100, width=32)


def _column(t: Floats, v: Floats) -> Column:
    column = Column()
    column.extend(t, v, np.zeros(len(t)))
    return column


@given(
    st.lists(st.floats(0.01, 3.0), min_size=1, max_size=60),
    st.floats(0.5, 20.0),
)
def test_a_window_holds_exactly_its_samples(steps: list[float], seconds: float) -> None:
    """Sums, extremes and counts are those of a loop over (tick − W, tick]."""
    t = np.cumsum(np.array(steps))
    v = np.sin(7 * t)
    ticks = np.arange(0, t[-1] + 5, 0.5)
    w = window(_column(t, v), ticks, seconds)
    for k, tick in enumerate(ticks):
        inside = v[(t > tick - seconds) & (t <= tick)]
        assert w.n[k] == len(inside)
        if len(inside):
            assert w.maximum[k] == inside.max()
            assert w.minimum[k] == inside.min()
            assert w.mean[k] == pytest.approx(inside.mean(), abs=1e-12)
        else:
            assert np.isnan(w.maximum[k])


def test_windows_with_gaps_between_them_do_not_leak() -> None:
    """Windows that do not touch sum only their own cells."""
    values = np.arange(10.0)
    starts, ends = np.array([0, 3, 3, 8]), np.array([2, 3, 5, 10])
    found = reduce_windows(np.add, values, starts, ends)
    assert found[[0, 2, 3]].tolist() == [1.0, 7.0, 17.0]
    assert np.isnan(found[1])


def test_the_slope_is_the_least_squares_slope() -> None:
    """The slope of a window agrees with numpy's own fit, late in a long session too."""
    rng = np.random.default_rng(4)
    t = 28_000 + np.sort(rng.uniform(0, 120, 30))
    v = 0.1 * t + rng.normal(0, 1, 30)
    w = window(_column(t, v), np.array([28_120.0]), 120.0)
    assert w.slope_per_s[0] == pytest.approx(np.polyfit(t - t[0], v, 1)[0], rel=1e-6)


@given(st.lists(st.one_of(_NUMBERS, st.just(float("nan"))), min_size=1, max_size=40))
def test_the_rolling_median_passes_over_unknowns(values: list[float]) -> None:
    """The median is that of the known values, and unknown when they are too few."""
    width, least = 5, 2
    padded = np.concatenate((np.full(width - 1, np.nan), np.array(values)))
    found = rolling_median(padded, width, least)
    for k in range(len(values)):
        known = padded[k : k + width]
        known = known[~np.isnan(known)]
        if len(known) < least:
            assert np.isnan(found[k])
        else:
            assert found[k] == pytest.approx(np.median(known))


@given(st.lists(st.booleans(), min_size=1, max_size=40), st.integers(1, 8))
def test_the_rolling_count_counts(flags: list[bool], width: int) -> None:
    """The count covers the last `width` ticks."""
    padded = np.concatenate((np.zeros(width - 1, dtype=bool), np.array(flags)))
    found = rolling_count(padded, width)
    expected = [padded[k : k + width].sum() for k in range(len(flags))]
    assert found.tolist() == expected


def test_the_clock_starts_at_zero_and_goes_on_across_pieces() -> None:
    """A flag's clock counts from its first tick; a second piece carries it on."""
    flags = np.array([True, True, False, True])
    assert clock(flags, np.nan)[[0, 1, 3]].tolist() == [0.0, 0.5, 0.0]
    assert np.isnan(clock(flags, np.nan)[2])
    assert clock(flags, 2.0)[:2].tolist() == [2.5, 3.0]


def test_held_takes_the_last_known_value() -> None:
    """Unknowns take what was known before them, and `before` at the start."""
    nan = np.nan
    assert held(np.array([nan, 1.0, nan, 2.0, nan]), 7.0).tolist() == [7, 1, 1, 2, 2]


@pytest.mark.parametrize("ufunc", [np.minimum, np.maximum, np.fmin, np.fmax])
@pytest.mark.parametrize("width", [1, 2, 31, 64, 65, 700])
def test_extremes_of_overlapping_windows_are_those_of_their_samples(
    ufunc: np.ufunc, width: int
) -> None:
    """Shared halves change no value, with unknowns and empty windows among them."""
    rng = np.random.default_rng(width)
    values = rng.normal(size=2000).round(1)
    values[rng.random(2000) < 0.03] = np.nan
    ends = np.sort(rng.integers(0, 2000, 1500))
    starts = np.maximum(ends - rng.integers(width // 2, width + 1, 1500), 0)
    starts = np.maximum.accumulate(starts)
    starts = np.minimum(starts, ends)
    assert _worth_powers(starts, ends) == (width >= 64)
    expected = [
        ufunc.reduce(values[a:b]) if b > a else np.nan
        for a, b in zip(starts, ends, strict=True)
    ]
    found = reduce_windows(ufunc, values, starts, ends)
    np.testing.assert_array_equal(found, expected)
