"""The tests a person did during a drive, judged from the session itself.

A guided test is judged anew from its marks and the data; a result that was only noted,
such as a smoke test, is taken as noted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bankwise.signals.code_marks import OUTCOMES, parse_tag
from bankwise.signals.engine import Engine
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.runs import runs
from bankwise.signals.guided.script import Finding
from bankwise.signals.guided.table import GUIDED, judge

POINTS_TO_A_FAULT = frozenset(
    {
        "ignores-forcing",
        "circuit-bad",
        "leak-found",
        "exhaust-leak-found",
        "pressure-low",
        "backpressure-high",
        "cam-off",
    }
)
"""Outcomes of `code_marks.OUTCOMES` that a repair must make go away."""


@dataclass(frozen=True, slots=True)
class TestDone:
    """One test that was done.

    Attributes:
        id: of the guided test, or as it was noted.
        title: in words.
        about: bank, sensor or engine.
        t: when it began. Unit: s.
        findings: what it found; empty when it could tell nothing.
    """

    __test__ = False

    id: str
    title: str
    about: str
    t: float
    findings: tuple[Finding, ...]

    @property
    def outcomes(self) -> frozenset[str]:
        """The outcomes of its findings."""
        return frozenset(f.outcome for f in self.findings if f.outcome)

    @property
    def text(self) -> str:
        """Its findings as one text."""
        return " ".join(f.text for f in self.findings) or "It could tell nothing."


def done_tests(engine: Engine) -> tuple[TestDone, ...]:
    """Every finished test of a session, in order."""
    return tuple(sorted((*_guided(engine), *_noted(engine)), key=lambda one: one.t))


def newest_tests(engine: Engine) -> dict[tuple[str, str], TestDone]:
    """The newest run of each test on each place, by id and place."""
    return {(test.id, test.about): test for test in done_tests(engine)}


def _guided(engine: Engine) -> Iterator[TestDone]:
    columns = engine.frame.columns
    for run in runs(columns.marks):
        test = GUIDED.get(run.test)
        if test is None or not run.ended:
            continue
        case = Case(run, columns, engine.frame, engine.thresholds)
        yield TestDone(test.id, test.title, run.about, run.began, judge(case))


def _noted(engine: Engine) -> Iterator[TestDone]:
    """Results that no guided run explains."""
    marks = engine.frame.columns.marks
    guided = {run.test for run in runs(marks)}
    for mark in marks:
        parsed = parse_tag(mark.tag)
        if parsed is None or parsed[0] in guided:
            continue
        test, outcome, about = parsed
        words = f"{OUTCOMES[outcome][0].upper()}{OUTCOMES[outcome][1:]}."
        title = GUIDED[test].title if test in GUIDED else test.replace("-", " ")
        yield TestDone(test, title, about, mark.t, (Finding(about, words, outcome),))
