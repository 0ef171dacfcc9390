"""Lists that panes share: a picked row, kept in sight."""

from __future__ import annotations

from dataclasses import replace

from bankwise.tui.canvas import Canvas
from bankwise.tui.snapshot import PaneState
from bankwise.tui.themes import BOLD, Ink, Paper, look
from bankwise.tui.words import wrap


def step(state: PaneState, name: str, count: int) -> PaneState:
    """The state after `up`, `down`, `open` or `close` in a list of `count` rows."""
    if name == "up":
        return replace(state, picked=max(min(state.picked, count) - 1, 0), opened=False)
    if name == "down":
        last = max(count - 1, 0)
        return replace(state, picked=min(state.picked + 1, last), opened=False)
    if name == "open":
        return replace(state, opened=count > 0)
    if name == "close":
        return replace(state, opened=False, tag="")
    return state


def first_row(picked: int, count: int, height: int) -> int:
    """The first row to draw so that the picked one is in sight, near the middle."""
    return max(min(picked - height // 2, count - height), 0)


def heading(area: Canvas, y: int, text: str, note: str = "") -> int:
    """A heading with a rule under it; returns the row after it."""
    x = area.put(1, y, text, look(Ink.TEXT, attributes=BOLD))
    area.put(x + 2, y, note, look(Ink.SOFT))
    if y + 1 < area.height:
        area.chars[y + 1, 1 : area.width - 1] = ord("─")
        area.looks[y + 1, 1 : area.width - 1] = look(Ink.FAINT)
    return y + 2


def paragraph(
    area: Canvas, y: int, text: str, code: int = look(Ink.TEXT), x: int = 1
) -> int:
    """Wrapped text; returns the row after it."""
    for line in wrap(text, area.width - x - 1):
        area.put(x, y, line, code)
        y += 1
    return y


def pick_bar(area: Canvas, y: int, rows: int = 1) -> None:
    """Marks rows as picked: another paper, and a sign for where colour is missing."""
    if 0 <= y < area.height:
        part = area.looks[y : y + rows]
        part[:] = (part & 0xFF0F) | (int(Paper.PICK) << 4)
        area.chars[y, 0] = ord("›")
