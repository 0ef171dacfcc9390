"""Every situation in one table."""

from __future__ import annotations

from bankwise.tui.keys import Group, Key
from bankwise.tui.panes import (
    Pane,
    codes,
    figures,
    flags,
    guided,
    review,
    road,
    sessions,
    warmup,
)

_FLAG_KEYS = (
    Key(("a",), "seen", "acknowledge the flag picked", Group.NOTE),
    Key(("v",), "show", "its lanes on the road test", Group.NOTE),
)

_TEXT = 3
"""Panes of text are drawn in one frame of three: nobody reads faster."""

PANES: dict[str, Pane] = {
    pane.id: pane
    for pane in (
        Pane("road", "Road test", road.draw, needs=frozenset(("causes",))),
        Pane("warmup", "Warm-up", warmup.draw),
        Pane(
            "guided",
            "Guided tests",
            guided.draw,
            guided.act,
            guided.KEYS,
            frozenset(("evidence",)),
            watch=guided.watch,
        ),
        Pane(
            "codes",
            "Codes",
            codes.draw,
            codes.act,
            codes.KEYS,
            frozenset(("evidence",)),
            _TEXT,
        ),
        Pane(
            "flags", "Flags", flags.draw, flags.act, _FLAG_KEYS, frozenset(("causes",))
        ),
        Pane("figures", "Figures", figures.draw, figures.act, every=_TEXT),
        Pane("review", "Review", review.draw),
        Pane(
            "sessions",
            "Sessions",
            sessions.draw,
            sessions.act,
            sessions.KEYS,
            every=_TEXT,
        ),
    )
}
"""Every situation by id."""
