"""What a derived signal or a rule sees: one place, over the ticks being evaluated."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bankwise.signals.columns import Bools, Columns, Floats
from bankwise.signals.places import Place
from bankwise.signals.tracks import Track, Tracker
from bankwise.signals.windows import TICK_S, Growing, Window

if TYPE_CHECKING:
    from bankwise.signals.frame import Frame


class TickView:
    """Ticks `lo` to `hi` of a frame, seen from one place.

    Name patterns are filled for the place, so one function serves every bank or
    sensor. Nothing later than a tick can be seen through it for that tick.
    """

    __slots__ = ("_seen", "_values", "frame", "hi", "lo", "own", "place", "ticks")

    def __init__(
        self, frame: Frame, place: Place, ticks: Floats, lo: int, hi: int
    ) -> None:
        self.frame = frame
        self.place = place
        self.lo = lo
        self.hi = hi
        self._values: dict[str, Floats] = {}
        self._seen: dict[str, Bools] = {}
        self.own = ""
        """Name of the derived signal being computed, for `before`."""
        self.ticks = ticks
        """Times of the ticks; shape (size,). Unit: seconds."""

    @property
    def bank(self) -> int | None:
        """The bank seen from, or None for the whole engine."""
        return self.place.bank

    @property
    def position(self) -> int | None:
        """The sensor's position, or None."""
        return self.place.position

    @property
    def size(self) -> int:
        """Number of ticks."""
        return self.hi - self.lo

    @property
    def columns(self) -> Columns:
        """The session so far; look only at what is not later than a tick."""
        return self.frame.columns

    def __getitem__(self, name: str) -> Floats:
        """Values of a signal, given by pattern; shape (size,), NaN where none."""
        values = self._values.get(name)
        if values is None:
            values = self.frame.part(self.place.fill(name), self.lo, self.hi)
            self._values[name] = values
        return values

    def limit(self, name: str) -> float:
        """The threshold of that name in force."""
        return self.frame.thresholds[name]

    def seen(self, pattern: str) -> Bools:
        """Whether a signal, or what it is derived from, was measured by each tick."""
        seen = self._seen.get(pattern)
        if seen is None:
            seen = self.frame.seen_from(self.place.fill(pattern)) <= self.ticks
            self._seen[pattern] = seen
        return seen

    def known(self, pattern: str) -> Bools:
        """Whether a signal has a value at each tick."""
        return ~np.isnan(self[pattern])

    def back(self, pattern: str, width: int) -> Floats:
        """Values with `width - 1` earlier ticks in front, NaN before the session."""
        name = self.place.fill(pattern)
        return self.frame.part(name, self.lo - width + 1, self.hi)

    def before(self, default: float = np.nan, pattern: str = "") -> float:
        """A signal's value one tick earlier; by default of the one being computed."""
        name = self.place.fill(pattern) if pattern else self.own
        value = self.frame.at(name, self.lo - 1)
        return default if np.isnan(value) else value

    def window(self, pattern: str, seconds: float) -> Window:
        """The samples of a raw signal in the seconds before each tick."""
        return self.frame.window(self.place.fill(pattern), seconds, self.lo)

    def so_far(self, extreme: np.ufunc, pattern: str) -> Floats:
        """The smallest or largest sample of a raw signal up to each tick.

        Only for the function of a derived signal: it goes on from that signal's own
        value a tick earlier, so a long session costs no more than a short one.

        Args:
            extreme: `np.fmin` or `np.fmax`.
            pattern: the raw signal.
        """
        fresh = self.window(pattern, TICK_S)
        found = fresh.reduce(extreme, fresh.column.v)
        found[0] = extreme(found[0], self.before())
        whole: Floats = extreme.accumulate(found)
        return whole

    def track(self, kind: str, pattern: str, tracker: Tracker) -> Track:
        """Per-sample figures of a raw signal up to the newest tick."""
        name = self.place.fill(pattern)
        return self.frame.track(kind, name, tracker)

    def memo(self, kind: str) -> Growing:
        """Values the signal being computed keeps, in order, under a name."""
        return self.frame.memo(f"{kind} {self.own}")

    def nothing(self) -> Floats:
        """No value at any tick."""
        return np.full(self.size, np.nan)
