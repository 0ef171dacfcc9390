"""Windowed figures, vectorised, that do not depend on how the data was cut.

Every sum runs over exactly the samples of its window (`ufunc.reduceat`), so a tick's
figure is the same bit for bit whether ticks are evaluated one at a time or all at once.
Differences of cumulative sums are used for whole numbers only, where they are exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bankwise.signals.columns import Bools, Column, Floats

TICK_S = 0.5
"""Distance of two ticks; tick k is at `k * TICK_S`. Unit: seconds.

Source: our choice, because flags hold for seconds and the screen reads well at it.
"""

Indices = npt.NDArray[np.intp]


class Growing:
    """An array of numbers that only grows at its end."""

    __slots__ = ("_cells", "n")

    def __init__(self) -> None:
        self._cells = np.empty(256)
        self.n = 0

    def extend(self, values: Floats) -> None:
        """Appends values; views handed out before stay valid and unchanged."""
        need = self.n + len(values)
        if need > len(self._cells):
            room = np.empty(max(need, 2 * len(self._cells)))
            room[: self.n] = self._cells[: self.n]
            self._cells = room
        self._cells[self.n : need] = values
        self.n = need

    def pad_to(self, n: int) -> None:
        """Appends NaN up to length `n`; nothing when it is that long already."""
        if n > self.n:
            self.extend(np.full(n - self.n, np.nan))

    @property
    def values(self) -> Floats:
        """All values so far; shape (n,)."""
        return self._cells[: self.n]


def reduce_windows(
    ufunc: np.ufunc,
    values: Floats,
    starts: Indices,
    ends: Indices,
    empty: float = np.nan,
) -> Floats:
    """Reduces `values[start:end]` for every window; `empty` where a window is.

    `starts` and `ends` have shape (n,) and must not decrease.
    """
    out = np.full(len(starts), empty)
    full = ends > starts
    if not full.all():
        starts, ends = starts[full], ends[full]
        if not len(starts):
            return out
    if ufunc in _IDEMPOTENT and _worth_powers(starts, ends):
        out[full] = _by_powers(ufunc, values, starts, ends)
        return out
    base, stop = starts[0], ends[-1]
    # reduceat cannot take an index at the very end, hence one cell more.
    cells = np.zeros(stop - base + 1)
    cells[:-1] = values[base:stop]
    edges = np.empty(2 * len(starts), dtype=np.intp)
    edges[0::2] = starts
    edges[1::2] = ends
    edges -= base
    out[full] = ufunc.reduceat(cells, edges)[::2]
    return out


_IDEMPOTENT = frozenset({np.minimum, np.maximum, np.fmin, np.fmax})
"""Extremes: a sample counted twice changes nothing, and no sum is rounded."""


def _worth_powers(starts: Indices, ends: Indices) -> bool:
    """Whether windows overlap so much that shared halves save work."""
    lengths = ends - starts
    levels = int(lengths.max()).bit_length()
    return int(lengths.sum()) > 3 * levels * int(ends[-1] - starts[0])


def _by_powers(
    ufunc: np.ufunc, values: Floats, starts: Indices, ends: Indices
) -> Floats:
    """An extreme of every window from two overlapping stretches of 2^k samples.

    The extremes of all stretches of 2^k samples come from those of half the length, so
    that windows that overlap share the work.
    """
    base = starts[0]
    low, high = starts - base, ends - base
    power = np.frexp((high - low).astype(np.float64))[1] - 1
    found = np.empty(len(starts))
    stretch: Floats = values[base : ends[-1]]
    for k in range(int(power.max()) + 1):
        here = np.flatnonzero(power == k)
        if len(here):
            last = high[here] - (1 << k)
            found[here] = ufunc(stretch[low[here]], stretch[last])
        half = 1 << k
        stretch = ufunc(stretch[:-half], stretch[half:])
    return found


@dataclass(frozen=True, slots=True)
class Window:
    """The samples of one column in the seconds before each tick.

    Window k holds the samples with `tick - seconds < t <= tick`: `starts[k]:ends[k]`.
    """

    column: Column
    starts: Indices
    ends: Indices
    ticks: Floats
    seconds: float

    @property
    def n(self) -> Floats:
        """Number of samples a window; shape (ticks,)."""
        return (self.ends - self.starts).astype(np.float64)

    def reduce(self, ufunc: np.ufunc, values: Floats, empty: float = np.nan) -> Floats:
        """Reduces a per-sample array over every window."""
        return reduce_windows(ufunc, values, self.starts, self.ends, empty)

    @property
    def minimum(self) -> Floats:
        """Smallest value a window, NaN when it is empty."""
        return self.reduce(np.minimum, self.column.v)

    @property
    def maximum(self) -> Floats:
        """Largest value a window, NaN when it is empty."""
        return self.reduce(np.maximum, self.column.v)

    @property
    def mean(self) -> Floats:
        """Plain mean of the values a window, NaN when it is empty."""
        n = np.where(self.ends > self.starts, self.ends - self.starts, np.nan)
        return self.reduce(np.add, self.column.v) / n

    @property
    def slope_per_s(self) -> Floats:
        """Least-squares slope a window, NaN with fewer than four samples."""
        n = self.n
        first = self.column.t[np.minimum(self.starts, len(self.column) - 1)]
        t, v = self.column.t, self.column.v
        sum_t = self.reduce(np.add, t) - n * first
        sum_v = self.reduce(np.add, v)
        sum_tt = (
            self.reduce(np.add, t * t)
            - 2.0 * first * (sum_t + n * first)
            + n * first * first
        )
        sum_tv = self.reduce(np.add, t * v) - first * sum_v
        below = n * sum_tt - sum_t * sum_t
        ok = (n >= 4) & (below > 1e-6)
        return np.where(
            ok, (n * sum_tv - sum_t * sum_v) / np.where(ok, below, 1.0), np.nan
        )


def window(column: Column, ticks: Floats, seconds: float) -> Window:
    """The samples of the last `seconds` before each tick."""
    ends = np.searchsorted(column.t, ticks, side="right")
    starts = np.searchsorted(column.t, ticks - seconds, side="right")
    return Window(column, starts, ends, ticks, seconds)


# Over arrays of ticks: `padded` holds `width - 1` values before the first tick judged.


def _tick_edges(padded: Floats, width: int) -> tuple[Indices, Indices]:
    starts = np.arange(len(padded) - width + 1)
    return starts, starts + width


def rolling(ufunc: np.ufunc, padded: Floats, width: int) -> Floats:
    """Reduces the last `width` ticks; use `fmin`/`fmax` to pass over unknowns."""
    return reduce_windows(ufunc, padded, *_tick_edges(padded, width))


def rolling_count(padded: Bools, width: int) -> Floats:
    """How many of the last `width` ticks are true."""
    total = np.cumsum(padded)
    out = total[width - 1 :].astype(np.float64)
    out[1:] -= total[: len(padded) - width]
    return out


def rolling_mean(padded: Floats, width: int, at_least: int) -> Floats:
    """Mean of the known values of the last `width` ticks, NaN with too few."""
    known = ~np.isnan(padded)
    count = rolling_count(known, width)
    total = rolling(np.add, np.where(known, padded, 0.0), width)
    return np.where(count >= at_least, total / np.maximum(count, 1.0), np.nan)


def medians(rows: Floats, at_least: int) -> Floats:
    """Median of the known values of each row, NaN with fewer than `at_least`."""
    ordered = np.sort(rows, axis=1)  # NaN sorts last
    count = np.sum(~np.isnan(rows), axis=1)
    each = np.arange(len(rows))
    low = ordered[each, np.maximum((count - 1) // 2, 0)]
    high = ordered[each, np.minimum(count // 2, rows.shape[1] - 1)]
    return np.where(count >= at_least, (low + high) / 2.0, np.nan)


def rolling_median(padded: Floats, width: int, at_least: int) -> Floats:
    """Median of the known values of the last `width` ticks, NaN with too few."""
    return medians(np.lib.stride_tricks.sliding_window_view(padded, width), at_least)


def held(values: Floats, before: float) -> Floats:
    """Every unknown takes the last known value, `before` when there is none."""
    known = ~np.isnan(values)
    if known.all():
        return values
    at = np.maximum.accumulate(np.where(known, np.arange(len(values)), -1))
    return np.where(at >= 0, values[np.maximum(at, 0)], before)


def clock(flags: Bools, before: float) -> Floats:
    """Seconds since a flag became true and stayed so: 0 at its first tick, else NaN.

    `before` is the clock one tick earlier, NaN when the flag was false.
    """
    at = np.arange(len(flags))
    last_false = np.maximum.accumulate(np.where(flags, -1, at))
    since = (at - last_false - 1) * TICK_S
    carried = 0.0 if np.isnan(before) else before + TICK_S
    whole = np.where(last_false < 0, at * TICK_S + carried, since)
    return np.where(flags, whole, np.nan)


def yes(flags: Bools) -> Floats:
    """True as 1, false as 0."""
    return flags.astype(np.float64)


def tick_times(lo: int, hi: int) -> Floats:
    """Times of the ticks `lo` to `hi`. Unit: seconds."""
    return np.arange(lo, hi, dtype=np.float64) * TICK_S
