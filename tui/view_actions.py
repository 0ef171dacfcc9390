"""What the time keys do to the window, by the name in the key table."""

from __future__ import annotations

from bankwise.tui.snapshot import Snapshot, moments
from bankwise.tui.timeview import TimeView

_FAR = 0.5
_FINE_SHARE, _COARSE_SHARE = 1 / 140, 1 / 14


def scroll(view: TimeView, share: float, shot: Snapshot) -> TimeView:
    """Moves the window by a share of it; with a cursor, moves that instead."""
    if view.cursor_s is None:
        return view.scroll(share, shot.now_s)
    part = _COARSE_SHARE if abs(share) > _FAR else _FINE_SHARE
    step = view.span_s * part
    return view.move_cursor(step if share > 0 else -step, shot.now_s)


def jump(view: TimeView, forward: bool, shot: Snapshot) -> TimeView:
    """To the next or previous flag or mark."""
    return view.jump(moments(shot), forward, shot.now_s)


def to_start(view: TimeView, shot: Snapshot) -> TimeView:
    """To the beginning of the session."""
    return TimeView(view.span_s, min(view.span_s, shot.now_s))
