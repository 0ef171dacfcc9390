"""Columns: what was measured, a sorted series a signal, and what happened beside it.

A column only grows at its end. Views handed out stay valid and unchanged, because
written cells are never written again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

_FIRST_ROOM = 256


class Column:
    """One signal over time; appended in time order, read as arrays.

    `t` is the middle of the request-to-answer interval and `d` that interval's
    length, which is the uncertainty of `t`. Unit: seconds. All three views have
    shape (n,).
    """

    __slots__ = ("_cells", "_n")

    def __init__(self) -> None:
        self._cells = np.empty((3, _FIRST_ROOM))
        self._n = 0

    def __len__(self) -> int:
        return self._n

    def extend(self, t: Floats, v: Floats, d: Floats) -> None:
        """Appends samples; `t` must not go back before the last one.

        Raises:
            ValueError: when time goes backwards.
        """
        count = len(t)
        if count == 0:
            return
        if (self._n and t[0] < self._cells[0, self._n - 1]) or np.any(np.diff(t) < 0):
            raise ValueError("samples must be appended in time order")
        need = self._n + count
        if need > self._cells.shape[1]:
            room = np.empty((3, max(need, 2 * self._cells.shape[1])))
            room[:, : self._n] = self._cells[:, : self._n]
            self._cells = room
        self._cells[0, self._n : need] = t
        self._cells[1, self._n : need] = v
        self._cells[2, self._n : need] = d
        self._n = need

    @property
    def t(self) -> Floats:
        """Sample times. Unit: seconds since the session began."""
        return self._cells[0, : self._n]

    @property
    def v(self) -> Floats:
        """Sample values, in the signal's unit."""
        return self._cells[1, : self._n]

    @property
    def d(self) -> Floats:
        """Length of the interval each value was measured in. Unit: seconds."""
        return self._cells[2, : self._n]


@dataclass(frozen=True, slots=True)
class Mark:
    """A person's remark, or a step of a guided test."""

    t: float
    text: str
    tag: str = ""


@dataclass(frozen=True, slots=True)
class CodeRead:
    """What one code read said. `when`: stored, pending or permanent."""

    t: float
    when: str
    codes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LinkChange:
    """The link came up, was lost, came back or was closed."""

    t: float
    state: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Vehicle:
    """What is known of the car itself; None where nobody said."""

    vin: str | None = None
    note: str | None = None
    displacement_l: float | None = None


_EMPTY = Column()


@dataclass(slots=True)
class Columns:
    """A session so far: columns, support and events, up to `end_s`.

    Attributes:
        vehicle: what is known of the car.
        signals: columns by signal name; a missing name was never measured.
        supported: names the car says it can deliver; None while unknown.
        marks, codes, link: events in time order.
        end_s: everything up to this moment has been seen. Unit: seconds.
    """

    vehicle: Vehicle = field(default_factory=Vehicle)
    signals: dict[str, Column] = field(default_factory=dict)
    supported: frozenset[str] | None = None
    marks: list[Mark] = field(default_factory=list)
    codes: list[CodeRead] = field(default_factory=list)
    link: list[LinkChange] = field(default_factory=list)
    end_s: float = 0.0

    def __getitem__(self, name: str) -> Column:
        """The column of a signal, empty when it was never measured."""
        return self.signals.get(name, _EMPTY)

    def extend(self, name: str, t: Floats, v: Floats, d: Floats) -> None:
        """Appends samples of one signal. Raises ValueError as `Column.extend`."""
        column = self.signals.get(name)
        if column is None:
            column = self.signals[name] = Column()
        column.extend(t, v, d)

    @property
    def measured(self) -> Mapping[str, Column]:
        """The columns that hold at least one sample."""
        return {name: column for name, column in self.signals.items() if len(column)}
