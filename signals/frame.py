"""The frame: every signal at every tick, grown a few ticks or an hour at a time.

A tick is evaluated once, when everything up to it has been seen. A value at a tick
depends only on samples and events not later than that tick, so the frame is the same
however the session arrived. Raw signals appear under their own names: the newest value
not older than the age limit.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bankwise.signals import reasons
from bankwise.signals.catalogue import BANKS, SIGNALS, Pace
from bankwise.signals.columns import Column, Columns, Floats
from bankwise.signals.places import Place
from bankwise.signals.registry import DERIVED, ROOTS
from bankwise.signals.tracks import Track, Tracker
from bankwise.signals.view import TickView
from bankwise.signals.windows import TICK_S, Growing, Window, tick_times, window

AGE_LIMIT_S = {Pace.FAST: 2.0, Pace.MEDIUM: 2.0, Pace.SLOW: 15.0, Pace.ONCE: np.inf}
"""Age at which a value stops being "now", if twice its sample interval is less.

Source: DOMAIN 4 (data no older than 2 Ts); the floors are our choice, because a
scheduler may be late by a moment without the value being in doubt.
"""

INTERVALS = 5
"""How many past intervals measure Ts for the age limit. Source: our choice."""

MAKER_SIGNALS = frozenset(
    f"cam_{what}_b{bank}_deg" for what in ("desired", "actual") for bank in BANKS
)
"""Maker-specific signals that rules look at when a definition file delivers them."""


class Frame:
    """All signals at all ticks evaluated so far."""

    def __init__(self, thresholds: Mapping[str, float]) -> None:
        self.thresholds = thresholds
        self.columns = Columns()
        self._store: dict[str, Growing] = {}
        self._memos: dict[str, Growing] = {}
        self._tracks: dict[str, Track] = {}
        self._windows: dict[tuple[str, float], Window] = {}
        self._nothing = Growing()
        self._lo = self._hi = 0
        self._ticks = np.empty(0)

    # What anyone may read.

    @property
    def n(self) -> int:
        """Number of ticks evaluated."""
        return self._hi

    @property
    def ticks(self) -> Floats:
        """Times of the ticks evaluated; shape (n,). Unit: seconds."""
        return tick_times(0, self._hi)

    def __getitem__(self, name: str) -> Floats:
        """Values of a raw or derived signal; shape (n,), NaN where it has none.

        Raises:
            KeyError: when no signal has that name.
        """
        stored = self._store.get(name)
        if stored is None:
            if not (name in DERIVED or name in SIGNALS or name in MAKER_SIGNALS):
                raise KeyError(f"no signal is called {name!r}")
            stored = self._nothing
        if stored.n >= self._hi:
            return stored.values[: self._hi]
        if stored is self._nothing:
            stored.pad_to(self._hi)
            return stored.values
        return np.concatenate((stored.values, np.full(self._hi - stored.n, np.nan)))

    def why(self, name: str) -> str:
        """Why a signal has no value at the newest tick; empty when it has one."""
        if self._hi and not np.isnan(self[name][-1]):
            return ""
        return reasons.why(self, name)

    def missing(self, about: str) -> tuple[str, ...]:
        """In words, which signals of the gate the car does not deliver."""
        return reasons.missing(self, about)

    def seen(self, name: str) -> bool:
        """True when what a signal is derived from was measured at all so far."""
        return self.seen_from(name) <= self._hi * TICK_S

    # What the engine and the derived signals use.

    def advance(self, columns: Columns, hi: int) -> None:
        """Evaluates every tick below `hi`; ticks already evaluated stay as they are."""
        if hi <= self._hi:
            return
        self.columns = columns
        self._lo, self._hi = self._hi, hi
        self._ticks = tick_times(self._lo, hi)
        self._windows.clear()
        last = self._ticks[-1]
        for name, column in columns.signals.items():
            if len(column) and column.t[0] <= last:
                self._append(name, self._newest(name, column))
        views: dict[Place, TickView] = {}
        for entry in DERIVED.values():
            first = self.seen_from(entry.name) if entry.inputs else -np.inf
            if first > last:
                continue
            view = views.get(entry.place)
            if view is None:
                view = views[entry.place] = TickView(self, entry.place, self._lo, hi)
            view.own = entry.name
            values = entry.derived.function(view)
            if first > self._ticks[0]:
                values = np.where(self._ticks < first, np.nan, values)
            self._append(entry.name, values)

    def view(self, place: Place, lo: int | None = None) -> TickView:
        """What is to be seen at one place over the ticks from `lo` to the newest."""
        return TickView(self, place, self._lo if lo is None else lo, self._hi)

    def seen_from(self, name: str) -> float:
        """When any input of a signal was first measured; infinite when never."""
        first = np.inf
        for root in ROOTS.get(name, (name,)):
            column = self.columns.signals.get(root)
            if column is not None and len(column):
                first = min(first, float(column.t[0]))
        return first

    def window(self, name: str, seconds: float) -> Window:
        """The samples of a raw signal in the seconds before each new tick."""
        key = (name, seconds)
        found = self._windows.get(key)
        if found is None:
            found = window(self.columns[name], self._ticks, seconds)
            self._windows[key] = found
        return found

    def track(self, key: str, name: str, tracker: Tracker) -> Track:
        """Per-sample figures of a raw signal, brought up to the newest tick."""
        track = self._tracks.get(key)
        if track is None:
            track = self._tracks[key] = Track(tracker)
        column = self.columns[name]
        track.follow(column, int(np.searchsorted(column.t, self._ticks[-1], "right")))
        return track

    def memo(self, key: str) -> Growing:
        """Values a derived signal keeps in the order in which it met them."""
        return self._memos.setdefault(key, Growing())

    def stored(self, name: str, lo: int, hi: int) -> Floats:
        """Values at ticks `lo` to `hi`, NaN before the session's first tick."""
        if lo >= 0:
            return self[name][lo:hi]
        early = np.full(min(-lo, hi - lo), np.nan)
        return np.concatenate((early, self[name][: max(hi, 0)]))

    def at(self, name: str, tick: int) -> float:
        """One signal's value at one tick, NaN where it has none."""
        stored = self._store.get(name)
        return float(stored.values[tick]) if stored and 0 <= tick < stored.n else np.nan

    def _append(self, name: str, values: Floats) -> None:
        stored = self._store.get(name)
        if stored is None:
            stored = self._store[name] = Growing()
        stored.pad_to(self._lo)
        stored.extend(values)

    def _newest(self, name: str, column: Column) -> Floats:
        t = column.t
        ends = np.searchsorted(t, self._ticks, side="right")
        last = np.maximum(ends - 1, 0)
        back = np.maximum(last - INTERVALS, 0)
        spans = np.maximum(last - back, 1)
        interval = (t[last] - t[back]) / spans
        signal = SIGNALS.get(name)
        floor = AGE_LIMIT_S[signal.pace if signal else Pace.MEDIUM]
        fresh = (self._ticks - t[last] <= np.maximum(2.0 * interval, floor)) & (
            ends > 0
        )
        return np.where(fresh, column.v[last], np.nan)


__all__ = ["TICK_S", "Frame"]
