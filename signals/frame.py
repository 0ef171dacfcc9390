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
from bankwise.signals.derived import Entry
from bankwise.signals.places import Place
from bankwise.signals.registry import DERIVED, ROOTS
from bankwise.signals.tracks import Track, Tracker
from bankwise.signals.view import TickView
from bankwise.signals.windows import TICK_S, Growing, Window, tick_times, window

AGE_LIMIT_S = {Pace.FAST: 2.0, Pace.MEDIUM: 2.0, Pace.SLOW: 15.0, Pace.ONCE: np.inf}
"""Age at which a value stops being "now", if twice its sample interval is less.

Source: common practice (no older than twice the interval); the floors are our choice,
because a scheduler may be late by a moment without the value being in doubt.
"""

INTERVALS = 5
"""How many past intervals measure Ts for the age limit. Source: our choice."""

MAKER_SIGNALS = frozenset(
    f"cam_{what}_b{bank}_deg" for what in ("desired", "actual") for bank in BANKS
)
"""Maker-specific signals that rules look at when a definition file delivers them."""


class Frame:
    """All signals at all ticks evaluated so far.

    Args:
        thresholds: the limits in force, by name.
    """

    def __init__(self, thresholds: Mapping[str, float]) -> None:
        self.thresholds = thresholds
        self.columns = Columns()
        # One row a signal, one cell a tick; the first row stays without values.
        self._cells = np.full((64, 64), np.nan)
        self._rows: dict[str, int] = {}
        self._first: dict[str, float] = {}
        self._waiting = list(DERIVED.values())
        self._soon = True
        self._measured = 0
        self._alive: list[tuple[int, Entry]] = []
        self._memos: dict[str, Growing] = {}
        self._tracks: dict[str, Track] = {}
        self._windows: dict[tuple[str, float], Window] = {}
        self._views: dict[Place, TickView] = {}
        self._paired: dict[str, tuple[Column, int]] = {}
        self._lo = self._hi = 0
        self._ticks = np.empty(0)
        self.heard = np.empty(0)
        """When any value was last measured, at each of the newest ticks."""

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
        return self.part(name, 0, self._hi)

    def why(self, name: str) -> str:
        """Why a signal has no value at the newest tick; empty when it has one."""
        if self._hi and not np.isnan(self.at(name, self._hi - 1)):
            return ""
        return reasons.why(self, name)

    def missing(self, about: str) -> tuple[str, ...]:
        """In words, which signals of the gate the car does not deliver."""
        return reasons.missing(self, about)

    def seen(self, name: str) -> bool:
        """True when what a signal is derived from was measured at all so far."""
        return self._hi > 0 and self.seen_from(name) <= self._ticks[-1]

    # What the engine and the derived signals use.

    def advance(self, columns: Columns, hi: int) -> None:
        """Evaluates every tick below `hi`; ticks already evaluated stay as they are."""
        if hi <= self._hi:
            return
        self.columns = columns
        self._lo, self._hi = self._hi, hi
        self._ticks = tick_times(self._lo, hi)
        self._windows.clear()
        self._views.clear()
        self._make_room(hi)
        last = float(self._ticks[-1])
        measured = sum(1 for column in columns.signals.values() if len(column))
        appeared, self._measured = measured > self._measured, measured
        if appeared:
            self._first = {n: t for n, t in self._first.items() if t < np.inf}
        self.heard = np.full(len(self._ticks), -np.inf)
        for name, column in columns.signals.items():
            if len(column) and column.t[0] <= last:
                row = self._row(name)
                self._cells[row, self._lo : hi] = self._newest(name, column)
        if appeared or self._soon:
            self._awaken(last)
        for row, entry in self._alive:
            view = self.view(entry.place)
            view.own = entry.name
            values = entry.derived.function(view)
            if entry.inputs:
                first = self.seen_from(entry.name)
                if first > self._ticks[0]:
                    values = np.where(self._ticks < first, np.nan, values)
            self._cells[row, self._lo : hi] = values

    def view(self, place: Place, lo: int | None = None) -> TickView:
        """What is seen at one place: over the newest ticks, or from tick `lo` on."""
        if lo is not None:
            return TickView(self, place, tick_times(lo, self._hi), lo, self._hi)
        view = self._views.get(place)
        if view is None:
            view = TickView(self, place, self._ticks, self._lo, self._hi)
            self._views[place] = view
        return view

    def seen_from(self, name: str) -> float:
        """When any input of a signal was first measured; infinite when never."""
        known = self._first.get(name)
        if known is not None:
            return known
        first = np.inf
        for root in ROOTS.get(name, (name,)):
            column = self.columns.signals.get(root)
            if column is not None and len(column):
                first = min(first, float(column.t[0]))
        # Samples come in order, so what is measured later was not first; that nothing
        # was measured holds until another signal appears.
        self._first[name] = first
        return first

    def window(self, name: str, seconds: float) -> Window:
        """The samples of a raw signal in the seconds before each new tick."""
        key = (name, seconds)
        found = self._windows.get(key)
        if found is None:
            found = window(self.columns[name], self._ticks, seconds)
            self._windows[key] = found
        return found

    def track(self, kind: str, name: str, tracker: Tracker) -> Track:
        """Per-sample figures of a raw signal, brought up to the newest tick."""
        return self.track_column(f"{kind} {name}", self.columns[name], tracker)

    def track_column(self, key: str, column: Column, tracker: Tracker) -> Track:
        """Per-sample figures of any column, brought up to the newest tick."""
        track = self._tracks.get(key)
        if track is None:
            track = self._tracks[key] = Track(tracker)
        track.follow(column, int(np.searchsorted(column.t, self._ticks[-1], "right")))
        return track

    def paired(self, about: str) -> tuple[Column, int]:
        """A bank's front sensor on its rear's clock, and rear samples taken in."""
        return self._paired.setdefault(about, (Column(), 0))

    def pair_done(self, about: str, done: int) -> None:
        """Notes how many rear samples a bank's paired column saw."""
        self._paired[about] = self._paired[about][0], done

    def memo(self, key: str) -> Growing:
        """Values a derived signal keeps in the order in which it met them."""
        memo = self._memos.get(key)
        if memo is None:
            memo = self._memos[key] = Growing()
        return memo

    def part(self, name: str, lo: int, hi: int) -> Floats:
        """Values at ticks `lo` to `hi`, NaN before the session's first tick.

        Raises:
            KeyError: when no signal has that name.
        """
        row = self._rows.get(name)
        if row is None:
            if not (name in DERIVED or name in SIGNALS or name in MAKER_SIGNALS):
                raise KeyError(f"no signal is called {name!r}")
            return np.full(hi - lo, np.nan)
        if lo >= 0:
            return self._cells[row, lo:hi]
        early = np.full(min(-lo, hi - lo), np.nan)
        return np.concatenate((early, self._cells[row, : max(hi, 0)]))

    def at(self, name: str, tick: int) -> float:
        """One signal's value at one tick, NaN where it has none."""
        row = self._rows.get(name)
        return (
            float(self._cells[row, tick]) if row is not None and tick >= 0 else np.nan
        )

    def _make_room(self, hi: int) -> None:
        rows, room = self._cells.shape
        if hi > room:
            # A recorded session comes whole and gets what it needs; a live one grows.
            wider = np.full((rows, max(hi, room + room // 2)), np.nan)
            wider[:, :room] = self._cells
            self._cells = wider

    def _row(self, name: str) -> int:
        row = self._rows.get(name)
        if row is None:
            row = self._rows[name] = len(self._rows)
            self._reserve(row + 1)
        return row

    def _reserve(self, needed: int) -> None:
        rows, room = self._cells.shape
        if needed > rows:
            taller = np.full((max(needed, rows + rows // 4), room), np.nan)
            taller[:rows] = self._cells
            self._cells = taller

    def _awaken(self, last: float) -> None:
        """Takes up the derived signals whose first input was measured by now."""
        first = {e.name: self.seen_from(e.name) for e in self._waiting}
        names = {e.name for e in self._waiting if not e.inputs or first[e.name] <= last}
        self._waiting = [e for e in self._waiting if e.name not in names]
        self._soon = any(first[e.name] < np.inf for e in self._waiting)
        if not names:
            return
        alive = {entry.name for _, entry in self._alive} | names
        self._reserve(len(self._rows) + len(names))
        # Always in the order of the table, whenever they were taken up.
        self._alive = [(self._row(n), e) for n, e in DERIVED.items() if n in alive]

    def _newest(self, name: str, column: Column) -> Floats:
        t = column.t
        ends = np.searchsorted(t, self._ticks, side="right")
        last = np.maximum(ends - 1, 0)
        back = np.maximum(last - INTERVALS, 0)
        spans = np.maximum(last - back, 1)
        interval = (t[last] - t[back]) / spans
        signal = SIGNALS.get(name)
        floor = AGE_LIMIT_S[signal.pace if signal else Pace.MEDIUM]
        heard = np.where(ends > 0, t[last], -np.inf)
        self.heard = np.maximum(self.heard, heard)
        fresh = (self._ticks - t[last] <= np.maximum(2.0 * interval, floor)) & (
            ends > 0
        )
        return np.where(fresh, column.v[last], np.nan)


__all__ = ["TICK_S", "Frame"]
