"""One clue, and what it is read from: flags raised and signals at ticks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from bankwise.signals.columns import Floats
from bankwise.signals.severity import Severity

RECENT_TICKS = 240
"""Two minutes of ticks: how far back a figure counts as the present one."""

NORMAL_TRIM_PCT = 10.0
"""A closed-loop trim beyond this is not normal. Source: Cadillac 2006, P0174."""

SWUNG_V = 0.4
"""Movement that no open input makes. Source: our choice: from a bias to either end."""


class Signals(Protocol):
    """What is asked of the frame."""

    @property
    def ticks(self) -> Floats:
        """Tick times; shape (n,). Unit: seconds."""
        ...

    def __getitem__(self, name: str) -> Floats:
        """Values at ticks; shape (n,), NaN where there is none."""
        ...


class Judged(Signals, Protocol):
    """What is asked of the frame where a limit counts."""

    @property
    def thresholds(self) -> Mapping[str, float]:
        """The limits in force, by name."""
        ...


class Raised(Protocol):
    """What is asked of a flag's record."""

    @property
    def id(self) -> str:
        """The rule's id."""
        ...

    @property
    def about(self) -> str:
        """Where it was raised."""
        ...

    @property
    def severity(self) -> Severity:
        """How urgent it is."""
        ...

    @property
    def active(self) -> bool:
        """Whether it is up now."""
        ...

    @property
    def first_s(self) -> float:
        """When it first rose. Unit: seconds."""
        ...

    @property
    def total_s(self) -> float:
        """How long it was active in all. Unit: seconds."""
        ...

    @property
    def text(self) -> str:
        """Its sentence with figures."""
        ...


@dataclass(frozen=True, slots=True)
class Clue:
    """One piece of evidence: a row of the ledger, a place, and words with figures."""

    kind: str
    about: str
    words: str


def clock_words(t: float) -> str:
    """A moment of the session as minutes and seconds, `2:05`."""
    return f"{int(t) // 60}:{int(t) % 60:02d}"


def signed(value: float) -> str:
    """A percentage with its sign, `+12 %` or `−12 %`."""
    return f"{value:+.0f} %".replace("-", "−")


def last(signals: Signals, name: str) -> float:
    """The newest known value of a signal, NaN when it never had one."""
    values = signals[name]
    known = np.flatnonzero(np.isfinite(values))
    return float(values[known[-1]]) if known.size else np.nan


def recent(signals: Signals, name: str) -> float:
    """The median of the last two minutes' known values, NaN without any."""
    values = signals[name][-RECENT_TICKS:]
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size else np.nan


def most(signals: Signals, name: str) -> float:
    """The largest known value of a signal so far, NaN when it never had one."""
    values = signals[name]
    values = values[np.isfinite(values)]
    return float(values.max()) if values.size else np.nan


def other_place(about: str) -> str:
    """The same place on the other bank."""
    return ("B2" if about[:2] == "B1" else "B1") + about[2:]
