"""How urgent a flag is, in four steps that sort."""

from __future__ import annotations

from enum import Enum
from functools import total_ordering


@total_ordering
class Severity(Enum):
    """What a flag asks of the person in the car, from least to most urgent."""

    INFO = "info"
    """Worth knowing before trusting a verdict."""
    WATCH = "watch"
    """Watch it, plan a check; nothing is urgent."""
    ACT = "act"
    """A fault is likely; check it next."""
    STOP = "stop"
    """Lift off or stop now: going on may do damage."""

    @property
    def rank(self) -> int:
        """0 for info, up to 3 for stop."""
        return _ORDER.index(self.value)

    def __lt__(self, other: object) -> bool:
        """Whether this asks for less than `other`."""
        if not isinstance(other, Severity):
            return NotImplemented
        return self.rank < other.rank


_ORDER = ("info", "watch", "act", "stop")
