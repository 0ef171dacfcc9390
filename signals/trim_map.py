"""The trim map: what each bank needed in each cell of engine speed and load.

Source: our choice: cells of 500 rpm by 10 % load, 3 s in the cell, at least 10 values.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import Bools, Floats
from bankwise.signals.frame import Frame
from bankwise.signals.windows import TICK_S

RPM_STEP, LOAD_STEP_PCT = 500.0, 10.0
SETTLE_S, LEAST = 3.0, 10
_LOADS = 100
"""Cell numbers per step of engine speed: more than there are load steps."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a bank's map.

    Attributes:
        rpm, load_pct: the cell's lower corner.
        median, iqr: of the total trim in it. Unit: percent.
        n: number of ticks in it.
    """

    rpm: float
    load_pct: float
    median: float
    iqr: float
    n: int


def load_of(frame: Frame) -> Floats:
    """Load by calculated load, else by manifold pressure. Unit: percent."""
    load = frame["load_pct"]
    return np.where(np.isnan(load), frame["map_kpa"], load)


def settled(cells: Floats) -> Bools:
    """Where a cell number has stood for three seconds."""
    width = round(SETTLE_S / TICK_S)
    changed = np.flatnonzero(np.diff(cells, prepend=np.nan) != 0)
    since = np.zeros(len(cells), dtype=np.intp)
    since[changed] = changed
    since = np.maximum.accumulate(since)
    ok: Bools = (np.arange(len(cells)) - since >= width) & ~np.isnan(cells)
    return ok


def cell_values(frame: Frame, bank: int) -> dict[tuple[float, float], Floats]:
    """Total trims of a bank by cell, in order of time; only cells that hold enough.

    Keys are the cell's lower corner in rpm and percent load, sorted. Unit: percent.
    """
    trim = frame[f"closed_trim_b{bank}_pct"]
    rpm = np.floor(frame["rpm"] / RPM_STEP)
    number = rpm * _LOADS + np.floor(load_of(frame) / LOAD_STEP_PCT)
    ok = settled(number) & ~np.isnan(trim)
    found = {}
    for cell in np.unique(number[ok]):
        values = trim[ok & (number == cell)]
        if len(values) >= LEAST:
            corner = cell // _LOADS * RPM_STEP, cell % _LOADS * LOAD_STEP_PCT
            found[float(corner[0]), float(corner[1])] = values
    return found


def trim_map(frame: Frame, bank: int) -> tuple[Cell, ...]:
    """The cells of one bank's map that hold enough, by engine speed, then load."""
    found = []
    for (rpm, load), values in cell_values(frame, bank).items():
        low, middle, high = np.percentile(values, (25, 50, 75))
        found.append(Cell(rpm, load, float(middle), float(high - low), len(values)))
    return tuple(found)
