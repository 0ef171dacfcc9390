"""What a guided test asks of car and link, whatever it is about.

A person is told at once, before the next step; a run that went on regardless has no
verdict.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import LinkChange
from bankwise.signals.driving import STANDING_KMH
from bankwise.signals.guided.case import RUNNING_RPM, Case
from bankwise.signals.guided.script import Finding, GuidedTest, moment, undone
from bankwise.signals.seen import DIESELS

_UP_AGAIN = frozenset(("up", "back"))


def obstacle(test: GuidedTest, case: Case) -> str:
    """What must be put right before the next step; empty when nothing."""
    speed = case.now("speed_kmh")
    if test.standing and speed >= STANDING_KMH:
        return f"the car moves ({speed:.0f} km/h): stop first"
    rpm = case.now("rpm")
    if test.engine_off and rpm >= RUNNING_RPM:
        return f"the engine runs ({rpm:.0f} rpm): turn it off, key on"
    return ""


def diesel(case: Case) -> bool:
    """Whether the car says that it ignites by compression."""
    fuel = case.columns["fuel_type"]
    return bool(len(fuel)) and float(fuel.v[-1]) in DIESELS


def unfit(test: GuidedTest, case: Case) -> Finding | None:
    """Why a run is not judged at all; None when it may be."""
    about = case.run.about
    if test.spark and diesel(case):
        why = "this engine is a diesel, which runs lean on purpose"
        return undone(about, why, "Nothing here can be judged by this test.")
    if test.standing:
        _, speed = case.samples("speed_kmh", case.run.began, np.inf)
        if len(speed) and np.max(speed) >= STANDING_KMH:
            why = f"the car moved ({np.max(speed):.0f} km/h)"
            return undone(about, why, "Stand still, handbrake on, and begin again.")
    for hole in _holes(test, case):
        if hole.step in test.whole:
            return undone(about, f"the link was lost {hole.words}", "Begin again.")
    return None


def link_notes(test: GuidedTest, case: Case) -> tuple[Finding, ...]:
    """Where the link was lost in a run that is judged all the same."""
    found = {hole.start: hole for hole in reversed(_holes(test, case))}
    return tuple(
        Finding(
            case.run.about,
            f"The link was lost {hole.words}: what happened meanwhile was not seen.",
        )
        for _, hole in sorted(found.items())
    )


@dataclass(frozen=True, slots=True)
class _Hole:
    """A stretch without a link that touches a step. `start`: in seconds."""

    step: str
    start: float
    words: str


def _holes(test: GuidedTest, case: Case) -> list[_Hole]:
    """Every stretch without a link, for each step that it touches, in their order."""
    found = []
    for step in test.steps:
        span = case.span(step.id)
        if span is None:
            continue
        for start, end, why in _lost(case):
            if start < span[1] and end > span[0]:
                until = f"to {moment(end)}" if math.isfinite(end) else "on"
                told = f" ({why})" if why else ""
                words = f"from {moment(start)} {until}{told}, in “{step.say}”"
                found.append(_Hole(step.id, start, words))
    return found


def _lost(case: Case) -> list[tuple[float, float, str]]:
    """Stretches without a link up to the run's end: from, to, and why.

    The end is infinite while the link has not come back. Unit: s.
    """
    found: list[tuple[float, float, str]] = []
    since: LinkChange | None = None
    for change in case.columns.link:
        if change.state in _UP_AGAIN and since is not None:
            found.append((since.t, change.t, since.why))
            since = None
        elif change.state == "lost" and change.t <= case.run.until and since is None:
            since = change
    if since is not None:
        found.append((since.t, math.inf, since.why))
    return found
