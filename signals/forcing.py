"""Guided tests: whether a sensor followed when the mixture was forced.

The judgement itself is the guided test's; here it is a signal like any other, from the
moment the result was noted.
"""

from __future__ import annotations

from bankwise.signals import sources as s
from bankwise.signals.code_marks import outcome
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived
from bankwise.signals.places import EACH_SENSOR
from bankwise.signals.view import TickView


def _forced(see: TickView) -> Floats:
    return outcome(see, "answers-forcing", "ignores-forcing", see.place.about)


ROWS: tuple[Derived, ...] = (
    Derived(
        "forced_{s}",
        "followed when forced",
        "",
        _forced,
        ("o2_{s}_v", "lambda_{s}"),
        s.OURS + ", because only a forced test tells sensor from mixture",
        EACH_SENSOR,
        reason=lambda see: "no guided test was made",
    ),
)
"""Guided-test signals."""
