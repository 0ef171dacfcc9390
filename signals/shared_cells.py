"""Trims of two drives in the cells of speed and load that both have driven.

The difference of two medians gets an interval by the block bootstrap: whole stretches
are drawn, because neighbouring values of a drive depend on each other (Künsch 1989, the
moving-block idea). A stretch is three times as long as the trims of these two drives
remember, 2.5 s at least; what few stretches say is widened as Student's t asks, and
fewer than three say nothing. On wandering series with a memory of 0.5 to 8 s, held for
10 s to 4 min, 93 % of the intervals held the truth (83 to 100 %, 150 pairs each); with
stretches of 5 s and no widening 29 to 90 %.
Draws come from a fixed seed, so the same two drives always give the same interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bankwise.signals.columns import Floats
from bankwise.signals.frame import Frame
from bankwise.signals.trim_map import cell_values
from bankwise.signals.windows import TICK_S

BLOCK_S = 2.5
"""Least length of a block. Unit: s. Our choice: two periods of the trim's own swing."""
MEMORIES = 3.0
"""Length of a block in memories. Our choice, by trying 2, 3 and 4 on series whose truth
is known."""
LEAST_BLOCKS = 3.0
"""Fewer blocks say nothing of how much a median varies. Our choice, tried likewise."""
DRAWS = 1000
_SEED = 7
_MOST_ALIKE = 0.999
COUNT_PCT = 100 / 128
"""Each median is only known to half a count of a trim's byte: the interval is widened
by one count, half for each drive. Source: J1979 PID 06."""

_FREEDOM = np.array([2.0, 3, 4, 5, 6, 8, 10, 15, 20, 30, 60, 120, 1e9])
_T = np.array(
    [
        4.303,
        3.182,
        2.776,
        2.571,
        2.447,
        2.306,
        2.228,
        2.131,
        2.086,
        2.042,
        2.0,
        1.98,
        1.96,
    ]
)
"""Student's t at 97.5 %: a 95 % interval. Source: statistical tables, from memory; a
test holds them against another program."""


@dataclass(frozen=True, slots=True)
class SharedCell:
    """One cell of one bank that both drives held.

    Attributes:
        bank: 1 or 2.
        rpm, load_pct: the cell's lower corner.
        before, after: median total trim. Unit: percent.
        low, high: 95 % interval of after minus before; None when the cell was held
            too shortly to give one. Unit: percent.
        n_before, n_after: ticks in it.
        after_low, after_high: 95 % interval of `after` itself; None when the cell was
            held too shortly after. Unit: percent.
        needs, needs_after: ticks that each drive must hold it for an interval of the
            change, and the later drive for one of its own.
    """

    bank: int
    rpm: float
    load_pct: float
    before: float
    after: float
    low: float | None
    high: float | None
    n_before: int
    n_after: int
    after_low: float | None = None
    after_high: float | None = None
    needs: int = 0
    needs_after: int = 0

    @property
    def changed(self) -> bool:
        """True when there is an interval and it leaves out zero."""
        if self.low is None or self.high is None:
            return False
        return self.low > 0 or self.high < 0


def shared_cells(before: Frame, after: Frame, bank: int) -> tuple[SharedCell, ...]:
    """The cells of one bank that both drives held, by engine speed, then load."""
    earlier, later = cell_values(before, bank), cell_values(after, bank)
    block = block_ticks([*earlier.values(), *later.values()])
    own = block_ticks([*later.values()])
    found = []
    for rpm, load in sorted(earlier.keys() & later.keys()):
        one, two = earlier[rpm, load], later[rpm, load]
        interval = median_difference(one, two, block)
        low, high = interval or (None, None)
        after_low, after_high = median_interval(two, own) or (None, None)
        found.append(
            SharedCell(
                bank,
                rpm,
                load,
                float(np.median(one)),
                float(np.median(two)),
                None if low is None else low - COUNT_PCT,
                None if high is None else high + COUNT_PCT,
                len(one),
                len(two),
                None if after_low is None else after_low - COUNT_PCT / 2,
                None if after_high is None else after_high + COUNT_PCT / 2,
                round(LEAST_BLOCKS * block),
                round(LEAST_BLOCKS * own),
            )
        )
    return tuple(found)


def block_ticks(cells: Sequence[Floats]) -> int:
    """How long a block must be, from how long the values of all cells remember.

    The memory is that of a series that forgets exponentially with the same correlation
    of neighbours, pooled over the cells.

    Args:
        cells: values at ticks, a series a cell, in order of time.
    """
    apart = [values - np.median(values) for values in cells]
    whole = sum(float((a * a).sum()) for a in apart)
    pairs = sum(float((a[1:] * a[:-1]).sum()) for a in apart)
    likeness = min(max(pairs / whole, 0.0), _MOST_ALIKE) if whole else 0.0
    memory = -1.0 / np.log(likeness) if likeness else 0.0
    return max(round(BLOCK_S / TICK_S), round(MEMORIES * memory))


def median_difference(
    one: Floats, two: Floats, block: int = round(BLOCK_S / TICK_S)
) -> tuple[float, float] | None:
    """The 95 % interval of the median of `two` minus that of `one`.

    None when either holds fewer than three blocks.

    Args:
        one: values at ticks before, in order of time; at least one.
        two: the same, after.
        block: length of a block. Unit: ticks.
    """
    blocks = min(len(one), len(two)) / block
    if blocks < LEAST_BLOCKS:
        return None
    rng = np.random.default_rng(_SEED)
    drawn = _drawn_medians(two, block, rng) - _drawn_medians(one, block, rng)
    half = _half_width(drawn, blocks)
    middle = float(np.median(two) - np.median(one))
    return middle - half, middle + half


def median_interval(
    values: Floats, block: int = round(BLOCK_S / TICK_S)
) -> tuple[float, float] | None:
    """The 95 % interval of a median; None when it holds fewer than three blocks.

    Args:
        values: in order of time; at least one.
        block: length of a block. Unit: ticks.
    """
    blocks = len(values) / block
    if blocks < LEAST_BLOCKS:
        return None
    drawn = _drawn_medians(values, block, np.random.default_rng(_SEED))
    half = _half_width(drawn, blocks)
    middle = float(np.median(values))
    return middle - half, middle + half


def _half_width(drawn: Floats, blocks: float) -> float:
    t = np.interp(1 / (blocks - 1), 1 / _FREEDOM[::-1], _T[::-1])
    return float(t * np.std(drawn) * np.sqrt(blocks / (blocks - 1)))


def _drawn_medians(values: Floats, block: int, rng: np.random.Generator) -> Floats:
    """Medians of series made of blocks drawn with replacement. Shape (DRAWS,)."""
    size = len(values)
    starts = rng.integers(0, size - block + 1, (DRAWS, -(-size // block)))
    index: npt.NDArray[np.intp] = starts[:, :, None] + np.arange(block)
    medians: Floats = np.median(values[index.reshape(DRAWS, -1)[:, :size]], axis=1)
    return medians
