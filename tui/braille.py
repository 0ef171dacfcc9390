"""Series to braille dots: least and greatest value a pixel column, then bits.

Columns of dots are aligned to absolute time (column k covers k·dt to (k+1)·dt), so a
trace keeps its shape while it moves. Nothing is drawn across a hole in the data.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bankwise.signals.columns import Floats

DOTS_X, DOTS_Y = 2, 4
"""Dots in a cell, across and down."""

BLANK = 0x2800
_BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], np.uint32)
_HOLE_INTERVALS = 4.0
_HOLE_S = 1.5
_USUAL = 64


def hole_s(t: Floats) -> float:
    """A gap longer than this is a hole, not a line. Unit: s.

    Four times the usual interval, and never under 1.5 s. Source: our choice, because
    a poll now and then comes late, and a lost link takes longer.
    """
    if len(t) < 3:
        return _HOLE_S
    gaps = np.diff(t[-_USUAL:])
    usual = float(np.partition(gaps, len(gaps) // 2)[len(gaps) // 2])
    return max(_HOLE_S, _HOLE_INTERVALS * usual)


def envelope(
    t: Floats, v: Floats, first: int, count: int, dt: float
) -> tuple[Floats, Floats]:
    """The least and greatest value in each of `count` columns from column `first`.

    Neighbouring columns join, because the line between two samples counts where it
    crosses a column's edge.

    Args:
        t: sample times, rising. Shape (n,). Unit: s.
        v: values; NaN is no value. Shape (n,).
        first: number of the first column.
        count: how many columns.
        dt: width of a column. Unit: s.

    Returns:
        Two arrays of shape (count,), NaN where there is nothing to draw.
    """
    edges = np.arange(first, first + count + 1) * dt
    start = max(int(np.searchsorted(t, edges[0], "right")) - 1, 0)
    stop = int(np.searchsorted(t, edges[-1], "right")) + 1
    t, v = t[start:stop], v[start:stop]
    known = np.isfinite(v)
    if not known.all():
        # A run without a value is a hole too: its neighbours must not join.
        before = np.concatenate(([False], ~known[:-1]))
        joins = ~before[known]
        t, v = t[known], v[known]
    else:
        joins = np.ones(len(t), dtype=bool)
    nothing = np.full(count, np.nan)
    if not len(t):
        return nothing, nothing.copy()
    if len(t) > 1:
        joins[1:] &= np.diff(t) <= hole_s(t)
    at = np.interp(edges, t, v)
    right = np.searchsorted(t, edges, "left")
    inside = (right > 0) & (right < len(t))
    inside &= joins[np.minimum(right, len(t) - 1)]
    at[~inside] = np.nan
    low, high = np.fmin(at[:-1], at[1:]), np.fmax(at[:-1], at[1:])
    begins = np.searchsorted(t, edges, "left")
    filled = np.flatnonzero(np.diff(begins) > 0)
    if len(filled):
        cut = v[: begins[-1]]
        starts = begins[filled]
        low[filled] = np.fmin(low[filled], np.minimum.reduceat(cut, starts))
        high[filled] = np.fmax(high[filled], np.maximum.reduceat(cut, starts))
    return low, high


def to_dots(
    low: Floats, high: Floats, bottom: float, top: float, rows: int
) -> npt.NDArray[np.bool_]:
    """The dots that a trace lights, at least two high so that it reads at a distance.

    Args:
        low: least value a column. Shape (n,).
        high: greatest value a column. Shape (n,).
        bottom: value of the lowest dot.
        top: value of the highest dot.
        rows: height in cells.

    Returns:
        Shape (4·rows, n); row 0 is the top. Values beyond the scale lie on its edge.
    """
    last = rows * DOTS_Y - 1
    scale = last / (top - bottom)
    known = np.isfinite(low)
    upper = np.where(
        known, last - np.rint((np.where(known, high, 0) - bottom) * scale), 0
    )
    lower = np.where(
        known, last - np.rint((np.where(known, low, 0) - bottom) * scale), 0
    )
    upper = np.clip(upper, 0, last - 1)
    lower = np.clip(np.maximum(lower, upper + 1), 1, last)
    y = np.arange(last + 1)[:, None]
    lit: npt.NDArray[np.bool_] = (y >= upper) & (y <= lower) & known
    return lit


def dash(lit: npt.NDArray[np.bool_], first: int) -> npt.NDArray[np.bool_]:
    """The trace with gaps, for when colour cannot tell two traces apart.

    The gaps are fixed in time, not on the screen. Shape as given.
    """
    period, drawn = 6, 4
    shown = (np.arange(first, first + lit.shape[1]) % period) < drawn
    return lit & shown


def to_cells(lit: npt.NDArray[np.bool_]) -> npt.NDArray[np.uint32]:
    """Braille code points less `BLANK` for a field of dots.

    Args:
        lit: shape (4·rows, 2·columns).

    Returns:
        Shape (rows, columns); 0 where no dot is lit.
    """
    rows, columns = lit.shape[0] // DOTS_Y, lit.shape[1] // DOTS_X
    field = lit.reshape(rows, DOTS_Y, columns, DOTS_X)
    bits: npt.NDArray[np.uint32] = np.einsum(
        "rycx,yx->rc", field.astype(np.uint32), _BITS
    )
    return bits
