"""Draws lanes stacked on one time axis, with marks and flags as lines through all.

A stack has two windows: the short one, about ten seconds, for switching sensors, and
the long one for the rest. Each lane is a margin with its figures and a plot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Floats
from bankwise.tui import braille
from bankwise.tui.canvas import Canvas
from bankwise.tui.drawn import draw_calmly
from bankwise.tui.lane_axis import Window, draw_axis, draw_events
from bankwise.tui.lane_band import band_of, draw_band
from bankwise.tui.lane_margin import draw_margin, margin_width, note_window
from bankwise.tui.lane_table import LANES, Lane, Scale, Shape
from bankwise.tui.lane_words import draw_words
from bankwise.tui.snapshot import Look, Snapshot
from bankwise.tui.themes import BANK_INK, Ink, Paper, look
from bankwise.tui.words import span

_DIFFERENT = 0.02
_GUIDE = ord("┈")


@dataclass(frozen=True, slots=True)
class Row:
    """A lane and the rows it got; every other one is shaded where they touch."""

    lane: Lane
    y: int
    height: int
    shaded: bool = True


@dataclass(frozen=True, slots=True)
class Stack:
    """Lanes that share one window, with the axis under them if there is room."""

    rows: tuple[Row, ...]
    window: Window
    has_axis: bool


def allot(lanes: Sequence[Lane], height: int, tall: frozenset[str]) -> list[int]:
    """Rows for each lane; 0 for those that must wait until there is room.

    Lanes come in order of what matters most, so the last ones go first. What is left
    over is dealt out by weight; a lane drawn larger counts threefold.
    """
    rows = [0] * len(lanes)
    left = height
    for i, lane in enumerate(lanes):
        if lane.least <= left:
            rows[i] = lane.least
            left -= lane.least
    shown = [i for i, count in enumerate(rows) if count and lanes[i].weight]
    while left > 0 and shown:

        def need(i: int) -> float:
            weight = lanes[i].weight * (3 if lanes[i].id in tall else 1)
            return rows[i] / weight

        poorest = min(shown, key=need)
        step = 2 if lanes[poorest].shape is Shape.HALVES and left > 1 else 1
        rows[poorest] += step
        left -= step
    return rows


def one_bank(lane: Lane) -> Lane:
    """The same lane for a car with one bank."""
    if len(lane.banks) == 1:
        return lane
    scales = tuple(replace(scale, names=scale.names[:1]) for scale in lane.scales)
    return replace(lane, banks=lane.banks[:1], scales=scales, shape=Shape.OVER)


def chosen(shot: Snapshot, ids: Sequence[str]) -> list[Lane]:
    """The lanes to draw: those asked for, less what this car cannot deliver."""
    supported = shot.columns.supported
    kept = []
    for lane_id in ids:
        lane = LANES.get(lane_id)
        if lane is None:
            continue
        everywhere = [name for s in lane.scales for name in s.names]
        measured = any(map(shot.knows, everywhere))
        if (
            measured
            or supported is None
            or lane.banks != (None,)
            or any(name in supported for name in everywhere)
        ):
            kept.append(lane)
    return kept


def draw_stack(
    canvas: Canvas,
    shot: Snapshot,
    state: Look,
    lanes: Sequence[Lane],
    short_span_s: float | None = None,
) -> None:
    """Draws lanes from top to bottom: the short window first, then the long one.

    Args:
        canvas: the whole area, margin included.
        shot: what to draw.
        state: window, cursors, enlarged lanes, sweep or scroll.
        lanes: in order.
        short_span_s: length of the short window; None as the view has it. Unit: s.
    """
    lanes = [lane if shot.two_banks else one_bank(lane) for lane in lanes]
    short = [lane for lane in lanes if lane.short]
    long = [lane for lane in lanes if not lane.short]
    roomy = canvas.height >= 3 * len(lanes) + 6
    axis_rows = (1 if long else 0) + (1 if short and (roomy or not long) else 0)
    rest = canvas.height - axis_rows
    ordered = [*short, *long]
    gap = 1 if rest - sum(lane.least for lane in ordered) >= 3 * len(ordered) else 0
    rows = allot(ordered, rest - gap * max(len(ordered) - 1, 0), state.tall)
    margin = margin_width(canvas.width)
    y = 0
    view = state.view
    spans = (
        (short, short_span_s or view.short_s, view.short_end(shot.now_s)),
        (long, view.span_s, view.end(shot.now_s)),
    )
    for group, span_s, end in spans:
        count = len(group)
        heights, rows = rows[:count], rows[count:]
        if not any(heights):
            continue
        top = y
        placed: list[Row] = []
        for lane, height in zip(group, heights, strict=True):
            if height:
                shaded = bool(gap) or len(placed) % 2 == 0
                placed.append(Row(lane, y - top, height, shaded))
                y += height + gap
        y -= gap
        has_axis = group is long or roomy or not long
        stack = Stack(
            tuple(placed), Window.ending(end, span_s, canvas.width - margin), has_axis
        )
        area = canvas.part(0, top, canvas.width, y - top + has_axis)
        if group is short:
            _draw_group(area, shot, state, stack)
        else:
            draw = partial(_draw_group, shot=shot, state=state, stack=stack)
            draw_calmly(area, "lanes", shot, state, stack.rows, draw)
        y += has_axis


def _draw_group(canvas: Canvas, shot: Snapshot, state: Look, stack: Stack) -> None:
    window, has_axis = stack.window, stack.has_axis
    margin = canvas.width - window.cells
    plots = canvas.part(margin, 0, window.cells, canvas.height)
    lit = np.zeros(plots.chars.shape, dtype=bool)
    for row in stack.rows:
        part = slice(row.y, row.y + row.height)
        area = plots.part(0, row.y, window.cells, row.height)
        area.clear(look(Ink.FAINT, Paper.PLOT if row.shaded else Paper.BASE))
        edge = canvas.part(0, row.y, margin, row.height)
        lit[part] = _draw_lane(edge, area, row.lane, shot, state, window)
    body = plots.height - has_axis
    draw_events(plots, body, lit[:body], window, shot, state)
    if has_axis:
        draw_axis(plots.part(0, plots.height - 1, window.cells, 1), window)
        foot = canvas.part(0, canvas.height - 1, margin, 1)
        foot.put(1, 0, f"window {span(window.span_s)}", look(Ink.SOFT))
    else:
        note_window(canvas.part(0, 0, margin, canvas.height), window)
    if state.sweep and not state.view.held:
        _sweep(plots, window)


def _sweep(plots: Canvas, window: Window) -> None:
    shift = window.first % window.cells
    plots.chars[:] = np.roll(plots.chars, shift, axis=1)
    plots.looks[:] = np.roll(plots.looks, shift, axis=1)
    head = (window.first + window.cells) % window.cells
    for ahead in range(2):
        column = (head + ahead) % window.cells
        plots.chars[:, column] = ord(" ")


def _scale_of(lane: Lane, shot: Snapshot) -> Scale:
    for scale in lane.scales:
        if any(map(shot.knows, scale.names)):
            return scale
    return lane.scales[0]


def _draw_lane(
    edge: Canvas,
    area: Canvas,
    lane: Lane,
    shot: Snapshot,
    state: Look,
    window: Window,
) -> npt.NDArray[np.bool_]:
    scale = _scale_of(lane, shot)
    series = [shot.series(name) for name in scale.names]
    ends = scale.ends(v for _, v in series)
    draw_margin(edge, lane, scale, shot, state, ends)
    band = band_of(lane.id, shot.windows)
    if band is not None:
        draw_band(area, band, ends)
    lit = np.zeros(area.chars.shape, dtype=bool)
    if not any(map(shot.knows, scale.names)):
        words = _why_empty(scale, shot)
        area.put(2, (area.height - 1) // 2, words, look(Ink.SOFT, Paper.PLOT))
        lit[(area.height - 1) // 2, 2 : 2 + len(words)] = True
        return lit
    if lane.shape is Shape.WORDS:
        draw_words(area, *series[0], window)
        return lit
    if lane.shape is Shape.HALVES and len(series) == 2:
        half = area.height // 2
        for i, y in enumerate((0, area.height - half)):
            part = area.part(0, y, area.width, half)
            own = [(lane.banks[i], series[i])]
            lit[y : y + half] = _draw_traces(part, own, scale, ends, state, window)
        return lit
    pairs = list(zip(lane.banks, series, strict=True))
    return _draw_traces(area, pairs, scale, ends, state, window)


def _why_empty(scale: Scale, shot: Snapshot) -> str:
    if not shot.columns.measured:
        return "waiting for the first answers"
    derived = [name for name in scale.names if name not in SIGNALS]
    for name in derived:
        why = shot.ticks.why(name)
        if why:
            return why
    supported = shot.columns.supported
    if not derived and supported is not None and supported.isdisjoint(scale.names):
        return "not supported by this car"
    return "not enough data yet"


def _draw_traces(
    area: Canvas,
    traces: Sequence[tuple[int | None, tuple[Floats, Floats]]],
    scale: Scale,
    ends: tuple[float, float],
    state: Look,
    window: Window,
) -> npt.NDArray[np.bool_]:
    bottom, top = ends
    for guide in scale.guides:
        share = (top - guide) / (top - bottom)
        y = min(int(share * area.height), area.height - 1)
        area.chars[y] = _GUIDE
    cells, middles, inks = [], [], []
    for bank, (t, v) in traces:
        low, high = braille.envelope(
            t, v, 2 * window.first, 2 * window.cells, window.cell_s / 2
        )
        lit = braille.to_dots(low, high, bottom, top, area.height)
        if state.plain and bank == 2:
            lit = braille.dash(lit, 2 * window.first)
        cells.append(braille.to_cells(lit))
        middles.append(((low + high) / 2).reshape(-1, 2)[:, 0])
        inks.append(BANK_INK[bank])
    if len(traces) == 2:
        _tint(area, middles[0], middles[1], ends)
    bits = np.bitwise_or.reduce(cells)
    drawn: npt.NDArray[np.bool_] = bits != 0
    area.chars[drawn] = bits[drawn] + braille.BLANK
    paper = area.looks & 0xF0
    for mine, ink in zip(cells, inks, strict=True):
        mask = mine != 0
        area.looks[mask] = paper[mask] | int(ink)
    if len(cells) == 2:
        shared = (cells[0] != 0) & (cells[1] != 0)
        area.looks[shared] = paper[shared] | int(Ink.BOTH)
    return drawn


def _tint(area: Canvas, one: Floats, two: Floats, ends: tuple[float, float]) -> None:
    bottom, top = ends
    scale = area.height / (top - bottom)
    known = np.isfinite(one) & np.isfinite(two)
    rows = np.arange(area.height)[:, None] + 0.5
    upper = np.where(known, (top - np.fmax(one, two)) * scale, 1e9)
    lower = np.where(known, (top - np.fmin(one, two)) * scale, -1e9)
    apart = np.where(known, np.abs(one - two), 0) > _DIFFERENT * (top - bottom)
    between = (rows > upper) & (rows < lower) & apart
    area.looks[between & (one > two)] = look(Ink.FAINT, Paper.TINT1)
    area.looks[between & (two > one)] = look(Ink.FAINT, Paper.TINT2)
