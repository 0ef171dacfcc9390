"""What a pane is given to draw: the session so far and the screen's own state.

Frozen: a pane can read it at leisure, and nothing a pane does reaches the engine.
Columns only grow at their end, so the arrays in it stay as they were.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Protocol

import numpy as np

from bankwise.signals import evidence as codes
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Columns, Floats
from bankwise.signals.remarks import mark_time
from bankwise.signals.severity import Severity
from bankwise.signals.similar_conditions import Entered
from bankwise.tui.drawn import Drawn
from bankwise.tui.timeview import TimeView


class Ticks(Protocol):
    """The engine's derived signals, one value a tick."""

    @property
    def ticks(self) -> Floats:
        """Times of the ticks. Shape (n,). Unit: s."""
        ...

    def __getitem__(self, name: str) -> Floats:
        """Values of a derived signal, NaN for none. Shape (n,)."""
        ...

    def why(self, name: str) -> str:
        """Why a signal has no value now, or empty."""
        ...


@dataclass(frozen=True, slots=True)
class Limit:
    """A threshold a flag compares with, as shown in its proof."""

    name: str
    value: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class Flag:
    """A flag as the screen shows it; times in seconds of the session."""

    id: str
    about: str
    severity: Severity
    text: str
    first_s: float
    last_s: float
    total_s: float
    spans: tuple[tuple[float, float], ...]
    active: bool
    does_not_prove: str = ""
    causes: tuple[str, ...] = ()
    next: str = ""
    caution: str = ""
    source: str = ""
    limits: tuple[Limit, ...] = ()

    @property
    def key(self) -> tuple[str, str]:
        """What makes it this flag and no other: its id and what it is about."""
        return (self.id, self.about)

    @property
    def last_rise_s(self) -> float:
        """When it rose last. Unit: s."""
        return self.spans[-1][0] if self.spans else self.first_s

    @property
    def bank(self) -> int | None:
        """The bank it speaks about, or None."""
        return bank_of(self.about)


@dataclass(frozen=True, slots=True)
class Cause:
    """One row of the ledger of explanations."""

    id: str
    about: str
    share: float
    speaks_for: tuple[str, ...]
    against: tuple[str, ...]
    next: str


