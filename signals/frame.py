"""The frame: every signal at every tick, grown a few ticks or an hour at a time.

A value at a tick depends only on samples and events not later than that tick, so the
frame is the same however the session arrived, and whenever a value is asked for. A
signal is computed when somebody reads it, once for every tick, from where it was left:
what nobody reads costs nothing, and what is read now and then is computed many ticks at
a time. Raw signals appear under their own names: the newest value not older than the
age limit.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil

import numpy as np

from bankwise.signals import reasons
from bankwise.signals.catalogue import BANKS, SIGNALS, Pace
from bankwise.signals.columns import Column, Columns, Floats
from bankwise.signals.derived import Entry
from bankwise.signals.places import Place
from bankwise.signals.registry import DERIVED, ROOTS
from bankwise.signals.tracks import Track, Tracker
from bankwise.signals.view import TickView
from bankwise.signals.windows import TICK_S, Growing, Indices, Window, tick_times

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


class _Row:
    """One signal at the ticks it was computed for."""

    __slots__ = ("cells", "done", "entry")

    def __init__(self, entry: Entry | None, start: int) -> None:
        self.entry = entry
        """Its record, None for a raw signal."""
        self.done = start
        """Ticks below were computed; nothing was measured before the first one."""
        self.cells = np.full(start, np.nan)

    def make_room(self, hi: int) -> None:
        room = len(self.cells)
        if hi > room:
            # A recorded session comes whole and gets what it needs; a live one grows.
            wider = np.empty(max(hi, room + room // 2))
            wider[: self.done] = self.cells[: self.done]
            self.cells = wider


class Frame:
    """All signals at all ticks seen so far.

    Args:
        thresholds: the limits in force, by name.
    """

    def __init__(self, thresholds: Mapping[str, float]) -> None:
        self.thresholds = thresholds
        self.columns = Columns()
        self._rows: dict[str, _Row] = {}
        self._first: dict[str, float] = {}
        self._measured = 0
        self._memos: dict[str, Growing] = {}
        self._tracks: dict[str, Track] = {}
        self._paired: dict[str, tuple[Column, int]] = {}
        self._hi = 0
        self._lo = 0
        self._last = -np.inf
        # What is shared by all who look at the same ticks, until there are new ones.
        self._times: dict[int, Floats] = {}
        self._ends: dict[tuple[str, int], Indices] = {}
        self._windows: dict[tuple[str, float, int], Window] = {}
        self._views: dict[tuple[Place, int], TickView] = {}
        self._followed: set[str] = set()

    # What anyone may read.

    @property
    def n(self) -> int:
        """Number of ticks seen."""
        return self._hi

    @property
    def newest(self) -> int:
        """The first of the ticks that came last."""
        return self._lo

    @property
    def ticks(self) -> Floats:
        """Times of the ticks seen; shape (n,). Unit: seconds."""
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
        return self._hi > 0 and self.seen_from(name) <= self._last

    # What the engine and the derived signals use.

    def advance(self, columns: Columns, hi: int) -> None:
        """Lets every tick below `hi` be read; everything up to it has been seen."""
        if hi <= self._hi:
            return
        self.columns = columns
        self._lo, self._hi = self._hi, hi
        self._last = (hi - 1) * TICK_S
        for shared in (self._times, self._ends, self._windows, self._views):
            shared.clear()
        self._followed.clear()
        measured = sum(1 for column in columns.signals.values() if len(column))
        if measured > self._measured:
            self._first = {n: t for n, t in self._first.items() if t < np.inf}
        self._measured = measured

    def view(self, place: Place, lo: int | None = None) -> TickView:
        """What is seen at one place: over the newest ticks, or from tick `lo` on."""
        key = place, self._lo if lo is None else lo
        view = self._views.get(key)
        if view is None:
            view = TickView(self, place, self._times_from(key[1]), key[1], self._hi)
            self._views[key] = view
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

    def heard(self, ticks: Floats) -> Floats:
        """When any value was last measured, at each tick; −∞ before the first."""
        heard = np.full(len(ticks), -np.inf)
        for column in self.columns.signals.values():
            if len(column) and column.t[0] <= ticks[-1]:
                ends = column.t.searchsorted(ticks, side="right")
                last = column.t[np.maximum(ends - 1, 0)]
                heard = np.maximum(heard, np.where(ends > 0, last, -np.inf))
        return heard

    def window(self, name: str, seconds: float, lo: int) -> Window:
        """The samples of a raw signal in the seconds before each tick from `lo` on."""
        key = name, seconds, lo
        found = self._windows.get(key)
        if found is None:
            column, ticks = self.columns[name], self._times_from(lo)
            starts = column.t.searchsorted(ticks - seconds, side="right")
            found = Window(column, starts, self._ends_from(name, lo), ticks, seconds)
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
        if key not in self._followed:
            self._followed.add(key)
            track.follow(column, int(column.t.searchsorted(self._last, "right")))
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
        row = self._row(name)
        if row is None:
            if not (name in DERIVED or name in SIGNALS or name in MAKER_SIGNALS):
                raise KeyError(f"no signal is called {name!r}")
            return np.full(hi - lo, np.nan)
        if lo >= 0:
            return row.cells[lo:hi]
        early = np.full(min(-lo, hi - lo), np.nan)
        return np.concatenate((early, row.cells[: max(hi, 0)]))

    def at(self, name: str, tick: int) -> float:
        """One signal's value at one tick, NaN where it has none."""
        row = self._rows.get(name)
        if row is None or row.done <= tick:
            row = self._row(name)
        return float(row.cells[tick]) if row is not None and tick >= 0 else np.nan

    def _row(self, name: str) -> _Row | None:
        """A signal computed up to the newest tick; None when it has no value yet."""
        row = self._rows.get(name)
        if row is None:
            row = self._open(name)
            if row is None:
                return None
        if row.done < self._hi:
            lo, hi = row.done, self._hi
            row.make_room(hi)
            row.cells[lo:hi] = self._values(name, row.entry, lo)
            row.done = hi
        return row

    def _open(self, name: str) -> _Row | None:
        """Takes up a signal once its first input was measured."""
        entry = DERIVED.get(name)
        start = 0
        if entry is None or entry.inputs:
            first = self.seen_from(name)
            if not first <= self._last:
                return None
            start = max(ceil(first / TICK_S), 0)
        elif not self._hi:
            return None
        row = self._rows[name] = _Row(entry, start)
        return row

    def _values(self, name: str, entry: Entry | None, lo: int) -> Floats:
        if entry is None:
            return self._newest(name, lo)
        view = self.view(entry.place, lo)
        # Computing one signal asks for others at the same place.
        asker, view.own = view.own, name
        values = entry.derived.function(view)
        view.own = asker
        return values

    def _newest(self, name: str, lo: int) -> Floats:
        column, ticks = self.columns[name], self._times_from(lo)
        t = column.t
        # The first tick computed is not before the first sample.
        last = self._ends_from(name, lo) - 1
        back = np.maximum(last - INTERVALS, 0)
        then = t[last]
        interval = (then - t[back]) / np.maximum(last - back, 1)
        signal = SIGNALS.get(name)
        floor = AGE_LIMIT_S[signal.pace if signal else Pace.MEDIUM]
        fresh = ticks - then <= np.maximum(2.0 * interval, floor)
        return np.where(fresh, column.v[last], np.nan)

    def _times_from(self, lo: int) -> Floats:
        times = self._times.get(lo)
        if times is None:
            times = self._times[lo] = tick_times(lo, self._hi)
        return times

    def _ends_from(self, name: str, lo: int) -> Indices:
        key = name, lo
        ends = self._ends.get(key)
        if ends is None:
            t, ticks = self.columns[name].t, self._times_from(lo)
            ends = self._ends[key] = t.searchsorted(ticks, side="right")
        return ends


__all__ = ["TICK_S", "Frame"]
