"""Misfires as the control unit counts them, cylinder by cylinder.

The counts come with the on-board test results (service 06, monitors A2 and on), once in
a while, and start at zero with each drive.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import Bools, Column, Columns, Floats

PER_S = 0.2
"""So many misfires a second in one cylinder are not chance.

Source: our choice: 2 % of its combustions at 1200 rpm, the order at which makers' units
call it a fault.
"""

APART_S, STALE_S = 10.0, 150.0
"""Two counts must lie this far apart to give a rate, and one this old is past.

Source: our choice, because a handful within a moment is a bump in the road.
"""

_NAME = re.compile(r"misfire_count_c(\d+)\Z")


@dataclass(frozen=True, slots=True)
class Counted:
    """What one cylinder counted between two readings.

    Attributes:
        cylinder: its number.
        misfires: how many came.
        seconds: in which time.
    """

    cylinder: int
    misfires: float
    seconds: float

    @property
    def per_s(self) -> float:
        """Misfires a second."""
        return self.misfires / self.seconds


def _cylinders(columns: Columns) -> Iterator[tuple[int, Column]]:
    for name, column in columns.signals.items():
        found = _NAME.match(name)
        if found and len(column):
            yield int(found[1]), column


def rate(column: Column, t: float) -> float:
    """Misfires a second between the newest reading and one before, NaN without two."""
    end = int(np.searchsorted(column.t, t, side="right"))
    if not end or t - column.t[end - 1] > STALE_S:
        return np.nan
    first = int(np.searchsorted(column.t, column.t[end - 1] - APART_S, side="right"))
    if not first:
        return np.nan
    count = column.v[end - 1] - column.v[first - 1]
    return float(count / (column.t[end - 1] - column.t[first - 1]))


def counting(columns: Columns, ticks: Floats) -> Bools:
    """Where some cylinder counts faster than chance; shape of `ticks`."""
    said = np.zeros(len(ticks), dtype=np.bool_)
    for _, column in _cylinders(columns):
        edges = np.searchsorted(column.t, ticks, side="right")
        for end in np.unique(edges[edges > 0]):
            here = edges == end
            if rate(column, float(column.t[end - 1])) >= PER_S:
                said[here] |= ticks[here] - column.t[end - 1] <= STALE_S
    return said


def counts(columns: Columns) -> tuple[Counted, ...]:
    """What every cylinder counted in this session, the worst first."""
    found = []
    for cylinder, column in _cylinders(columns):
        seconds = float(column.t[-1] - column.t[0])
        if seconds >= APART_S:
            # A new drive begins at zero, which is no negative count.
            came = float(np.maximum(np.diff(column.v), 0.0).sum())
            found.append(Counted(cylinder, came, seconds))
    return tuple(sorted(found, key=lambda one: -one.per_s))
