"""What is shown before the first value: what is tried, and what to do about it."""

from __future__ import annotations

from bankwise.tui.canvas import Canvas
from bankwise.tui.panes.rows import heading, paragraph
from bankwise.tui.snapshot import Look, Snapshot
from bankwise.tui.themes import BOLD, Ink, look
from bankwise.tui.words import clock, sentence

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_WIDTH = 66
_SLOW_S = 8.0

CHECKS = (
    "Ignition on? Most control units say nothing without it.",
    "Adapter pushed home, its light on? A loose plug is the usual reason.",
    "Another program or phone connected to it? Close that first.",
    "Bluetooth: paired, and the port the one that pairing made?",
    "Wi-Fi: this computer in the adapter's own network?",
)
"""What to look at when nothing answers, most likely first. Common practice."""


def is_waiting(shot: Snapshot) -> bool:
    """Whether there is nothing to draw yet."""
    return not shot.columns.measured and shot.link.kind != "replay"


def draw_waiting(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws what the source is doing; after a while, what to check."""
    width = min(_WIDTH, canvas.width - 2)
    height = min(6 + 2 * len(CHECKS), canvas.height)
    area = canvas.part(
        (canvas.width - width) // 2, (canvas.height - height) // 3, width, height
    )
    y = heading(area, 0, "CONNECTING" if shot.link.state != "lost" else "NO LINK")
    y = paragraph(area, y, sentence(shot.link.words or "starting"), _BOLD)
    y = paragraph(area, y, f"for {clock(shot.now_s)}", _SOFT) + 1
    if shot.now_s < _SLOW_S and shot.link.state != "lost":
        return
    for check in CHECKS:
        if y < area.height:
            area.put(1, y, "·", _SOFT)
            y = paragraph(area, y, check, x=3)
