"""Sessions: what was recorded, newest first, opened for replay."""

from __future__ import annotations

from pathlib import Path

from bankwise.tui.canvas import Canvas
from bankwise.tui.keys import Group, Key
from bankwise.tui.messages import Intent, ListSessions, OpenSession
from bankwise.tui.panes.rows import first_row, heading, paragraph, pick_bar, step
from bankwise.tui.snapshot import Look, PaneState, Snapshot
from bankwise.tui.themes import BOLD, Ink, look
from bankwise.tui.words import clip

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)

KEYS = (Key(("r",), "read", "read the list again", Group.GO),)


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws the list."""
    rows = state.files
    y = heading(canvas, 0, "SESSIONS", "newest first   ⏎ replay   r read again")
    if not rows:
        paragraph(canvas, y, "r: read the list of saved sessions.", _SOFT)
    place = min(state.state.picked, max(len(rows) - 1, 0))
    shown = canvas.height - y
    first = first_row(place, len(rows), shown)
    for i, (_, name, began, size, about) in enumerate(rows[first : first + shown]):
        x = canvas.put(3, y, clip(name, canvas.width // 3), _BOLD)
        x = max(x + 2, canvas.width // 3 + 5)
        canvas.put(x, y, f"{began:<16} {size:>9}", _SOFT)
        canvas.put(x + 28, y, clip(about, canvas.width - x - 29))
        if first + i == place:
            pick_bar(canvas, y)
        y += 1


def act(name: str, _shot: Snapshot, state: Look) -> tuple[PaneState, Intent | None]:
    """Picks a session and replays it."""
    own = state.state
    if name == "read" or (not state.files and name in ("up", "down")):
        return own, ListSessions()
    if not state.files:
        return own, ListSessions()
    path = state.files[min(own.picked, len(state.files) - 1)][0]
    if name == "open":
        return own, OpenSession(Path(path))
    return step(own, name, len(state.files)), None
