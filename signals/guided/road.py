"""The road drive plan: the legs a verdict needs, ticked off as the data shows them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import Bools
from bankwise.signals.driving import Driving
from bankwise.signals.explanations import unseen
from bankwise.signals.guided.case import Case, SoFar
from bankwise.signals.guided.figures import derived, engine, trims
from bankwise.signals.guided.script import (
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
    undone,
)
from bankwise.signals.similar_conditions import Window, entered_at, window_of

TICK_S = 0.5
SETTLED_S = 60.0
"""How long long-term trims must stand still. Unit: s. Common practice, no source."""
HILL_LOAD_PCT = 60.0
"""A steady climb loads the engine at least so. Unit: %. Common practice, no source."""
HELD_LOW_RPM, HELD_HIGH_RPM = 2250.0, 2750.0
SPEED_HZ, TRIM_HZ = 1.0, 0.5
"""Slowest sampling that shows a leg of three seconds, and trims in one of twenty. Unit:
Hz. Our choice."""
FREEZE_FRAME = "freeze-frame"
"""Name of the fact that gives engine speed, load and coolant of the freeze frame."""


@dataclass(frozen=True, slots=True)
class Leg:
    """One leg: what to drive, where it counts, and how long is enough."""

    id: str
    words: str
    least_s: float
    counts: Callable[[Case], Bools]


def _in_state(*states: Driving) -> Callable[[Case], Bools]:
    codes = [float(state.value) for state in states]

    def inside(case: Case) -> Bools:
        found: Bools = np.isin(case.ticks("state"), codes)
        return found

    return inside


def _warm(counts: Callable[[Case], Bools]) -> Callable[[Case], Bools]:
    def both(case: Case) -> Bools:
        inside, warm = counts(case), case.ticks("warm")
        count = min(len(inside), len(warm))
        found: Bools = inside[:count] & (warm[:count] == 1)
        return found

    return both


def _held_2500(case: Case) -> Bools:
    rpm, speed = case.ticks("rpm"), case.ticks("speed_kmh")
    found: Bools = (rpm > HELD_LOW_RPM) & (rpm < HELD_HIGH_RPM)
    if len(speed) == len(rpm):
        found &= ~(speed > 1)
    return found


def _hill(case: Case) -> Bools:
    load, speed = case.ticks("load_pct"), case.ticks("speed_kmh")
    state = case.ticks("state")
    if not len(load) == len(speed) == len(state):
        return np.zeros(0, dtype=np.bool_)
    found: Bools = (load > HILL_LOAD_PCT) & (speed > 20)
    found &= state != float(Driving.WIDE_OPEN.value)
    return found


LEGS: tuple[Leg, ...] = (
    Leg("idle", "idle, warm", 60.0, _warm(_in_state(Driving.IDLE))),
    Leg("2500", "2500 rpm held, standing", 20.0, _warm(_held_2500)),
    Leg("cruise", "steady cruise", 60.0, _warm(_in_state(Driving.CRUISE))),
    Leg("pull", "full throttle", 3.0, _warm(_in_state(Driving.WIDE_OPEN))),
    Leg("cut", "fuel cut", 3.0, _warm(_in_state(Driving.FUEL_CUT))),
    Leg("hill", "a hill: load above 60 %", 10.0, _warm(_hill)),
)
"""The legs, in the order they are listed. Times: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Ticked:
    """How far one leg has come. `seen_s`, `least_s`: in seconds."""

    id: str
    words: str
    seen_s: float
    least_s: float

    @property
    def done(self) -> bool:
        """Whether it was driven long enough."""
        return self.seen_s >= self.least_s


