"""Review: the whole session at a glance, and the lanes of the stretch looked at."""

from __future__ import annotations

import numpy as np

from bankwise.signals.remarks import mark_time
from bankwise.tui import braille
from bankwise.tui.canvas import Canvas
from bankwise.tui.lane_axis import MARK_SIGN, SIGNS, Window, draw_axis
from bankwise.tui.lane_margin import margin_width
from bankwise.tui.lanes import chosen, draw_stack
from bankwise.tui.measure import draw_readout
from bankwise.tui.snapshot import Flag, Look, Snapshot
from bankwise.tui.themes import BANK_INK, BOLD, Ink, Paper, look
from bankwise.tui.words import clip, clock

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_LEAST_S = 60.0
_FOOT = 3


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws the overview with flags as bars, then lanes, then what the cursor says."""
    flags = _ordered(shot)
    bars = min(len(flags), max(canvas.height // 6, 2))
    top = 3 + bars + 1
    draw_overview(canvas.part(0, 0, canvas.width, top), shot, state, flags[:bars])
    middle = canvas.height - top - _FOOT
    area = canvas.part(0, top, canvas.width, middle)
    lanes = [lane for lane in chosen(shot, state.lanes) if not lane.short]
    draw_stack(area, shot, state, lanes)
    foot = canvas.part(0, canvas.height - _FOOT, canvas.width, _FOOT)
    draw_foot(foot, shot, state)


def _ordered(shot: Snapshot) -> list[Flag]:
    return sorted(shot.flags, key=lambda f: (-f.severity.rank, f.first_s))


def draw_overview(area: Canvas, shot: Snapshot, state: Look, flags: list[Flag]) -> None:
    """Draws speed over the whole session, a bar a flag, marks, and the stretch seen."""
    margin = margin_width(area.width)
    cells = max(area.width - margin, 1)
    length = max(shot.link.length_s or shot.now_s, _LEAST_S)
    window = Window(0, cells, length / cells)
    area.put(1, 0, "whole", _BOLD)
    area.put(1, 1, "session", _BOLD)
    plot = area.part(margin, 0, cells, 2)
    plot.clear(look(Ink.NEUTRAL, Paper.PLOT))
    t, v = shot.series("speed_kmh")
    if not len(t):
        t, v = shot.series("rpm")
    if len(t):
        low, high = braille.envelope(t, v, 0, 2 * cells, window.cell_s / 2)
        top = max(float(np.nanmax(v)), 1.0)
        bits = braille.to_cells(braille.to_dots(low, high, 0.0, top, 2))
        plot.chars[bits != 0] = bits[bits != 0] + braille.BLANK
    for y, flag in enumerate(flags, 2):
        ink = BANK_INK[flag.bank] if flag.bank else Ink.TEXT
        label = f"{SIGNS[flag.severity]} {flag.about} {flag.id}"
        area.put(1, y, clip(label, margin - 2), look(ink, attributes=BOLD))
        row = area.part(margin, y, cells, 1)
        row.clear(look(Ink.FAINT, Paper.PLOT))
        for begin, end in flag.spans:
            a = max(window.cell(begin), 0)
            b = min(window.cell(max(end, begin)), cells - 1)
            row.put(a, 0, "▬" * (b - a + 1), look(ink, Paper.PLOT, BOLD))
    rows = 2 + len(flags)
    axis = area.part(margin, rows, cells, 1)
    for mark in shot.columns.marks:
        axis.put(
            window.cell(mark_time(mark)),
            0,
            MARK_SIGN,
            look(Ink.MARK, attributes=BOLD),
        )
    draw_axis(axis, window)
    first = max(window.cell(state.view.start(shot.now_s)), 0)
    last = min(window.cell(state.view.end(shot.now_s)), cells - 1)
    seen = area.part(margin + first, 0, last - first + 1, rows)
    seen.looks[:] = (seen.looks & 0xFF0F) | (int(Paper.PICK) << 4)


def draw_foot(area: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws what the cursor says, or how to move about; and the newest mark."""
    if state.view.cursor_s is not None:
        draw_readout(area, shot, state.view)
    else:
        keys = "← → move  + − zoom  [ ] flag or mark  c cursor  g go to  n now"
        if shot.link.kind == "replay":
            keys = "space play  < > speed  , . step  " + keys
        area.put(1, 0, clip(keys, area.width - 2), _SOFT)
    marks = [m for m in shot.columns.marks if mark_time(m) <= _here(shot, state)]
    if marks:
        mark = marks[-1]
        text = f"{MARK_SIGN} {clock(mark_time(mark))} {mark.text}"
        area.put(1, 2, clip(text, area.width - 2), look(Ink.MARK))


def _here(shot: Snapshot, state: Look) -> float:
    view = state.view
    return view.cursor_s if view.cursor_s is not None else view.end(shot.now_s)
