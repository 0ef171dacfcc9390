"""The time axis under a stack of lanes, and the lines through all of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from bankwise.signals.columns import Bools
from bankwise.signals.remarks import mark_time
from bankwise.signals.severity import Severity
from bankwise.tui.canvas import Canvas
from bankwise.tui.lane_band import ENTERED_SIGN
from bankwise.tui.snapshot import Look, Snapshot
from bankwise.tui.themes import BOLD, Ink, Paper, look, on
from bankwise.tui.words import clock

SIGNS = {
    Severity.STOP: "■",
    Severity.ACT: "▲",
    Severity.WATCH: "△",
    Severity.INFO: "·",
}
"""A shape a severity, so that colour is never needed."""

MARK_SIGN = "▼"
_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800, 3600)
_LABEL_CELLS = 11
_LINE = ord("│")
_HOLE = ord("░")
_BLANK = ord(" ")


@dataclass(frozen=True, slots=True)
class Window:
    """Cells on session time, aligned so that a moment keeps its cell.

    Attributes:
        first: number of the leftmost cell; cell k covers k·cell_s to (k+1)·cell_s.
        cells: how many.
        cell_s: length of a cell. Unit: s.
    """

    first: int
    cells: int
    cell_s: float

    @classmethod
    def ending(cls, end_s: float, span_s: float, cells: int) -> Window:
        """The window of that many cells whose last one holds the end."""
        count = max(cells, 1)
        cell_s = span_s / count
        return cls(math.floor(end_s / cell_s) - count + 1, count, cell_s)

    def cell(self, t_s: float) -> int:
        """The cell a moment falls in, counted from the left; may lie outside."""
        return math.floor(t_s / self.cell_s) - self.first

    @property
    def span_s(self) -> float:
        """Length of the whole window. Unit: s."""
        return self.cells * self.cell_s

    def holds(self, cell: int) -> bool:
        """Whether a cell is on the screen."""
        return 0 <= cell < self.cells


def draw_axis(row: Canvas, window: Window) -> None:
    """Labels round moments of session time on one row, where it is still blank."""
    least = window.cell_s * _LABEL_CELLS
    step = next((s for s in _STEPS_S if s >= least), _STEPS_S[-1])
    first = math.ceil(window.first * window.cell_s / step)
    last = math.floor((window.first + window.cells) * window.cell_s / step)
    soft = look(Ink.SOFT)
    for k in range(max(first, 0), last + 1):
        cell = window.cell(k * step)
        label = clock(k * step)
        spot = row.part(cell, 0, len(label) + 2, 1)
        if cell >= 0 and spot.width == len(label) + 2 and (spot.chars == _BLANK).all():
            row.put(cell, 0, "╵", look(Ink.FAINT))
            row.put(cell + 1, 0, label, soft)


def draw_events(
    plots: Canvas,
    body: int,
    lit: Bools,
    window: Window,
    shot: Snapshot,
    state: Look,
) -> None:
    """Draws holes, flags, marks and cursors as lines through all lanes.

    Args:
        plots: plots of all lanes of a window, and the axis under them if any.
        body: rows above the axis.
        lit: cells that hold a trace, which a line must not wipe out. Shape as plots.
        window: what time the cells are.
        shot: holes, flags and marks.
        state: cursors.
    """
    for begin, end in shot.holes:
        a, b = window.cell(begin), window.cell(end)
        columns = slice(max(a, 0), max(min(b + 1, window.cells), 0))
        free = ~lit[:, columns]
        plots.chars[:body, columns][free] = _HOLE
    lines: list[tuple[float, str, int]] = [
        (span[0], SIGNS[flag.severity], look(Ink.TEXT, attributes=BOLD))
        for flag in shot.flags
        if flag.severity is not Severity.INFO
        for span in flag.spans
    ]
    lines += [
        (mark_time(mark), MARK_SIGN, look(Ink.MARK, attributes=BOLD))
        for mark in shot.columns.marks
    ]
    lines += [
        (one.at_s, ENTERED_SIGN, look(Ink.TEXT, attributes=BOLD))
        for one in shot.windows
        if one.at_s is not None
    ]
    for t, sign, code in lines:
        cell = window.cell(t)
        if not window.holds(cell):
            continue
        _line(plots, body, cell, lit, code)
        plots.put(cell, body, sign, code)
    for moment in (state.view.anchor_s, state.view.cursor_s):
        if moment is None or not window.holds(window.cell(moment)):
            continue
        cell = window.cell(moment)
        column = plots.looks[:body, cell]
        column[:] = [on(int(c), Paper.CURSOR) for c in column]
        sign = "◆" if moment == state.view.cursor_s else "◇"
        plots.put(cell, body, sign, look(Ink.TEXT, attributes=BOLD))


def _line(plots: Canvas, body: int, cell: int, lit: Bools, code: int) -> None:
    spots = ~lit[:, cell]
    column = plots.looks[:body, cell]
    plots.chars[:body, cell][spots] = _LINE
    column[spots] = (column[spots] & 0xF0) | (code & 0xF)
