"""How many values a second arrive, over the last few seconds."""

from __future__ import annotations

from collections import deque
from typing import Final

WINDOW_S: Final = 5.0
"""Rates are averages over this long. Our choice."""


class Rates:
    """Values a second over the last five seconds of session time."""

    def __init__(self) -> None:
        self._seen: deque[tuple[float, int]] = deque()
        self._sum = 0

    def add(self, now: float, values: int) -> None:
        """Notes values that arrived; `now` in session seconds."""
        self._seen.append((now, values))
        self._sum += values
        self._forget(now)

    def _forget(self, now: float) -> None:
        while self._seen and self._seen[0][0] <= now - WINDOW_S:
            self._sum -= self._seen.popleft()[1]

    def per_second(self, now: float) -> float:
        """Values a second; 0 while nothing has come."""
        self._forget(now)
        if not self._seen:
            return 0.0
        span = max(now - self._seen[0][0], 0.5)
        return self._sum / min(WINDOW_S, span)
