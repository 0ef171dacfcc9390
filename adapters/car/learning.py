"""The unit's learned fuel corrections: long-term trim in cells of speed and load."""

from __future__ import annotations

from bankwise.adapters.car.spec import ControlSpec


class Cells:
    """Long-term trims of one bank. `values`: percent per cell, idle first."""

    __slots__ = ("_limit", "values")

    def __init__(self, spec: ControlSpec, start_pct: float) -> None:
        count = 1 + (len(spec.rpm_edges) + 1) * (len(spec.load_edges) + 1)
        self._limit = spec.long_limit_pct
        self.values = [start_pct] * count

    def learn(self, cell: int, pct: float) -> float:
        """Add to a cell and give back what it really took."""
        before = self.values[cell]
        after = before + pct
        limit = self._limit
        after = limit if after > limit else -limit if after < -limit else after
        self.values[cell] = after
        return after - before

    def clear(self) -> None:
        """Forget everything, as a cleared or disconnected unit does."""
        self.values = [0.0] * len(self.values)


def cell_of(spec: ControlSpec, rpm: float, load: float, idling: bool) -> int:
    """Index of the cell for an engine speed and load (0 to 1); 0 is idle."""
    if idling:
        return 0
    row = 0
    for edge in spec.rpm_edges:
        if rpm > edge:
            row += 1
    column = 0
    for edge in spec.load_edges:
        if load > edge:
            column += 1
    return 1 + row * (len(spec.load_edges) + 1) + column
