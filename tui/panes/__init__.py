"""The situations: each pane is a record with a function that draws it.

Panes are pure. They get a snapshot and the screen's state, draw on a canvas, and
answer keys with a new state and, at most, an intent for the app.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bankwise.tui.canvas import Canvas
from bankwise.tui.keys import Key
from bankwise.tui.messages import Intent
from bankwise.tui.snapshot import Look, PaneState, Snapshot

Draw = Callable[[Canvas, Snapshot, Look], None]
Watch = Callable[[Snapshot, PaneState], tuple[PaneState, Intent | None]]
Act = Callable[[str, Snapshot, Look], tuple[PaneState, Intent | None]]


@dataclass(frozen=True, slots=True)
class Pane:
    """One situation.

    Attributes:
        id: as in the key table.
        title: as on the top line.
        draw: draws it on the whole area between the fixed lines.
        act: answers `up`, `down`, `open`, `close` and the actions of `keys`, with
            the pane's new state and perhaps an intent; None for panes that only show.
        keys: keys that mean something in this pane only.
        every: drawn in one frame of so many; a key draws it at once.
        watch: looked at in every frame once a person has begun something in the
            pane, shown or not; as `act` without a key.
        needs: `figures`, `causes`, `evidence`: what is costly and only made on need.
    """

    id: str
    title: str
    draw: Draw
    act: Act | None = None
    keys: tuple[Key, ...] = ()
    needs: frozenset[str] = frozenset()
    every: int = 1
    watch: Watch | None = None
