"""The flag rule: one record that holds a condition and all of its words.

A rule speaks about a kind of place and is tried for every such place of the car.
Its condition is a pure function over the ticks being evaluated; holding, clearing
and gating are the engine's business and the same for all rules.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol

from bankwise.signals.columns import Bools, Columns, Floats
from bankwise.signals.places import Place
from bankwise.signals.severity import Severity
from bankwise.signals.windows import Window


class Kind(Enum):
    """What kind of place a rule speaks about."""

    BANK = "bank"
    FRONT = "upstream sensor"
    REAR = "downstream sensor"
    SENSOR = "sensor"
    ENGINE = "engine"
    CODE = "code"
    SIGNAL = "signal"
    LINK = "link"
    SESSIONS = "session pair"


class Gate(Enum):
    """When a rule may speak. Source: common practice, no source.

    A signal that the car does not deliver opens its part of the gate.
    """

    NONE = "always"
    POWER = "control unit voltage in range"
    WARM = "voltage in range and coolant warm"
    CLOSED_LOOP = "warm, and the bank in closed loop long enough"


class View(Protocol):
    """What a condition sees: derived signals over the ticks being evaluated.

    In names `{b}` stands for the bank (`b1`), `{o}` for the other bank and `{s}` for
    the sensor (`b1s1`). A value that does not exist is NaN, so that every comparison
    with it is false.
    """

    @property
    def place(self) -> Place:
        """The place under trial."""
        ...

    @property
    def ticks(self) -> Floats:
        """The moments being evaluated; shape (ticks,). Unit: seconds."""
        ...

    @property
    def columns(self) -> Columns:
        """Codes and marks; only those at or before a tick count for it."""
        ...

    def __getitem__(self, name: str) -> Floats:
        """Values of a derived signal; shape (ticks,)."""
        ...

    def back(self, pattern: str, width: int) -> Floats:
        """Values with `width - 1` earlier ticks in front, NaN before the session."""
        ...

    def window(self, pattern: str, seconds: float) -> Window:
        """The samples of a raw signal in the seconds before each tick."""
        ...

    def limit(self, name: str) -> float:
        """The threshold of that name in force."""
        ...


Condition = Callable[[View], Bools]


@dataclass(frozen=True, slots=True)
class Rule:
    """One flag: when it rises and everything it says.

    Attributes:
        id: stable; appears in `--json`, session files and tests.
        kind: what it speaks about.
        severity: how urgent it is.
        condition: true at ticks where the data shows it.
        gate: when it may speak at all.
        hold: threshold that names how long it must be true before it rises.
        clear_s: how long it must be false before it clears. Unit: seconds.
        text: the plain sentence; a format string over `figures` and `{place}`.
        figures: placeholder → derived signal whose value the sentence shows.
        does_not_prove: the conclusion that would go too far.
        causes: likely causes, most likely first.
        next: the check that separates the causes.
        caution: id in `cautions.CAUTIONS`, or empty.
        limits: names of the thresholds it compares with.
        source: where the pattern comes from.
        trim_pattern: true when bad trims or a misfire make it unreliable: it cannot
            rise while one of `rules.TRIM_VOIDS` is active on the bank.
    """

    id: str
    kind: Kind
    severity: Severity
    condition: Condition
    gate: Gate
    hold: str
    clear_s: float
    text: str
    does_not_prove: str
    causes: tuple[str, ...]
    next: str
    source: str
    limits: tuple[str, ...] = ()
    figures: Mapping[str, str] = field(default_factory=dict)
    caution: str = ""
    trim_pattern: bool = False
