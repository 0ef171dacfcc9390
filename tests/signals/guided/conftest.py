"""Guided tests on the simulated car in virtual time, and on hand-written series."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import pytest

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.cycle import PollCycle
from bankwise.adapters.recorder import new_header
from bankwise.adapters.records import Header, MarkRecord, Record
from bankwise.signals.columns import Columns, Mark
from bankwise.signals.engine import Engine
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.runs import (
    END,
    answer_tag,
    given_tag,
    result_tag,
    runs,
    step_tag,
)
from bankwise.signals.guided.script import Finding
from bankwise.signals.guided.table import GUIDED, judge, rates

HAND, STEP, ANSWER, GIVEN = "hand", "step", "answer", "given"


@dataclass(frozen=True)
class Do:
    """Something done at a moment: by hand to the car, or a key on the screen."""

    t: float
    what: str
    value: str


@dataclass(frozen=True)
class Driven:
    """A recorded run: what went into the session, and what was found."""

    header: Header
    records: list[Record]
    findings: tuple[Finding, ...]
    analysis: Analysis

    def outcomes(self) -> set[tuple[str, str]]:
        """Outcomes with what they are about."""
        return {(f.outcome, f.about) for f in self.findings if f.outcome}

    def words(self) -> str:
        """All findings, a line each."""
        return "\n".join(finding.text for finding in self.findings)


def last_case(analysis: Analysis) -> Case:
    """The newest run of a session with its data."""
    columns = analysis.columns
    return Case(runs(columns.marks)[-1], columns, analysis.engine.frame)


def _tag(test: str, about: str, do: Do) -> str:
    if do.what == ANSWER:
        step, _, word = do.value.partition(" ")
        return answer_tag(test, step, about, yes=word == "yes")
    if do.what == GIVEN:
        name, _, value = do.value.partition(" ")
        return given_tag(test, name, value)
    return step_tag(test, do.value, about)


def drive_test(
    car: Car,
    test: str,
    about: str,
    script: Sequence[tuple[float, str, str]],
    until_s: float,
    *,
    results: bool = True,
) -> Driven:
    """Drives a car in virtual time and makes one guided test on the way."""
    cycle = PollCycle(VirtualLink(plug_in(car, car.spec)), jitter=random.Random(1))
    waiting = sorted((Do(*key) for key in script), key=lambda do: do.t)
    records: list[Record] = []
    while cycle.now() < until_s:
        records += cycle.step()
        while waiting and waiting[0].t <= cycle.now():
            do = waiting.pop(0)
            if do.what == HAND:
                car.touch(do.value)
                continue
            records.append(MarkRecord(cycle.now(), do.value, _tag(test, about, do)))
            if do.what == STEP:
                over = do.value == END
                cycle.want(None if over else rates(GUIDED[test], about))
    header = new_header(
        "2026-03-01T10:00:00Z",
        cycle.found,
        None,
        {"displacement_l": car.spec.displacement_l},
        "guided",
    )
    records.sort(key=lambda record: record.t)
    analysis = Analysis(header)
    analysis.feed(records)
    found = judge(last_case(analysis))
    if results:
        # The screen notes results as soon as the last values are in.
        t = min(last_case(analysis).run.until + 0.5, records[-1].t)
        records += [
            MarkRecord(t, f.text, result_tag(test, f)) for f in found if f.outcome
        ]
        records.sort(key=lambda record: record.t)
        analysis = Analysis(header)
        analysis.feed(records)
        analysis.finish()
    return Driven(header, records, found, analysis)


@pytest.fixture(name="drive_test")
def _drive_test() -> Callable[..., Driven]:
    return drive_test


def make_case(
    columns: Columns, test: str, about: str, moments: Iterable[tuple[float, str]]
) -> Case:
    """A run over hand-written columns, with the engine's own frame."""
    marks = [Mark(t, step, step_tag(test, step, about)) for t, step in moments]
    columns.marks[:] = sorted((*columns.marks, *marks), key=lambda mark: mark.t)
    engine = Engine()
    engine.advance(columns, columns.end_s)
    return Case(runs(columns.marks)[-1], columns, engine.frame)


@pytest.fixture(name="make_case")
def _make_case() -> Callable[..., Case]:
    return make_case
