"""A trial: one rule at one place, taken up again whenever its flag could change."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bankwise.signals.columns import Bools
from bankwise.signals.frame import Frame
from bankwise.signals.hold import Hold
from bankwise.signals.places import Place
from bankwise.signals.rules import TRIM_VOIDS, Gate, Rule
from bankwise.signals.view import TickView


class Trial:
    """What the engine remembers of one rule at one place.

    Args:
        rule: the rule tried.
        place: where.
        hold_s: how long its condition must hold. Unit: seconds.
    """

    __slots__ = ("done", "due", "hold", "place", "rule", "voids")

    def __init__(self, rule: Rule, place: Place, hold_s: float) -> None:
        self.rule = rule
        self.place = place
        self.hold = Hold(hold_s, rule.clear_s)
        self.voids = rule.id in TRIM_VOIDS
        """Whether its flag, while up, voids what the trims seem to say."""
        self.done = 0
        """Ticks below were taken in."""
        self.due = 0
        """First tick at which its flag could change."""

    def begin(self, lo: int, number: int) -> None:
        """Starts at tick `lo`; trials begun together come due at different ticks."""
        self.done = lo
        self.due = lo + number % (self.hold.next_change(lo) - lo + 1)

    def advance(self, frame: Frame, voids: Sequence[Trial]) -> list[tuple[int, bool]]:
        """Takes in every tick since; returns (tick, raised) changes in order.

        Args:
            frame: the signals.
            voids: the trials whose flags void trims, up to the newest tick.
        """
        view = frame.view(self.place, self.done)
        gate = self._gate(view)
        if self.rule.trim_pattern:
            for other in voids:
                if self.place.bank in (None, other.place.bank):
                    gate = gate & ~other.hold.up(view.lo, view.hi)
        # A condition behind a shut gate need not be known.
        condition = self.rule.condition(view) if gate.any() else gate
        changes = self.hold.advance(view.lo, condition, gate)
        self.done = view.hi
        self.due = self.hold.next_change(view.hi)
        return changes

    def _gate(self, view: TickView) -> Bools:
        if self.rule.gate is Gate.NONE:
            return np.ones(view.size, dtype=np.bool_)
        if self.rule.gate is Gate.POWER:
            return view["volts_ok"] > 0
        if self.rule.gate is Gate.WARM:
            return view["gate_engine"] > 0
        return view["gate_{b}" if view.bank else "gate_both"] > 0
