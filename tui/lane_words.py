"""A lane of words: what the engine was doing, each stretch with its name."""

from __future__ import annotations

import numpy as np

from bankwise.signals.columns import Floats
from bankwise.tui.canvas import Canvas
from bankwise.tui.lane_axis import Window
from bankwise.tui.themes import Ink, Paper, look
from bankwise.tui.words import DRIVING, DRIVING_SHORT

_EDGE = "▏"


def draw_words(area: Canvas, t: Floats, v: Floats, window: Window) -> None:
    """Writes the name of each stretch where it begins, a shorter one in little room.

    Args:
        area: the lane's plot; its first row is written on.
        t: times of the ticks, rising. Unit: s.
        v: the engine's number of the driving state; NaN where unknown.
        window: what time the cells are.
    """
    times = (window.first + np.arange(window.cells) + 0.5) * window.cell_s
    place = np.searchsorted(t, times, "right") - 1
    states = np.full(window.cells, -1)
    # The newest cell reaches a little beyond the newest tick; more is not known.
    seen = (place >= 0) & (times <= t[-1] + window.cell_s)
    values = v[np.maximum(place, 0)]
    known = seen & np.isfinite(values)
    states[known] = values[known].astype(int)
    starts = np.flatnonzero(np.diff(states, prepend=-2))
    for start, end in zip(starts, [*starts[1:], window.cells], strict=True):
        state = int(states[start])
        if not 0 <= state < len(DRIVING):
            continue
        names = (DRIVING[state], DRIVING_SHORT[state], "")
        name = next(n for n in names if len(n) < end - start or not n)
        area.put(int(start), 0, _EDGE + name, look(Ink.SOFT, Paper.PLOT))
