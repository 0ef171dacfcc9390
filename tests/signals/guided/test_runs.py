"""Runs of guided tests, found in a session's marks, and the table of tests."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.code_marks import OUTCOMES, parse_tag
from bankwise.signals.columns import Columns, Floats, Mark
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.runs import (
    BROKEN,
    END,
    Run,
    answer_tag,
    given_tag,
    result_tag,
    runs,
    step_tag,
)
from bankwise.signals.guided.script import Finding, Subject
from bankwise.signals.guided.table import GUIDED, judge, rates, subjects


def marks(*rows: tuple[float, str]) -> tuple[Run, ...]:
    """Runs from tags."""
    return runs([Mark(t, "", tag) for t, tag in rows])


def test_runs_are_found_in_marks() -> None:
    """Begin and end of each step, answers and facts; other marks do not disturb."""
    (run,) = marks(
        (1.0, given_tag("unplug", "note", "a")),
        (2.0, step_tag("unplug", "before", "B1S1")),
        (3.0, ""),
        (4.0, step_tag("unplug", "runs-right", "B1S1")),
        (5.0, answer_tag("unplug", "runs-right", "B1S1", yes=False)),
        (6.0, step_tag("unplug", END, "B1S1")),
        (7.0, answer_tag("unplug", "smell-gone", "B1S1", yes=True)),
    )
    assert run.steps == {"before": (2.0, 4.0), "runs-right": (4.0, 6.0)}
    assert run.answers == {"runs-right": False}
    assert run.given == {"note": "a"}
    assert (run.until, run.broken) == (6.0, False)


@pytest.mark.parametrize(
    "next_tag",
    [
        step_tag("circuit", BROKEN, "B1S1"),
        step_tag("circuit", "connected", "B1S1"),
        step_tag("circuit", "connected", "B2S1"),
        step_tag("wiggle", "wiggle", "B1S1"),
    ],
    ids=["broken off", "begun again", "another place", "another test"],
)
def test_what_is_cut_short_was_broken_off(next_tag: str) -> None:
    """Whatever cuts a run short, it says nothing."""
    first = marks((1.0, step_tag("circuit", "connected", "B1S1")), (5.0, next_tag))[0]
    assert first.broken
    assert first.until == 5.0
    (found,) = judge(Case(first, Columns(), _NoTicks()))
    assert found.outcome == "not-done"


class _NoTicks:
    ticks = np.empty(0)

    def __getitem__(self, name: str) -> Floats:
        raise KeyError(name)


WORDS = st.sampled_from(
    [
        "step",
        "answer",
        "given",
        "test",
        "unplug",
        "circuit",
        "before",
        END,
        BROKEN,
        "B1S1",
    ]
)
TAGS = st.lists(WORDS, max_size=6).map(":".join)


@given(st.lists(st.one_of(TAGS, st.text(max_size=12)), max_size=12))
def test_no_marks_are_too_odd(tags: list[str]) -> None:
    """Whatever stands in marks, runs are found or not, and steps end after they begin.

    No session's marks can stop the screen.
    """
    for run in marks(*((float(i), tag) for i, tag in enumerate(tags))):
        assert run.steps
        assert all(begin <= end <= run.until for begin, end in run.steps.values())
        assert run.began <= run.until


@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
def test_every_test_judges_nothing_without_data(test: Any) -> None:
    """An empty session gives words or nothing, never a verdict and never an error."""
    about = "engine" if test.subject is Subject.ENGINE else "B1S1"
    spans = {step.id: (10.0 * i, 10.0 * i + 10) for i, step in enumerate(test.steps)}
    for until in (np.inf, 100.0):
        run = Run(test.id, about, spans, until=until)
        case = Case(run, Columns(), _NoTicks())
        told = {f.outcome for f in judge(case)} - {""}
        assert told <= {"not-done"}
        assert all(np.isnan(f.value) or f.value == 0 for f in test.watch(case))


@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
def test_the_table_is_whole(test: Any) -> None:
    """Known cautions, unique steps, tags that come back, names that rates may have."""
    assert test.cautions
    assert set(test.cautions) <= set(CAUTIONS)
    names = [step.id for step in test.steps]
    assert len(names) == len(set(names))
    assert not {END, BROKEN} & set(names)
    assert not [name for name in names if ":" in name]
    asked = rates(test, "B2S1")
    assert asked is None or all("{" not in name for name in asked)
    for outcome in OUTCOMES:
        tag = result_tag(test.id, Finding("B2S1", "", outcome))
        assert parse_tag(tag) == (test.id, outcome, "B2S1")


def test_only_sensors_that_speak_can_be_chosen() -> None:
    """A car with one bank offers its own two sensors."""
    columns = Columns()
    t = np.arange(0.0, 5.0, 0.2)
    for name in ("o2_b1s1_v", "o2_b1s2_v"):
        columns.extend(name, t, np.full(t.size, 0.4), np.full(t.size, 0.02))
    case = Case(Run("", "engine", {}), columns, _NoTicks())
    assert subjects(GUIDED["circuit"], case) == ("B1S1", "B1S2")
    assert subjects(GUIDED["unplug"], case) == ("B1S1",)
    assert subjects(GUIDED["road-plan"], case) == ("engine",)