@dataclass(frozen=True, slots=True)
class Unsaid:
    """What the data cannot tell, and why."""

    about: str
    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Link:
    """Where the records come from, and where they go.

    Attributes:
        kind: `live`, `simulated` or `replay`.
        state: `connecting`, `up`, `lost` or `closed`.
        words: what the source is doing, in plain words.
        file: name of the file being written, or empty.
        size: bytes written.
        sealed_s: session time of the newest seal, or None.
        error: why recording stopped, or empty.
        speed: replay speed; 1 for the rest.
        playing: False while a replay stands still.
        length_s: length of a recorded session, or None.
    """

    kind: str = "live"
    state: str = "connecting"
    words: str = ""
    file: str = ""
    size: int = 0
    sealed_s: float | None = None
    error: str = ""
    speed: float = 1.0
    playing: bool = True
    length_s: float | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The session so far.

    Attributes:
        now_s: session time. Unit: s.
        columns: what was measured.
        ticks: what the engine derived.
        flags: every flag raised so far, newest first.
        causes: the ledger, most likely first.
        unsaid: what the data cannot tell.
        figures: as `bankwise check --json` names them.
        link: source and recording.
        holes: stretches without a usable answer. Unit: s.
        lag_ms: how late the screen is. Unit: ms.
        exchanges_hz: answers a second, lately. Unit: Hz.
        evidence: what was read of codes and their history; None until asked for.
        code_against: what this drive says against a code, by code.
        behind: records that have come and are still to be read.
        code_words: what a code stands for, by code.
        unread: requests without an answer while codes are being read, else None.
        windows: a freeze frame's conditions, and when the drive entered them.
    """

    now_s: float
    columns: Columns
    ticks: Ticks
    flags: tuple[Flag, ...] = ()
    causes: tuple[Cause, ...] = ()
    unsaid: tuple[Unsaid, ...] = ()
    figures: Mapping[str, Any] = field(default_factory=dict)
    link: Link = Link()
    holes: tuple[tuple[float, float], ...] = ()
    lag_ms: float = 0.0
    exchanges_hz: float = 0.0
    evidence: codes.Snapshot | None = None
    unread: int | None = None
    code_words: Mapping[str, str] = field(default_factory=dict)
    behind: int = 0
    code_against: Mapping[str, str] = field(default_factory=dict)
    windows: tuple[Entered, ...] = ()

    @property
    def active(self) -> tuple[Flag, ...]:
        """The flags up now, most urgent first, then newest."""
        up = [flag for flag in self.flags if flag.active]
        return tuple(sorted(up, key=lambda f: (-f.severity.rank, -f.first_s)))

    @property
    def two_banks(self) -> bool:
        """Whether the car has a second bank, as far as is known; True until it is."""
        supported = self.columns.supported
        if any(len(self.columns[name]) for name in _SECOND_BANK):
            return True
        return supported is None or not supported.isdisjoint(_SECOND_BANK)

    def knows(self, name: str) -> bool:
        """Whether a measured or derived signal has had any value."""
        if name in SIGNALS:
            return len(self.columns[name]) > 0
        return bool(np.isfinite(self.series(name)[1]).any())

    def series(self, name: str) -> tuple[Floats, Floats]:
        """Times and values of a measured or derived signal; empty when unknown."""
        if name in SIGNALS or name in self.columns.signals:
            column = self.columns[name]
            return column.t, column.v
        try:
            values = self.ticks[name]
        except KeyError:
            return _NOTHING, _NOTHING
        times = self.ticks.ticks
        count = min(len(times), len(values))
        return times[:count], values[:count]

    def value(self, name: str, at_s: float | None = None) -> float:
        """The newest value at a moment, or NaN; too old is no value.

        Args:
            name: a measured or derived signal.
            at_s: the moment; now when None.
        """
        t, v = self.series(name)
        place = len(t) if at_s is None else int(np.searchsorted(t, at_s, "right"))
        if place == 0:
            return float("nan")
        age = (self.now_s if at_s is None else at_s) - t[place - 1]
        return float(v[place - 1]) if age <= _stale_s(t, place) else float("nan")

    def hz(self, name: str) -> float:
        """Samples a second of a signal over the last ten seconds it has."""
        t = self.columns[name].t
        recent = t[np.searchsorted(t, self.now_s - _RATE_WINDOW_S) :]
        if len(recent) < 2:
            return 0.0
        return float((len(recent) - 1) / max(recent[-1] - recent[0], 1e-9))


@dataclass(frozen=True, slots=True)
class PaneState:
    """What a person did in one pane: the row picked and whether it is open."""

    picked: int = 0
    opened: bool = False
    first_row: int = 0
    tag: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """The screen's own state, as far as panes need it to draw.

    Attributes:
        view: the window on time and its cursors.
        lanes: ids of the lanes to show, in order.
        tall: ids of the lanes drawn larger.
        sweep: whether a write head moves instead of the traces.
        plain: whether colour cannot tell the banks apart.
        acknowledged: keys of the flags a person has seen.
        state: what was done in the pane being drawn.
        bell: whether the bell rings.
        files: saved sessions as rows of text, newest first.
        notes: rows of text that a pane keeps between two frames.
        drawn: drawings kept between two frames; None draws everything afresh.
    """

    view: TimeView = field(default_factory=TimeView)
    lanes: tuple[str, ...] = ()
    tall: frozenset[str] = frozenset()
    sweep: bool = False
    plain: bool = False
    acknowledged: frozenset[tuple[str, str]] = frozenset()
    state: PaneState = PaneState()
    bell: bool = True
    files: tuple[tuple[str, ...], ...] = ()
    notes: tuple[str, ...] = ()
    drawn: Drawn | None = field(default=None, compare=False)


_NOTHING: Floats = np.empty(0)
_SECOND_BANK = ("stft_b2_pct", "ltft_b2_pct", "o2_b2s1_v", "lambda_b2s1")
_RATE_WINDOW_S = 10.0
_STALE_INTERVALS = 4.0
_STALE_S = 3.0
_ALONE_S = 15.0


def _stale_s(t: Floats, place: int) -> float:
    # Four usual intervals, never under 3 s. Our choice: one late poll is no outage.
    recent: list[float] = t[max(place - 8, 0) : place].tolist()
    if len(recent) < 2:
        return _ALONE_S
    gaps = sorted(b - a for a, b in pairwise(recent))
    return max(_STALE_S, _STALE_INTERVALS * gaps[len(gaps) // 2])


def bank_of(about: str) -> int | None:
    """The bank that `B1` or `B2S1` belongs to; None for the rest."""
    if len(about) >= 2 and about[0] == "B" and about[1] in "12":
        return int(about[1])
    return None


def moments(shot: Snapshot) -> Sequence[float]:
    """Times worth jumping to: marks and risings of flags, in order. Unit: s."""
    times = {mark_time(mark) for mark in shot.columns.marks}
    times |= {span[0] for flag in shot.flags for span in flag.spans}
    return sorted(times)
