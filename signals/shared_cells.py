"""Trims of two drives in the cells of speed and load that both have driven.

The difference of two medians gets an interval by the block bootstrap: whole stretches
of five seconds are drawn, because neighbouring values of a drive depend on each other.
Source: Künsch 1989, the moving-block idea; block length is our choice. Draws come from
a fixed seed, so the same two drives always give the same interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bankwise.signals.columns import Floats
from bankwise.signals.frame import Frame
from bankwise.signals.trim_map import cell_values
from bankwise.signals.windows import TICK_S

BLOCK_S = 5.0
"""Length of a block. Unit: s. Our choice: a few periods of the trim's own swing."""
DRAWS = 1000
LEVEL_PCT = 95.0
_SEED = 7


@dataclass(frozen=True, slots=True)
class SharedCell:
    """One cell of one bank that both drives held.

    Attributes:
        bank: 1 or 2.
        rpm, load_pct: the cell's lower corner.
        before, after: median total trim. Unit: percent.
        low, high: 95 % interval of after minus before. Unit: percent.
        n_before, n_after: ticks in it.
    """

    bank: int
    rpm: float
    load_pct: float
    before: float
    after: float
    low: float
    high: float
    n_before: int
    n_after: int

    @property
    def changed(self) -> bool:
        """True when the interval leaves out zero."""
        return self.low > 0 or self.high < 0


def shared_cells(before: Frame, after: Frame, bank: int) -> tuple[SharedCell, ...]:
    """The cells of one bank that both drives held, by engine speed, then load."""
    earlier, later = cell_values(before, bank), cell_values(after, bank)
    found = []
    for rpm, load in sorted(earlier.keys() & later.keys()):
        one, two = earlier[rpm, load], later[rpm, load]
        low, high = median_difference(one, two)
        found.append(
            SharedCell(
                bank,
                rpm,
                load,
                float(np.median(one)),
                float(np.median(two)),
                low,
                high,
                len(one),
                len(two),
            )
        )
    return tuple(found)


def median_difference(one: Floats, two: Floats) -> tuple[float, float]:
    """The 95 % interval of the median of `two` minus that of `one`.

    Args:
        one: values at ticks before, in order of time; at least one.
        two: the same, after.
    """
    rng = np.random.default_rng(_SEED)
    drawn = _drawn_medians(two, rng) - _drawn_medians(one, rng)
    tail = (100.0 - LEVEL_PCT) / 2
    low, high = np.percentile(drawn, (tail, 100.0 - tail))
    return float(low), float(high)


def _drawn_medians(values: Floats, rng: np.random.Generator) -> Floats:
    """Medians of series made of blocks drawn with replacement. Shape (DRAWS,)."""
    length = min(round(BLOCK_S / TICK_S), len(values))
    starts = rng.integers(
        0, len(values) - length + 1, (DRAWS, -(-len(values) // length))
    )
    index: npt.NDArray[np.intp] = starts[:, :, None] + np.arange(length)
    medians: Floats = np.median(values[index.reshape(DRAWS, -1)], axis=1)
    return medians
