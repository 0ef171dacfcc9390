"""The engine: ticks in, flags out. The same code for a live drive and a recorded one.

Everything it says is a function of the session so far; how the session was handed over
cannot change it. A rule is tried when its flag could change: one that must hold for
ten seconds is looked at every ten seconds, over all the ticks since, and as soon as it
could rise once it has begun to hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from bankwise.signals import figures
from bankwise.signals.catalogue import SIGNALS, Pace
from bankwise.signals.claims import CannotTell, cannot_tell, exists
from bankwise.signals.columns import Columns
from bankwise.signals.explanations import Explanation, explain
from bankwise.signals.frame import Frame
from bankwise.signals.places import (
    EACH_BANK,
    EACH_FRONT,
    EACH_REAR,
    EACH_SENSOR,
    ENGINE,
    Place,
    place_of,
)
from bankwise.signals.rules import RULES, Kind, Rule
from bankwise.signals.severity import Severity
from bankwise.signals.thresholds import DEFAULTS, Thresholds
from bankwise.signals.trial import Trial
from bankwise.signals.windows import TICK_S
from bankwise.signals.words import figure, fill

__all__ = [
    "TICK_S",
    "CannotTell",
    "Engine",
    "Explanation",
    "FlagEvent",
    "FlagSpan",
    "Severity",
]


@dataclass(frozen=True, slots=True)
class FlagEvent:
    """A flag rose or cleared. `state`: raised or cleared; `t` in seconds."""

    t: float
    id: str
    state: str
    about: str
    severity: Severity
    text: str


@dataclass(frozen=True, slots=True)
class FlagSpan:
    """A flag of this session, all its stretches together.

    Attributes:
        id, about, severity: of its rule.
        first_s: when it first rose. Unit: seconds.
        last_s: when its condition last held while it was up. Unit: seconds.
        total_s: how long it was up in all. Unit: seconds.
        spans: its stretches, `(raised, cleared)`; the last may still be open and then
            ends at the newest tick. Unit: seconds.
        active: whether it is up now.
        rule: the record with all its words.
        text: the sentence with the figures of its last rise.
    """

    id: str
    about: str
    severity: Severity
    first_s: float
    last_s: float
    total_s: float
    spans: tuple[tuple[float, float], ...]
    active: bool
    rule: Rule
    text: str


_PLACES: dict[Kind, tuple[Place, ...]] = {
    Kind.ENGINE: (ENGINE,),
    Kind.LINK: (Place("link"),),
    Kind.BANK: EACH_BANK,
    Kind.FRONT: EACH_FRONT,
    Kind.REAR: EACH_REAR,
    Kind.SENSOR: EACH_SENSOR,
    Kind.SESSIONS: (),
}


def _signal_places() -> tuple[Place, ...]:
    return tuple(
        Place(signal.name, signal.bank, signal.position)
        for signal in SIGNALS.values()
        if signal.pace is Pace.FAST
    )


_FAST = _signal_places()


class Engine:
    """Watches one session.

    Args:
        thresholds: the limits in force.
        rules: the flags to try, in order; rules that void others stand earlier.
    """

    def __init__(
        self, thresholds: Thresholds = DEFAULTS, rules: tuple[Rule, ...] = RULES
    ) -> None:
        self.thresholds = thresholds
        self.frame = Frame(thresholds)
        self.rules = rules
        self._trials: dict[tuple[str, str], Trial] = {}
        self._voids: list[Trial] = []
        self._texts: dict[tuple[str, str], str] = {}

    def advance(self, columns: Columns, until_s: float) -> list[FlagEvent]:
        """Evaluates every new tick up to `until_s`; returns what changed, in order.

        Everything up to `until_s` must have been seen.
        """
        hi = int(np.floor(until_s / TICK_S)) + 1
        if hi <= self.frame.n:
            return []
        self.frame.advance(columns, hi)
        events: list[FlagEvent] = []
        places = {kind: self._places(kind, columns) for kind in Kind}
        for rule in self.rules:
            for place in places[rule.kind]:
                trial = self._trial(rule, place)
                if trial.due < hi:
                    for tick, raised in trial.advance(self.frame, self._voids):
                        events.append(self._event(rule, place, tick, raised))
        # Stable: flags of one tick keep the order of the rules.
        events.sort(key=lambda event: event.t)
        return events

    @property
    def flags(self) -> list[FlagSpan]:
        """Every flag that rose so far, in the order of the rules."""
        return [
            self._span(rule, about)
            for rule in self.rules
            for id_, about in sorted(self._trials)
            if id_ == rule.id and self._trials[id_, about].hold.raised >= 0
        ]

    def explanations(self) -> list[Explanation]:
        """The causes that would explain what was seen, ranked."""
        return explain(self.frame, self.flags, self.frame.columns)

    def figures(self) -> dict[str, Any]:
        """Figures of the session, ready for JSON: every number finite or None."""
        return figures.figures(self.frame)

    def cannot_tell(self) -> list[CannotTell]:
        """What was not judged, and why."""
        return cannot_tell(self.frame)

    def _places(self, kind: Kind, columns: Columns) -> list[Place]:
        if kind is Kind.CODE:
            codes = {code: None for read in columns.codes for code in read.codes}
            return [place_of(code) for code in codes]
        if kind is Kind.SIGNAL:
            return [p for p in _FAST if self.frame.seen(p.about)]
        return [p for p in _PLACES[kind] if exists(self.frame, p)]

    def _trial(self, rule: Rule, place: Place) -> Trial:
        trial = self._trials.get((rule.id, place.about))
        if trial is None:
            trial = Trial(rule, place, self.thresholds[rule.hold])
            trial.begin(self.frame.newest, len(self._trials))
            self._trials[rule.id, place.about] = trial
            if trial.voids:
                self._voids.append(trial)
        return trial

    def _event(self, rule: Rule, place: Place, tick: int, raised: bool) -> FlagEvent:
        key = rule.id, place.about
        if raised:
            values = {
                word: figure(name, self.frame.at(name, tick))
                for word, pattern in rule.figures.items()
                for name in (place.fill(pattern),)
            }
            other = f"B{3 - place.bank}" if place.bank else ""
            self._texts[key] = fill(rule.text, place.about, other, values)
        return FlagEvent(
            tick * TICK_S,
            rule.id,
            "raised" if raised else "cleared",
            place.about,
            rule.severity,
            self._texts[key],
        )

    def _span(self, rule: Rule, about: str) -> FlagSpan:
        trial = self._trials[rule.id, about]
        hold = trial.hold
        if hold.active and trial.done < self.frame.n:
            trial.advance(self.frame, self._voids)
        ticks = list(hold.spans)
        if hold.active:
            ticks.append((hold.raised, self.frame.n - 1))
        spans = tuple((first * TICK_S, end * TICK_S) for first, end in ticks)
        return FlagSpan(
            rule.id,
            about,
            rule.severity,
            spans[0][0],
            max(hold.true_at * TICK_S, spans[0][0]),
            sum(end - first for first, end in spans),
            spans,
            hold.active,
            rule,
            self._texts[rule.id, about],
        )
