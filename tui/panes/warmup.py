"""Warm-up: from the start to both banks in closed loop with every sensor awake."""

from __future__ import annotations

import math
from dataclasses import replace

from bankwise.tui import digits
from bankwise.tui.canvas import Canvas
from bankwise.tui.lane_table import LANES
from bankwise.tui.lanes import draw_stack
from bankwise.tui.panes.rows import heading
from bankwise.tui.snapshot import Look, Snapshot
from bankwise.tui.themes import BANK_INK, BOLD, Ink, look
from bankwise.tui.timeview import SPANS_S, TimeView
from bankwise.tui.words import NO_VALUE, clip, fuel_status, number

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_LANES = ("coolant", "slowfront", "rear", "trim", "rpm")
_SIDE_FROM = 100
_SIDE = 46


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws milestones of the warm-up and lanes over the whole of it."""
    beside = canvas.width >= _SIDE_FROM
    width = _SIDE if beside else canvas.width
    rows = canvas.height if beside else 9
    draw_milestones(canvas.part(0, 0, width, rows), shot, big=beside)
    view = state.view
    if not view.held:
        span = next((s for s in SPANS_S if s >= shot.now_s), SPANS_S[-1])
        view = TimeView(max(span, 60.0), max(span, 60.0))
    lanes = [LANES[name] for name in _LANES]
    if beside:
        area = canvas.part(width + 1, 1, canvas.width - width - 1, canvas.height - 1)
    else:
        area = canvas.part(0, rows, canvas.width, canvas.height - rows)
    own = replace(state, view=view, tall=frozenset(("coolant",)))
    draw_stack(area, shot, own, lanes)


def draw_milestones(area: Canvas, shot: Snapshot, big: bool) -> None:
    """Draws coolant with its slope, then each bank's closed loop and wake-ups."""
    coolant = shot.value("ect_c")
    y = heading(area, 0, "WARM-UP", "from the start of the engine")
    if big:
        area.put(1, y, "COOLANT °C", _BOLD)
        text = number(coolant, 0) if math.isfinite(coolant) else "––"
        digits.draw(area, 1, y + 1, text, look(Ink.TEXT))
        _figure(area, 18, y + 1, "slope", number(shot.value("ect_slope_cpm")), "°C/min")
        _figure(area, 18, y + 2, "plateau", number(shot.value("plateau_c"), 0), "°C")
        _figure(area, 18, y + 3, "at start", number(shot.value("ect_start_c"), 0), "°C")
        y += 6
    else:
        slope = number(shot.value("ect_slope_cpm"))
        plateau = number(shot.value("plateau_c"), 0)
        text = f"coolant {number(coolant, 0)} °C  {slope} °C/min  plateau {plateau} °C"
        area.put(1, y, clip(text, area.width - 2), _BOLD)
        y += 1
    running = shot.value("since_start_s")
    line = f"running {number(running, 0)} s"
    if shot.value("start_seen") != 1:
        line += " (its start was not seen)"
    area.put(1, y, clip(line, area.width - 2), _SOFT)
    y += 1 + big
    area.put(19, y, "bank 1", look(Ink.BANK1, attributes=BOLD))
    places = ((1, 19), (2, 31)) if shot.two_banks else ((1, 19),)
    if shot.two_banks:
        area.put(31, y, "bank 2", look(Ink.BANK2, attributes=BOLD))
    y += 1
    for title, pattern in (
        ("closed loop after", "closed_loop_entry_{}_s"),
        ("front awake after", "wake_up_{}s1_s"),
        ("rear awake after", "wake_up_{}s2_s"),
    ):
        area.put(1, y, title, _SOFT)
        for bank, x in places:
            value = shot.value(pattern.format(f"b{bank}"))
            text = (
                f"{value:.0f} s"
                if math.isfinite(value)
                else _waiting(shot, title, bank)
            )
            area.put(x, y, text, look(BANK_INK[bank], attributes=BOLD))
        y += 1
    if y < area.height:
        area.put(1, y, "loop now", _SOFT)
        for bank, x in places:
            words, _ = fuel_status(shot.value(f"status_b{bank}"))
            area.put(x, y, clip(words, 11), look(BANK_INK[bank]))


def _figure(area: Canvas, x: int, y: int, title: str, text: str, unit: str) -> None:
    area.put(x, y, title, _SOFT)
    end = area.put_right(x + 16, y, text, _BOLD) + len(text)
    area.put(end + 1, y, unit, _SOFT)


def _waiting(shot: Snapshot, title: str, bank: int) -> str:
    name = "o2_b{}s{}_v"
    if title.startswith("closed"):
        waited = shot.value(f"waiting_closed_b{bank}_s")
    else:
        position = 1 if title.startswith("front") else 2
        if shot.columns.supported is not None and not len(
            shot.columns[name.format(bank, position)]
        ):
            return NO_VALUE
        waited = shot.value(f"asleep_b{bank}s{position}_s")
    return f"not in {waited:.0f} s" if math.isfinite(waited) else "unknown"
