"""Waits that grow, with jitter, so that nobody knocks in step."""

from __future__ import annotations

import random
from typing import Final

FIRST_S: Final = 0.5
MOST_S: Final = 30.0
"""Shortest and longest wait. Unit: seconds. Our choice."""
_GROWTH: Final = 2.0
_SPREAD: Final = 0.2


class Backoff:
    """The waits between tries; each at most twice the last, plus or minus a fifth."""

    def __init__(
        self, jitter: random.Random, first_s: float = FIRST_S, most_s: float = MOST_S
    ) -> None:
        self._jitter = jitter
        self._first_s = first_s
        self._next_s = first_s
        self._most_s = most_s

    def reset(self) -> None:
        """Begins with the shortest wait again."""
        self._next_s = self._first_s

    def next(self) -> float:
        """Seconds to wait before the next try."""
        wait = self._next_s
        self._next_s = min(self._most_s, wait * _GROWTH)
        return wait * self._jitter.uniform(1 - _SPREAD, 1 + _SPREAD)
