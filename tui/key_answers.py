"""Every key answers: where one changes nothing, a line says why."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from bankwise.tui.canvas import Canvas
from bankwise.tui.feed_kinds import Playing
from bankwise.tui.frame import draw_frame
from bankwise.tui.keys import Key
from bankwise.tui.panes import Pane
from bankwise.tui.snapshot import Look, Snapshot

if TYPE_CHECKING:
    from bankwise.tui.app import BankwiseApp

NOTHING: Mapping[str, str] = {
    "situation": "shown already",
    "hold": "nothing to hold before the first answer",
    "scroll": "nothing further that way",
    "zoom": "no further zoom that way",
    "to_start": "this is the beginning",
    "to_now": "this is now",
    "pick": "nothing to pick here",
    "open": "nothing to open here",
    "close": "nothing is open here",
    "step": "no step further that way",
}
"""What is said when a key of the table changed nothing, by action."""

_ELSE = "nothing to do here just now"
_SIZE = (100, 40)


def answer(app: BankwiseApp, key: Key, act: Callable[[], None]) -> None:
    """Does what a key means; says a line when nothing visible came of it."""
    outside, pane, look = _outside(app), app.pane, app.pane_look()
    act()
    if _outside(app) != outside:
        return
    shot = app.shot
    if shot is None or _picture(pane, shot, look) == _picture(
        app.pane, shot, app.pane_look()
    ):
        app.say(f"{key.label}: {NOTHING.get(key.action, _ELSE)}")


def _picture(pane: Pane, shot: Snapshot, look: Look) -> bytes:
    canvas = Canvas.blank(*_SIZE)
    draw_frame(canvas, pane, shot, replace(look, drawn=None), "")
    return canvas.chars.tobytes() + canvas.looks.tobytes()


def _outside(app: BankwiseApp) -> tuple[object, ...]:
    source = app.feed.source if app.feed is not None else None
    motion: tuple[object, ...] = ()
    if isinstance(source, Playing):
        motion = (source.paused, source.speed, source.epoch, source.now())
    return (
        app.pane_id,
        app.screen_stack[-1],
        app.said,
        app.files,
        app.notes,
        app.palette.name,
        app.return_code,
        motion,
    )
