"""Flags that a guided test made on purpose stay out of the ledger of causes."""

from __future__ import annotations

import pytest

from bankwise.signals.columns import Columns, Mark
from bankwise.signals.guided.on_purpose import AFTER_S, on_purpose
from bankwise.signals.guided.runs import END, step_tag


def unplugging() -> Columns:
    """B2S1 unplugged at 40 s, the test over at 100 s."""
    columns = Columns()
    for t, step in ((20.0, "before"), (40.0, "unplugged"), (100.0, END)):
        columns.marks.append(Mark(t, "", step_tag("unplug", step, "B2S1")))
    return columns


@pytest.mark.parametrize(
    ("id_", "about", "first_s", "last_s", "explained"),
    [
        ("open-loop-fault", "B2", 55.0, 110.0, True),
        ("stuck-lean", "B2S1", 55.0, 60.0, True),
        ("crossed-sensors", "engine", 55.0, 60.0, True),
        ("open-loop-fault", "B1", 55.0, 110.0, False),
        ("front-lean-rear-rich", "B2", 30.0, 45.0, False),
        ("open-loop-fault", "B2", 55.0, 100.0 + AFTER_S + 1, False),
        ("ignores-forcing", "B2S1", 55.0, 60.0, False),
    ],
    ids=["bank", "sensor", "engine", "other bank", "before", "outlasts", "result"],
)
def test_what_the_test_made_is_told_apart(
    id_: str, about: str, first_s: float, last_s: float, explained: bool
) -> None:
    """Only what rose and cleared with the test, where it was made, is its doing."""
    (one,) = on_purpose(unplugging())
    assert one.explains(id_, about, first_s, last_s) == explained


def test_a_test_that_makes_no_fault_explains_nothing() -> None:
    """Holding 2500 rpm breaks nothing."""
    columns = Columns()
    for t, step in ((20.0, "idle"), (50.0, "held"), (90.0, END)):
        columns.marks.append(Mark(t, "", step_tag("idle-2500", step, "engine")))
    assert on_purpose(columns) == ()
