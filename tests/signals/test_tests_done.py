"""Tests that were done: judged from the marks, or taken as noted."""

from __future__ import annotations

import numpy as np

from bankwise.signals.code_marks import OUTCOMES
from bankwise.signals.columns import Columns, Mark
from bankwise.signals.engine import Engine
from bankwise.signals.guided.runs import BROKEN, END, step_tag
from bankwise.signals.guided.table import GUIDED
from bankwise.signals.tests_done import POINTS_TO_A_FAULT, done_tests


def _engine(*marks: Mark) -> Engine:
    """A minute of a front sensor that a forced mixture moves to rich, then to lean."""
    columns = Columns()
    t = np.arange(0.0, 60.0, 0.02)
    volts = np.select(
        [(t > 20.3) & (t < 30.0), (t > 30.3) & (t < 40.0)], [0.85, 0.08], 0.3
    )
    columns.extend("o2_b1s1_v", t, volts, np.full(len(t), 0.01))
    columns.extend("rpm", t, np.full(len(t), 800.0), np.full(len(t), 0.01))
    columns.marks.extend(marks)
    columns.end_s = 60.0
    engine = Engine()
    engine.advance(columns, 59.0)
    return engine


def test_a_guided_test_is_judged_from_its_marks() -> None:
    """A run of the forced mixture gives its title, place and finding."""
    test = GUIDED["force-gas"]
    names = [step.id for step in test.steps if step.id in {"rich", "lean"}]
    assert names == ["rich", "lean"]
    marks = [
        Mark(20.0, "richer", step_tag(test.id, "rich", "B1S1")),
        Mark(30.0, "leaner", step_tag(test.id, "lean", "B1S1")),
        Mark(40.0, "over", step_tag(test.id, END, "B1S1")),
    ]
    (done,) = done_tests(_engine(*marks))
    assert (done.title, done.about, done.t) == (test.title, "B1S1", 20.0)
    assert done.outcomes == {"answers-forcing"}
    assert "followed" in done.text


def test_a_broken_off_test_and_a_running_one() -> None:
    """Broken off says that it says nothing; a running one is not done."""
    begin = Mark(20.0, "richer", step_tag("force-gas", "rich", "B1S1"))
    broken = Mark(25.0, "stop", step_tag("force-gas", BROKEN, "B1S1"))
    (done,) = done_tests(_engine(begin, broken))
    assert done.outcomes == {"not-done"}
    assert done_tests(_engine(begin)) == ()


def test_a_result_that_was_noted_by_hand() -> None:
    """A smoke test has no steps: what was noted is its finding."""
    (done,) = done_tests(_engine(Mark(9.0, "smoke", "test:smoke-test:leak-found:B1")))
    assert (done.id, done.title) == ("smoke-test", "smoke test")
    assert done.text == "Smoke showed a leak in the intake."


def test_outcomes_that_point_to_a_fault_exist() -> None:
    """No name in the set is unknown to the marks."""
    assert set(OUTCOMES) >= POINTS_TO_A_FAULT
