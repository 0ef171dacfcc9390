"""Every key of the screen, in one table that the help overlay is made of.

A key means the same everywhere; the few that belong to one situation are listed
under it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Group(Enum):
    """The headings of the help overlay."""

    GO = "Where to look"
    TIME = "Time"
    NOTE = "Marks and flags"
    LANES = "Lanes"
    PLAY = "Replay"
    SCREEN = "Screen"


@dataclass(frozen=True, slots=True)
class Key:
    """One key.

    Attributes:
        keys: names as Textual gives them, the first one shown.
        action: what it does: a name in `actions.ACTIONS`.
        words: the same for a person.
        group: its heading in the help.
        shown: how the key is written, where its name is not what is on it.
        short: a word for the bottom line, or empty to keep it off.
        arg: how far, which way, or which one.
    """

    keys: tuple[str, ...]
    action: str
    words: str
    group: Group
    shown: str = ""
    short: str = ""
    arg: float | str | None = None

    @property
    def label(self) -> str:
        """How the key is written."""
        return self.shown or self.keys[0]


_G, _T, _N, _L, _P, _S = (
    Group.GO,
    Group.TIME,
    Group.NOTE,
    Group.LANES,
    Group.PLAY,
    Group.SCREEN,
)

SITUATIONS = (
    ("road", "1", "Road test"),
    ("warmup", "2", "Warm-up"),
    ("guided", "3", "Guided tests"),
    ("codes", "4", "Codes"),
    ("flags", "5", "Flags"),
    ("figures", "6", "Figures"),
    ("review", "7", "Review"),
    ("sessions", "8", "Sessions"),
)
"""Every situation: id, key and title."""

KEYS: tuple[Key, ...] = (
    *(Key((key,), "situation", title, _G, arg=name) for name, key, title in SITUATIONS),
    Key(("0",), "start", "start again: adapter, session or demo", _G),
    Key(("space",), "hold", "hold still or go on; it records on", _T, "", "hold"),
    Key(("left",), "scroll", "back, or cursor to the left", _T, "←", arg=-0.1),
    Key(("right",), "scroll", "on, or cursor to the right", _T, "→", arg=0.1),
    Key(("shift+left", "pageup"), "scroll", "far back", _T, "⇧←", arg=-0.9),
    Key(("shift+right", "pagedown"), "scroll", "far on", _T, "⇧→", arg=0.9),
    Key(("plus", "equals_sign"), "zoom", "shorter window", _T, "+", arg=1),
    Key(("minus",), "zoom", "longer window", _T, "−", arg=-1),
    Key(("c",), "cursor", "cursor: read values at a moment", _T, "", "cursor"),
    Key(("x",), "anchor", "measure from here to the cursor", _T),
    Key(("right_square_bracket",), "jump", "to the next flag or mark", _T, "]", arg=1),
    Key(("left_square_bracket",), "jump", "to the one before", _T, "[", arg=-1),
    Key(("g",), "go_to", "to a moment, typed as m:ss", _T),
    Key(("home",), "to_start", "to the beginning", _T),
    Key(("n", "end"), "to_now", "back to now", _T, "n", "now"),
    Key(("m",), "mark", "mark this moment at once", _N, "", "mark"),
    Key(("M", "shift+m"), "note", "mark it and write a note", _N, "M"),
    Key(("o",), "open_newest", "open the newest flag's proof", _N, "", "proof"),
    Key(("a",), "acknowledge", "seen: acknowledge the flags that are up", _N),
    Key(("b",), "bell", "bell on or off", _N),
    Key(("l",), "lanes", "choose, reorder and enlarge lanes", _L),
    Key(("s",), "sweep", "sweep or scroll", _L),
    Key(("full_stop",), "step", "on by one step of half a second", _P, ".", arg=1),
    Key(("comma",), "step", "back by one step", _P, ",", arg=-1),
    Key(("greater_than_sign",), "speed", "faster", _P, ">", arg=1),
    Key(("less_than_sign",), "speed", "slower", _P, "<", arg=-1),
    Key(("up", "k"), "pick", "the row above", _G, "↑", arg=-1),
    Key(("down", "j"), "pick", "the row below", _G, "↓", arg=1),
    Key(("enter",), "open", "open or use the row picked", _G, "⏎"),
    Key(("escape",), "close", "close what is open", _G, "esc"),
    Key(("t",), "theme", "next theme: dark, sun, night", _S, "", "theme"),
    Key(("question_mark", "h", "f1"), "help", "this help", _S, "?", "help"),
    Key(("ctrl+p", "colon"), "palette", "all commands by name", _S, "ctrl+p"),
    Key(
        ("q", "ctrl+q", "ctrl+c"),
        "leave",
        "quit; asks while recording",
        _S,
        "q",
        "quit",
    ),
)
"""All keys that mean the same everywhere."""
