"""Sessions: what was recorded, opened for replay or compared two by two."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bankwise.tui.canvas import Canvas
from bankwise.tui.keys import Group, Key
from bankwise.tui.messages import (
    CompareSessions,
    Intent,
    ListSessions,
    OpenSession,
    Say,
)
from bankwise.tui.panes.rows import first_row, heading, paragraph, pick_bar, step
from bankwise.tui.snapshot import Look, PaneState, Snapshot
from bankwise.tui.themes import BOLD, Ink, look
from bankwise.tui.words import clip

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)

KEYS = (
    Key(("v",), "before", "the drive before the repair", Group.GO),
    Key(("w",), "after", "the drive after it: compare the two", Group.GO),
    Key(("r",), "read", "read the list again", Group.GO),
    Key(("shift+up",), "scroll_up", "scroll the comparison up", Group.GO, "⇧↑"),
    Key(("shift+down",), "scroll_down", "scroll the comparison down", Group.GO, "⇧↓"),
)


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws the list, and under it the comparison once one was asked for."""
    rows = state.files
    notes = state.notes
    rows_height = canvas.height // 3 if notes else canvas.height
    hint = "newest first   ⏎ replay   v before   w after"
    y = heading(canvas, 0, "SESSIONS", hint)
    if not rows:
        paragraph(canvas, y, "r: read the list of saved sessions.", _SOFT)
    place = min(state.state.picked, max(len(rows) - 1, 0))
    shown = rows_height - y
    first = first_row(place, len(rows), shown)
    for i, (path, name, began, size, about) in enumerate(rows[first : first + shown]):
        canvas.put(1, y, "V" if path == state.state.tag else " ", _BOLD)
        canvas.put(3, y, clip(name, canvas.width // 3), _BOLD)
        x = canvas.width // 3 + 4
        canvas.put(x, y, f"{began:<16} {size:>9}", _SOFT)
        canvas.put(x + 28, y, clip(about, canvas.width - x - 29))
        if first + i == place:
            pick_bar(canvas, y)
        y += 1
    if notes:
        y = heading(canvas, rows_height, "BEFORE AND AFTER", "⇧↑ ⇧↓ scroll")
        for line in notes[state.state.first_row :]:
            canvas.put(1, y, clip(line, canvas.width - 2))
            y += 1


def act(name: str, _shot: Snapshot, state: Look) -> tuple[PaneState, Intent | None]:
    """Picks a session; replays it, keeps it as the one before, or compares."""
    own = state.state
    if name == "read" or not state.files:
        return own, ListSessions()
    path = state.files[min(own.picked, len(state.files) - 1)][0]
    match name:
        case "open":
            return own, OpenSession(Path(path))
        case "before":
            return replace(own, tag=path), Say("before chosen; pick the other, then w")
        case "after" if not own.tag:
            return own, Say("first choose the drive before the repair, with v")
        case "after":
            fresh = replace(own, first_row=0)
            return fresh, CompareSessions(Path(own.tag), Path(path))
        case "scroll_up" | "scroll_down":
            by = -5 if name == "scroll_up" else 5
            return replace(own, first_row=max(own.first_row + by, 0)), None
        case _:
            return replace(step(own, name, len(state.files)), tag=own.tag), None
