"""Least and greatest value a pixel column, and the dots they light."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bankwise.tui import braille

_FLAT = np.array([0.5])


def test_a_column_holds_the_least_and_greatest_sample() -> None:
    """Three samples in one column give its two extremes."""
    t = np.array([10.1, 10.5, 10.9])
    low, high = braille.envelope(t, np.array([3.0, 9.0, 5.0]), 10, 1, 1.0)
    assert (low[0], high[0]) == (3.0, 9.0)


def test_neighbouring_columns_join() -> None:
    """The line between two samples counts where it crosses the edge of a column."""
    low, high = braille.envelope(np.array([0.5, 1.5]), np.array([0.0, 10.0]), 0, 2, 1.0)
    assert high.tolist() == [5.0, 10.0]
    assert low.tolist() == [0.0, 5.0]


def test_nothing_is_drawn_across_a_hole() -> None:
    """Ten silent seconds between samples once a second stay empty."""
    t = np.concatenate((np.arange(0.0, 5.0), np.arange(15.0, 20.0)))
    low, _ = braille.envelope(t, np.ones(len(t)), 0, 20, 1.0)
    assert np.isnan(low[5:15]).all()
    assert np.isfinite(low[:5]).all()
    assert np.isfinite(low[15:]).all()


def test_a_value_that_does_not_exist_breaks_the_line() -> None:
    """Samples on both sides of a missing value are not joined over it."""
    t = np.arange(0.0, 6.0)
    v = np.array([1.0, 1.0, np.nan, np.nan, 1.0, 1.0])
    low, _ = braille.envelope(t, v, 0, 6, 1.0)
    assert np.isnan(low).tolist() == [False, False, True, True, False, False]


def test_columns_keep_their_shape_while_they_move() -> None:
    """A column has the same extremes wherever the window begins."""
    t = np.arange(0.0, 30.0, 0.13)
    v = np.sin(t)
    whole, _ = braille.envelope(t, v, 0, 100, 0.25)
    part, _ = braille.envelope(t, v, 37, 20, 0.25)
    np.testing.assert_allclose(part, whole[37:57])


@given(
    st.lists(st.floats(0, 50), min_size=0, max_size=40),
    st.integers(-5, 60),
    st.integers(1, 50),
)
def test_any_series_gives_one_range_a_column(
    times: list[float], first: int, count: int
) -> None:
    """Whatever the samples, low never exceeds high and no value is invented."""
    t = np.array(sorted(times))
    v = np.cos(t)
    low, high = braille.envelope(t, v, first, count, 0.5)
    known = np.isfinite(low)
    assert low.shape == high.shape == (count,)
    assert (low[known] <= high[known] + 1e-9).all()
    if len(v):
        assert (low[known] >= v.min() - 1e-9).all()
        assert (high[known] <= v.max() + 1e-9).all()


def test_a_flat_trace_is_two_dots_thick() -> None:
    """A single value lights two dots of a column, so it reads at arm's length."""
    lit = braille.to_dots(_FLAT, _FLAT, 0.0, 1.0, 3)
    assert lit.sum() == 2


def test_values_beyond_the_scale_lie_on_its_edge() -> None:
    """Too high a value is drawn at the top, too low a one at the bottom."""
    over = braille.to_dots(np.array([9.0]), np.array([9.0]), 0.0, 1.0, 2)
    under = braille.to_dots(np.array([-9.0]), np.array([-9.0]), 0.0, 1.0, 2)
    assert over[:2, 0].all()
    assert under[-2:, 0].all()


def test_nothing_known_lights_nothing() -> None:
    """A column without a value stays dark."""
    nan = np.array([np.nan])
    assert not braille.to_dots(nan, nan, 0.0, 1.0, 2).any()


def test_dots_become_the_braille_characters_of_unicode() -> None:
    """The left column alone is ⡇, the right one ⢸, both ⣿."""
    left = np.zeros((4, 2), dtype=bool)
    left[:, 0] = True
    cells = [braille.to_cells(field) for field in (left, left[:, ::-1], left | True)]
    assert [chr(int(c[0, 0]) + braille.BLANK) for c in cells] == ["⡇", "⢸", "⣿"]


def test_dashes_are_fixed_in_time() -> None:
    """A dashed trace has gaps, and the same ones when the window moves."""
    lit = np.ones((4, 40), dtype=bool)
    dashed = braille.dash(lit, 100)
    assert not dashed.all()
    np.testing.assert_array_equal(dashed[:, 6:], braille.dash(lit[:, 6:], 106))
