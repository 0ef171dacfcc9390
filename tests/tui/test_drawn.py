"""Drawings that are kept: copied while nothing changed, drawn anew when it did."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bankwise.tui.canvas import Canvas
from bankwise.tui.drawn import Drawn
from bankwise.tui.panes.table import PANES
from bankwise.tui.timeview import TimeView


def picture(pane: str, shot: Any, state: Any, size: tuple[int, int]) -> Canvas:
    """A situation drawn."""
    canvas = Canvas.blank(*size)
    PANES[pane].draw(canvas, shot, state)
    return canvas


def test_the_same_key_is_copied_and_another_drawn() -> None:
    """Drawn once for a key; another key or another size draws again."""
    count = []
    drawn = Drawn()

    def draw(area: Canvas) -> None:
        count.append(1)
        area.put(0, 0, "x")

    for key, width in ((1, 3), (1, 3), (2, 3), (2, 4)):
        area = Canvas.blank(width, 1)
        drawn.draw(area, "part", key, draw)
        assert area.text() == "x"
    assert len(count) == 3


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_kept_drawings_look_like_fresh_ones(
    make_shot: Any, make_look: Any, make_flag: Any, size: tuple[int, int]
) -> None:
    """After any change of time, view, lanes, flags or marks the picture is right."""
    first = make_shot(90.0)
    kept = make_look(drawn=Drawn())
    later = make_shot(91.0)
    marked = make_shot(91.0)
    marked.columns.marks.append(replace(marked.columns.marks[0], t=80.0))
    calm = make_shot(91.0, flags=(make_flag(60.0, 70.0, active=False),))
    steps: list[tuple[Any, dict[str, Any]]] = [
        (first, {}),
        (later, {}),
        (marked, {}),
        (calm, {}),
        (later, {"view": TimeView(30.0, 80.0, 70.0, 60.0)}),
        (later, {"view": TimeView(30.0, 80.0, 75.0)}),
        (later, {"sweep": True}),
        (later, {"plain": True}),
        (later, {"tall": frozenset(("rpm",))}),
        (later, {"lanes": ("trim", "rpm")}),
        (later, {"acknowledged": frozenset((later.flags[0].key,))}),
    ]
    for shot, changes in steps:
        state = replace(kept, **changes)
        fresh = picture("road", shot, replace(state, drawn=None), size)
        again = picture("road", shot, state, size)
        np.testing.assert_array_equal(again.chars, fresh.chars)
        np.testing.assert_array_equal(again.looks, fresh.looks)
