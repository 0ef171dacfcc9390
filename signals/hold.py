"""Holding and clearing: how a condition that comes and goes becomes a flag.

One machine for every rule. A condition must stand for the hold time before the flag
rises and be gone for the clear time before it clears. While a gate is shut nothing can
be judged: the hold starts over, an active flag stays for a while and is then dropped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from bankwise.signals.columns import Bools
from bankwise.signals.windows import TICK_S

DROP_S = 30.0
"""A flag that cannot be judged for so long is no longer said to be active.

Source: our choice, because a fuel cut or a stop at a light must not clear a flag, and
a parked car must not keep one.
"""


@dataclass(slots=True)
class Hold:
    """One rule at one place: what it remembers from tick to tick.

    Attributes:
        hold_s, clear_s: as the rule says.
        active: whether the flag is up now.
        spans: closed stretches of activity, in ticks, `[raised, cleared)`.
        raised: tick of the present or last rise, −1 before the first.
        true_at: newest tick at which an active flag's condition held.
    """

    hold_s: float
    clear_s: float
    active: bool = False
    spans: list[tuple[int, int]] = field(default_factory=list)
    raised: int = -1
    true_at: int = -1
    _kind: int = -1
    _run: int = 0

    def advance(self, lo: int, condition: Bools, gate: Bools) -> list[tuple[int, bool]]:
        """Takes in the ticks from `lo` on; returns (tick, raised) changes in order."""
        changes: list[tuple[int, bool]] = []
        if len(gate) == 1:
            kind = int(condition[0]) if gate[0] else -1
            self._stretch(kind, lo, 1, changes)
            return changes
        states = np.where(gate, condition.astype(np.int8), np.int8(-1))
        edges = [0, *(np.flatnonzero(np.diff(states)) + 1).tolist()]
        for first, end in zip(edges, [*edges[1:], len(states)], strict=True):
            self._stretch(int(states[first]), lo + first, end - first, changes)
        return changes

    def next_change(self, hi: int) -> int:
        """The first tick at which it could change, when those below `hi` are taken in.

        Whatever the ticks until then say, the flag stays as it is.
        """
        kinds = (-1, 0) if self.active else (1,)
        return hi - 1 + min(max(self._needed(k) - self._so_far(k), 1) for k in kinds)

    def up(self, lo: int, hi: int) -> Bools:
        """Whether the flag is up at each of some ticks, up to its next change."""
        up = np.zeros(hi - lo, dtype=np.bool_)
        for first, end in reversed(self.spans):
            if end <= lo:
                break
            up[max(first - lo, 0) : max(end - lo, 0)] = True
        if self.active:
            up[max(self.raised - lo, 0) :] = True
        return up

    def _so_far(self, kind: int) -> int:
        return self._run if kind == self._kind else 0

    def _needed(self, kind: int) -> int:
        """How many ticks of one kind in a row make a change."""
        limit_s = (DROP_S, self.clear_s, self.hold_s)[kind + 1]
        # The first tick of a stretch has lasted no time yet.
        return math.ceil(limit_s / TICK_S) + 1

    def _stretch(
        self, kind: int, start: int, length: int, changes: list[tuple[int, bool]]
    ) -> None:
        """Takes in `length` equal ticks: 1 true, 0 false, −1 gate shut."""
        before = self._so_far(kind)
        self._kind, self._run = kind, before + length
        if kind < 1 and not self.active:
            return
        needed = self._needed(kind)
        at = start + max(needed - before, 1) - 1
        due = self._run >= needed
        if kind == 1:
            if not self.active and due:
                self.active, self.raised = True, at
                changes.append((at, True))
            if self.active:
                self.true_at = start + length - 1
        elif self.active and due:
            self.active = False
            self.spans.append((self.raised, at))
            changes.append((at, False))
