"""One frame: the situation, and the fixed lines about it, on one canvas."""

from __future__ import annotations

from bankwise.tui.canvas import Canvas
from bankwise.tui.chrome import draw_alert, draw_bottom, draw_notice, draw_top
from bankwise.tui.panes import Pane
from bankwise.tui.panes.waiting import draw_waiting, is_waiting
from bankwise.tui.snapshot import Look, Snapshot

LEAST_ROWS, LEAST_COLUMNS = 12, 40
"""Below this nothing is drawn."""

_ROOMY_ROWS = 30
_STEADY = frozenset(("road", "warmup", "review"))


def fits(width: int, height: int) -> bool:
    """Whether there is room for a frame."""
    return width >= LEAST_COLUMNS and height >= LEAST_ROWS


def draw_frame(
    canvas: Canvas, pane: Pane, shot: Snapshot, state: Look, said: str
) -> None:
    """Draws a whole frame.

    Args:
        canvas: the whole screen, blank.
        pane: the situation.
        shot: the session so far.
        state: the screen's state, as the situation gets it.
        said: the answer to the last key, or empty.
    """
    width, height = canvas.width, canvas.height
    draw_top(canvas.part(0, 0, width, 1), pane.title, shot, state)
    draw_alert(canvas.part(0, 1, width, 1), shot, state)
    top = 3 if height >= _ROOMY_ROWS else 2
    draw = draw_waiting if is_waiting(shot) else pane.draw
    # Text must not be covered; lanes must not jump for a line that soon goes.
    foot = 2 if said and pane.id not in _STEADY else 1
    draw(canvas.part(0, top, width, height - top - foot), shot, state)
    draw_notice(canvas.part(0, height - 2, width, 1), said)
    draw_bottom(canvas.part(0, height - 1, width, 1), shot, state)
