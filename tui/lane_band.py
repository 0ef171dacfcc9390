"""The conditions of a freeze frame, as a band on the lanes of speed and load."""

from __future__ import annotations

from collections.abc import Sequence

from bankwise.signals.similar_conditions import Entered
from bankwise.tui.braille import BLANK, DOTS_Y
from bankwise.tui.canvas import Canvas
from bankwise.tui.themes import Ink, Paper, look
from bankwise.tui.words import clock

_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
ENTERED_SIGN = "✓"


def band_of(lane_id: str, windows: Sequence[Entered]) -> tuple[float, float] | None:
    """The limits on this lane; None when there is no freeze frame or no such limit."""
    entered = to_enter(windows)
    if entered is None:
        return None
    limits = {"rpm": entered.window.rpm, "load": entered.window.load}
    return limits.get(lane_id)


def to_enter(windows: Sequence[Entered]) -> Entered | None:
    """The window to drive into next: the first not entered, else the first of all."""
    left = [one for one in windows if one.at_s is None]
    return next(iter((*left, *windows)), None)


def window_words(windows: Sequence[Entered]) -> tuple[str, ...]:
    """Whether the drive has been in the freeze frame's window, longest form first."""
    one = to_enter(windows)
    if one is None:
        return ()
    if one.at_s is None:
        return (
            f"{one.code} freeze-frame window: not yet",
            "freeze-frame window: not yet",
            "window: not yet",
        )
    at = clock(one.at_s)
    return (
        f"{ENTERED_SIGN} {one.code} freeze-frame window: entered {at}",
        f"{ENTERED_SIGN} freeze-frame window: entered {at}",
        f"{ENTERED_SIGN} window {at}",
    )


def draw_band(
    area: Canvas, band: tuple[float, float], ends: tuple[float, float]
) -> None:
    """Tints the cells between the limits and dots the limits themselves.

    Args:
        area: the lane's plot, before its traces.
        band: lower and upper limit.
        ends: bottom and top of the plot.
    """
    bottom, top = ends
    last = area.height * DOTS_Y - 1
    rows = [
        min(max(round((top - value) / (top - bottom) * last), 0), last)
        for value in (band[1], band[0])
    ]
    first, final = rows[0] // DOTS_Y, rows[1] // DOTS_Y
    area.looks[first : final + 1] = look(Ink.SOFT, Paper.BAND)
    for row in rows:
        y, dot = divmod(row, DOTS_Y)
        line = area.chars[y]
        plain = (line < BLANK) | (line > BLANK + 0xFF)
        line[plain] = BLANK
        line |= _DOTS[dot][0]
