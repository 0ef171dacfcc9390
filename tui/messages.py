"""What a pane asks of the app. A pane never acts itself; it returns one of these."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class MarkNow:
    """Note a remark at this moment; `tag` names the step of a guided test."""

    text: str
    tag: str | None = None


@dataclass(frozen=True, slots=True)
class Want:
    """Poll at other rates, by signal name; None for the usual ones. Unit: Hz."""

    rates: Mapping[str, float] | None


@dataclass(frozen=True, slots=True)
class Touch:
    """Do this to a simulated car, as its console lines say."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Several:
    """Several things, in order."""

    intents: tuple[Intent, ...]


@dataclass(frozen=True, slots=True)
class Ring:
    """Ring the terminal's bell, unless it is off."""


@dataclass(frozen=True, slots=True)
class Ask:
    """Ask the car these once, between two polls; none named: read the codes afresh."""

    requests: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ShowTime:
    """Show the road test's lanes about a moment. Unit: s."""

    t_s: float


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """A person has seen this flag."""

    key: tuple[str, str]


@dataclass(frozen=True, slots=True)
class OpenSession:
    """Replay a recorded session instead of what is shown now."""

    path: Path


@dataclass(frozen=True, slots=True)
class CompareSessions:
    """Compare two recorded sessions and show the result."""

    before: Path
    after: Path


@dataclass(frozen=True, slots=True)
class ListSessions:
    """Read the list of saved sessions again."""


@dataclass(frozen=True, slots=True)
class Say:
    """One line for the person, shown for a few seconds."""

    text: str


Intent = (
    MarkNow
    | Want
    | Touch
    | Several
    | Ring
    | Ask
    | ShowTime
    | Acknowledge
    | OpenSession
    | CompareSessions
    | ListSessions
    | Say
)
"""Everything a pane may ask for."""
