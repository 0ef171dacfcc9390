"""What a person can get wrong at the command line, each with one plain line.

CommandError        something asked for cannot be done
├── NoTerminal      the screen has nothing to be shown on
├── NoSuchSession   no file and no known session of that name
└── NoSuchStory     no simulated story of that name
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


class CommandError(Exception):
    """Something asked for cannot be done; the message is one plain line."""

    title = "cannot be done"


class NoTerminal(CommandError):
    """A screen was asked for where there is no terminal."""

    title = "no terminal"

    def __init__(self) -> None:
        super().__init__(
            "the screen needs a terminal; `bankwise record` and `bankwise check` "
            "work without one"
        )


class NoSuchSession(CommandError):
    """Neither a file nor a saved or shipped session has this name."""

    title = "no such session"

    def __init__(self, name: str, known: Iterable[str] = ()) -> None:
        super().__init__(
            f"no session file {name!r}{_meant(name, known)}; "
            "`bankwise sessions` lists yours, `bankwise stories` the shipped ones"
        )


class NoSuchStory(CommandError):
    """The simulated car knows no story of this name."""

    title = "no such story"

    def __init__(self, name: str, known: Iterable[str] = ()) -> None:
        super().__init__(
            f"no story {name!r}{_meant(name, known)}; `bankwise stories` lists them"
        )


def _meant(name: str, known: Iterable[str]) -> str:
    near = get_close_matches(name, list(known), n=1)
    return f" (is it {near[0]!r}?)" if near else ""
