"""The margin of a lane: its name, figures, difference and honest rate."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bankwise.tui.canvas import Canvas
from bankwise.tui.lane_axis import Window
from bankwise.tui.lane_table import Lane, Scale, Shape
from bankwise.tui.snapshot import Look, Snapshot
from bankwise.tui.themes import BANK_INK, BOLD, Ink, look
from bankwise.tui.words import DIFFERENCE, grouped, number, rate, span

NARROW, WIDE = 15, 20
_WIDE_FROM = 100
_LOW_ROWS = 3
_SLOW = "slow"
_THOUSANDS = 1000


def margin_width(width: int) -> int:
    """Columns for names and figures at the left of a stack that wide."""
    return WIDE if width >= _WIDE_FROM else NARROW


def draw_margin(
    edge: Canvas,
    lane: Lane,
    scale: Scale,
    shot: Snapshot,
    state: Look,
    ends: tuple[float, float],
) -> None:
    """Writes a lane's name, its figures at the moment looked at, and its rate.

    Args:
        edge: the margin beside the lane's plot.
        lane: which lane.
        scale: how it is measured.
        shot: the figures.
        state: the moment looked at.
        ends: bottom and top of the plot.
    """
    at_s = state.view.read_at(shot.now_s)
    values = [shot.value(name, at_s) for name in scale.names]
    wide = edge.width >= WIDE
    right = edge.width - 1
    soft = look(Ink.SOFT)
    paced = scale.paced_by or scale.names
    slowest = min((hz for hz in map(shot.hz, paced) if hz), default=0.0)
    slow = any(shot.value(name, at_s) == 0 for name in scale.honest)
    x = edge.put(1, 0, lane.title, look(Ink.TEXT, attributes=BOLD))
    if lane.shape is Shape.WORDS:
        return
    if lane.banks == (None,):
        whole = grouped(values[0]) if scale.high >= _THOUSANDS else ""
        text = whole or number(values[0], scale.decimals)
        text = f"{text} {scale.unit}".rstrip()
        if edge.height == 1:
            edge.put_right(right, 0, text, look(Ink.TEXT))
            return
        edge.put(1, 1, text, look(Ink.TEXT, attributes=BOLD))
    else:
        x = edge.put(x + 1, 0, scale.unit, soft)
        _bank_values(edge, lane, scale, values)
    _pace(edge, x, rate(slowest), slow)
    if wide and edge.height >= _LOW_ROWS and lane.shape is Shape.OVER:
        places = 0 if ends[1] - ends[0] > 2 else 1
        _where_free(edge, 1, number(ends[1], places))
        _where_free(edge, edge.height - 1, number(ends[0], places))


def note_window(edge: Canvas, window: Window) -> None:
    """Says how long a window is that has no axis of its own, where there is room."""
    _where_free(edge, 1, span(window.span_s))


def _pace(edge: Canvas, x: int, pace: str, slow: bool) -> None:
    """The rate right of the name; "slow" beside it or under it, as there is room."""
    bold, soft = look(Ink.TEXT, attributes=BOLD), look(Ink.SOFT)
    right = edge.width - 1
    if not slow:
        if x + len(pace) < right:
            edge.put_right(right, 0, pace, soft)
        return
    if x + len(pace) + len(_SLOW) + 1 < right:
        edge.put_right(right, 0, f"{pace} {_SLOW}", bold)
    elif edge.height > _LOW_ROWS:
        edge.put_right(right, 0, pace, bold)
        _where_free(edge, 1, _SLOW, bold)
    else:
        edge.put_right(right, 0, _SLOW, bold)


def _where_free(edge: Canvas, y: int, text: str, code: int = look(Ink.SOFT)) -> bool:
    """Writes at the right end of a row, unless something stands there."""
    right = edge.width - 1
    start = right - len(text)
    spot = edge.part(start - 1, y, len(text) + 1, 1)
    if start < 1 or not spot.height or (spot.chars != ord(" ")).any():
        return False
    edge.put(start, y, text, code)
    return True


def _bank_values(
    edge: Canvas, lane: Lane, scale: Scale, values: Sequence[float]
) -> None:
    sign = scale.low < 0
    texts = [number(value, scale.decimals, sign) for value in values]
    halves = lane.shape is Shape.HALVES
    ys = (
        (1, edge.height - edge.height // 2 + (edge.height // 2 > 1))
        if halves
        else (1, 2)
    )
    if edge.height == 2:
        ys = (1, 1)
    for i, (bank, text) in enumerate(zip(lane.banks, texts, strict=True)):
        x = 1 if edge.height != 2 else 1 + 7 * i
        label = look(BANK_INK[bank], attributes=BOLD)
        edge.put_runs(x, ys[i], ((f"{bank} ", label), (text, label)))
    gap = values[0] - values[1] if len(values) == 2 else float("nan")
    if halves or edge.height < _LOW_ROWS or not np.isfinite(gap):
        return
    text = f"{DIFFERENCE} {number(gap, scale.decimals, sign=True)}"
    if edge.height > _LOW_ROWS:
        edge.put(1, 3, text, look(Ink.TEXT))
    else:
        _where_free(edge, 2, text, look(Ink.TEXT))
