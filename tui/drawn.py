"""Drawings kept between two frames: what has not changed is copied, not drawn again.

Most of the screen changes a few times a second, the switching sensors ten times. A
part is drawn anew when its key differs; the key names everything it is made of.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING

from bankwise.tui.canvas import Canvas, Chars, Looks

if TYPE_CHECKING:
    from bankwise.tui.snapshot import Look, Snapshot

CALM_HZ = 4.0
"""How often the calm parts are drawn. Unit: Hz. Source: our choice, because numbers
that change more often than this cannot be read."""


class Drawn:
    """What each part looked like when it was drawn last."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[Hashable, Chars, Looks]] = {}

    def draw(
        self, area: Canvas, name: str, key: Hashable, draw: Callable[[Canvas], None]
    ) -> bool:
        """Draws a part, or copies it when its key and size are as before.

        Args:
            area: where; blank.
            name: which part.
            key: everything that the drawing is made of.
            draw: draws it on the area.

        Returns:
            True when it was drawn, False when it was copied.
        """
        kept = self._kept.get(name)
        if kept and kept[1].shape == area.chars.shape and kept[0] == key:
            area.chars[:] = kept[1]
            area.looks[:] = kept[2]
            return False
        draw(area)
        self._kept[name] = (key, area.chars.copy(), area.looks.copy())
        return True

    def clear(self) -> None:
        """Forgets everything."""
        self._kept.clear()


def draw_calmly(
    area: Canvas,
    name: str,
    shot: Snapshot,
    state: Look,
    more: Hashable,
    draw: Callable[[Canvas], None],
) -> None:
    """Draws a part of the screen a few times a second.

    Args:
        area: where; blank.
        name: which part.
        shot: what it is made of.
        state: how it is looked at; its `drawn` keeps the drawings, None keeps none.
        more: what else it is made of.
        draw: draws it on the area.
    """
    if state.drawn is None:
        draw(area)
        return
    view = state.view
    key = (
        None if view.held else math.floor(shot.now_s * CALM_HZ),
        view,
        id(shot.columns),
        len(shot.columns.measured),
        len(shot.columns.marks),
        shot.behind,
        shot.holes,
        [(flag.key, flag.active, len(flag.spans)) for flag in shot.flags],
        shot.windows,
        shot.two_banks,
        state.sweep,
        state.plain,
        more,
    )
    state.drawn.draw(area, name, tuple(map(_fixed, key)), draw)


def _fixed(part: object) -> Hashable:
    return tuple(part) if isinstance(part, list) else part
