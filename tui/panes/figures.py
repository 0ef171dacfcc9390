"""Figures: the trim map, the sensors' switching and response, and the rates."""

from __future__ import annotations

import math
from typing import cast

from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.frame import Frame
from bankwise.signals.trim_map import LOAD_STEP_PCT, RPM_STEP, trim_map
from bankwise.tui.canvas import Canvas
from bankwise.tui.messages import Intent
from bankwise.tui.panes.rows import heading
from bankwise.tui.snapshot import Look, PaneState, Snapshot
from bankwise.tui.themes import BANK_INK, BOLD, Ink, Paper, look
from bankwise.tui.words import NO_VALUE, clip, number

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_CELL = 6
_TINT_FROM_PCT = 5.0
_SIDE_FROM = 100
_WIDTHS = (7, 7, 7, 8, 10, 8)


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws both banks' trim maps, then the sensors and the rates."""
    wide = canvas.width >= _SIDE_FROM
    lines = sensor_lines(shot)
    rates = rate_lines(shot)
    if not wide and state.state.opened:
        _draw_lines(canvas, 0, "SENSORS", lines)
        _draw_lines(canvas, len(lines) + 3, "MEASURED RATES", rates)
        return
    map_rows = min(max(canvas.height // 2, 13), 16)
    half = canvas.width // 2
    places = [(1, 0, half), (2, half, canvas.width - half)]
    for bank, x, width in places if shot.two_banks else places[:1]:
        part = canvas.part(x, 0, width, map_rows if wide else canvas.height - 1)
        draw_map(part, shot, bank)
    if not wide:
        canvas.put(1, canvas.height - 1, "⏎ sensors and rates   esc trim maps", _SOFT)
        return
    _draw_lines(canvas.part(0, map_rows, half, 99), 0, "SENSORS", lines)
    side = canvas.part(half, map_rows, canvas.width - half, canvas.height - map_rows)
    _draw_lines(side, 0, "MEASURED RATES", rates)


def act(name: str, _shot: Snapshot, state: Look) -> tuple[PaneState, Intent | None]:
    """On a narrow screen turns between the maps and the rest."""
    return PaneState(opened=name in ("open", "down")), None


def draw_map(area: Canvas, shot: Snapshot, bank: int) -> None:
    """Draws one bank's map: median where there is enough of it, a dot elsewhere."""
    ink = BANK_INK[bank]
    area.put(1, 0, f"BANK {bank} trim map", look(ink, attributes=BOLD))
    area.put(18, 0, "median %, closed loop", _SOFT)
    cells = {
        (cell.rpm, cell.load_pct): cell
        for cell in trim_map(cast(Frame, shot.ticks), bank)
    }
    count = max((area.width - 8) // _CELL, 1)
    columns = range(1, 1 + count)
    area.put(1, 1, "load", _SOFT)
    for i, across in enumerate(columns):
        area.put_right(7 + (i + 1) * _CELL, 1, f"{across * RPM_STEP:.0f}", _SOFT)
    rows = list(range(9, -1, -1))[max(0, 10 - (area.height - 2)) :]
    for y, down in enumerate(rows, 2):
        area.put_right(6, y, f"{down * LOAD_STEP_PCT:.0f}", _SOFT)
        for i, across in enumerate(columns):
            x = 7 + i * _CELL
            cell = cells.get((across * RPM_STEP, down * LOAD_STEP_PCT))
            if cell is None:
                area.put_right(x + _CELL, y, "·", look(Ink.FAINT))
                continue
            text = number(cell.median, 1, sign=True).rjust(_CELL)
            area.put(x, y, text, look(ink, _paper(cell.median, bank), BOLD))


def _paper(value: float, bank: int) -> Paper:
    if abs(value) < _TINT_FROM_PCT:
        return Paper.PLOT
    return Paper.TINT1 if bank == 1 else Paper.TINT2


def sensor_lines(shot: Snapshot) -> list[tuple[str, int]]:
    """A line a sensor: swing, time rich, switches and response, as far as known."""
    heads = ("now", "min", "max", "rich %", "switches", "Hz")
    lines = [("     " + _columns(heads), _SOFT)]
    for bank in (1, 2):
        for position in (1, 2):
            s = f"b{bank}s{position}"
            name = f"o2_{s}_v"
            wide = f"lambda_{s}"
            if not len(shot.columns[name]) and not len(shot.columns[wide]):
                continue
            main = name if len(shot.columns[name]) else wide
            ends = (f"min_{s}_v", f"max_{s}_v")
            if main == wide:
                ends = (f"lambda_min_{s}", f"lambda_max_{s}")
            values = (
                number(shot.value(main), 3),
                number(shot.value(ends[0]), 2),
                number(shot.value(ends[1]), 2),
                number(shot.value(f"time_rich_{s}_pct"), 0),
                number(shot.value(f"switches_{s}"), 0),
                number(shot.value(f"switching_hz_{s}"), 2),
            )
            text = f"B{bank}S{position} {_columns(values)}"
            lines.append((text, look(BANK_INK[bank])))
            lines += _response(shot, s, bank)
    if len(lines) == 1:
        return [("no oxygen sensor measured yet", _SOFT)]
    return lines


def _columns(cells: tuple[str, ...]) -> str:
    return "".join(c.rjust(w) for c, w in zip(cells, _WIDTHS, strict=True))


def _response(shot: Snapshot, s: str, bank: int) -> list[tuple[str, int]]:
    parts = []
    for words, stem in (("lean→rich", "lr"), ("rich→lean", "rl")):
        low = shot.value(f"{stem}_low_{s}_ms")
        high = shot.value(f"{stem}_high_{s}_ms")
        if math.isfinite(low) and math.isfinite(high):
            parts.append(f"{words} {number(low, 0)} to {number(high, 0)} ms")
    return [("       " + "   ".join(parts), look(BANK_INK[bank]))] if parts else []


def titled(name: str) -> str:
    """A signal in words, with its place unless it is the engine's."""
    signal = SIGNALS.get(name)
    if signal is None:
        return name
    place = "" if signal.about == "engine" else f"{signal.about} "
    return place + signal.title


def bank_of_signal(name: str) -> int | None:
    """The bank a measured signal belongs to; None for the engine's."""
    signal = SIGNALS.get(name)
    return signal.bank if signal is not None else None


def rate_lines(shot: Snapshot) -> list[tuple[str, int]]:
    """A line a signal: how often it is really measured, the fastest first."""
    rows = sorted(
        (
            (shot.hz(name), name, len(column))
            for name, column in shot.columns.measured.items()
            if shot.two_banks or bank_of_signal(name) != 2
        ),
        reverse=True,
    )
    lines = []
    for hz, name, count in rows:
        bank = bank_of_signal(name)
        title = titled(name)
        text = f"{clip(title, 30):<30} {hz:6.1f}/s {count:>7}"
        lines.append((text, look(BANK_INK[bank])))
    return lines or [(NO_VALUE, _SOFT)]


def _draw_lines(area: Canvas, y: int, title: str, lines: list[tuple[str, int]]) -> None:
    y = heading(area, y, title)
    for text, code in lines:
        area.put(1, y, clip(text, area.width - 2), code)
        y += 1