def legs(case: Case) -> tuple[Ticked, ...]:
    """Every leg with the time driven in it so far."""
    found = []
    for leg in LEGS:
        seen = float(np.count_nonzero(leg.counts(case))) * TICK_S
        found.append(Ticked(leg.id, leg.words, seen, leg.least_s))
    window = window_given(case)
    if window is not None:
        entered = entered_at(window, case.columns, case.run.began)
        inside = entered is not None and entered <= case.run.until
        words = (
            f"the freeze frame's window: {window.rpm[0]:.0f}–{window.rpm[1]:.0f} rpm, "
            f"load {window.load[0]:.0f}–{window.load[1]:.0f} %"
        )
        found.append(Ticked(FREEZE_FRAME, words, float(inside), 1.0))
    return tuple(found)


def frame_words(values: dict[str, float]) -> str:
    """A freeze frame as it stands in a mark: speed, load, coolant when known."""
    names = ("rpm", "load_pct", "ect_c")
    return ",".join(f"{values[name]:g}" for name in names if name in values)


def window_given(case: Case) -> Window | None:
    """The freeze frame's window, when one was noted for this run."""
    words = case.run.given.get(FREEZE_FRAME, "")
    try:
        numbers = [float(word) for word in words.split(",")]
    except ValueError:
        return None
    names = ("rpm", "load_pct", "ect_c")
    return window_of(dict(zip(names, numbers, strict=False)))


def _judge(case: Case) -> tuple[Finding, ...]:
    found = []
    ticked = legs(case)
    for leg in ticked:
        unit = "" if leg.id == FREEZE_FRAME else f" {leg.seen_s:.0f} s"
        if leg.done:
            text = f"Driven: {leg.words}{unit and ','}{unit}."
        elif leg.seen_s:
            text = f"Too short: {leg.words},{unit} of {leg.least_s:.0f} s."
        else:
            text = f"Missing: {leg.words}."
        found.append(Finding("engine", text))
    if window_given(case) is None:
        text = "No freeze frame is known: read the codes before the drive."
        found.append(Finding("engine", text))
    found.extend(_learning(case, bank) for bank in case.banks)
    missing = unseen(SoFar(case))
    if missing:
        text = f"A verdict still lacks: {', '.join(missing)}."
    else:
        text = "A verdict has what it needs."
    found.append(Finding("engine", text))
    if case.run.ended:
        count = sum(leg.done for leg in ticked)
        text = f"{count} of {len(ticked)} legs were driven."
        if count:
            found.append(Finding("engine", text, "done"))
        else:
            instead = "Drive a warm car, and end the test when nothing is missing."
            found.append(undone("engine", text[:-1], instead))
    return tuple(found)


def _learning(case: Case, bank: int) -> Finding:
    place = f"B{bank}"
    values = case.ticks(f"ltft_rate_b{bank}_pctpm")
    recent = values[-int(SETTLED_S / TICK_S) :]
    known = recent[np.isfinite(recent)]
    if len(known) < SETTLED_S / TICK_S / 2:
        return Finding(place, f"{place}: whether learning has settled is not known.")
    limit = case.limits["learning_pct_per_min"]
    fastest = float(np.max(np.abs(known)))
    if fastest > limit:
        text = f"{place} is still learning: up to {fastest:.1f} % a minute."
    else:
        text = f"{place}: learning has settled, {fastest:.1f} % a minute at most."
    return Finding(place, text)


def _watch(case: Case) -> tuple[Figure, ...]:
    done = [leg.done for leg in legs(case)]
    return (
        Figure(f"legs of {len(done)}", float(sum(done))),
        engine(case, "rpm", "rpm", ""),
        derived(case, "load_pct", "load", "%"),
        *trims(case),
    )


ROAD = GuidedTest(
    "road-plan",
    "Road drive plan",
    "Which legs a verdict still needs; ticked off as the data shows them.",
    Subject.ENGINE,
    ("driver-drives", "legal-roads"),
    (
        Step(
            "drive",
            "Drive the legs",
            "In any order, where it is legal and clear. The driver only drives. End "
            "the test when nothing is missing.",
        ),
    ),
    _judge,
    _watch,
    wants=(FREEZE_FRAME,),
    needs={"rpm": SPEED_HZ, "stft_b1_pct": TRIM_HZ, "stft_b2_pct": TRIM_HZ},
)
"""The road drive plan."""
