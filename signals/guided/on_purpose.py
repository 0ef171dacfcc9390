"""Faults that a guided test makes on purpose: what flags then say is the test's doing.

A plug pulled or a wire driven raises flags like a real fault. The screen shows them as
they are; the ledger of causes leaves them out once they have cleared.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from bankwise.signals.columns import Columns
from bankwise.signals.guided.runs import Run, runs

AFTER_S: Final = 60.0
"""How long trims and loop status may need to recover. Unit: s. Common practice, no
source."""

_MADE_IN: Final = {
    "unplug": "unplugged",
    "circuit": "unplugged",
    "wiggle": "wiggle",
}
"""The step from which on a test makes a fault. Gas and air are fed for seconds only,
and flags hold longer than that."""

_RESULTS: Final = frozenset(("answers-forcing", "ignores-forcing"))
"""Flags that are a test's own result."""


@dataclass(frozen=True, slots=True)
class OnPurpose:
    """A stretch with a fault made by hand: whose, and when. Unit: s."""

    about: str
    start: float
    end: float

    def explains(self, id_: str, about: str, first_s: float, last_s: float) -> bool:
        """Whether a flag rose and cleared within it, where the fault was made."""
        if id_ in _RESULTS or not (self.start <= first_s and last_s <= self.end):
            return False
        return about[:2] in (self.about[:2], "en")


def _of(run: Run) -> OnPurpose | None:
    span = run.span(_MADE_IN.get(run.test, ""))
    if span is None:
        return None
    return OnPurpose(run.about, span[0], run.until + AFTER_S)


def on_purpose(columns: Columns) -> tuple[OnPurpose, ...]:
    """Every stretch of a session with a fault made by hand."""
    found: Iterable[OnPurpose | None] = map(_of, runs(columns.marks))
    return tuple(one for one in found if one is not None)
