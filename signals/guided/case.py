"""What a judgement may look at: one run, and what was measured until it was over.

Nothing later than the run's end counts, so a result is the same while the person still
sits in the car and on any later replay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from bankwise.signals.catalogue import BANKS
from bankwise.signals.columns import Columns, Floats
from bankwise.signals.guided.runs import Run
from bankwise.signals.thresholds import DEFAULTS

RUNNING_RPM = 400.0
"""Engine speed from which an engine runs by itself. Common practice, no source."""
_FRESH_S = 3.0
"""Age at which a live figure is no longer shown. Unit: s. Our choice."""


class Signals(Protocol):
    """Derived signals at ticks."""

    @property
    def ticks(self) -> Floats:
        """Times of the ticks. Shape (n,). Unit: s."""
        ...

    def __getitem__(self, name: str) -> Floats:
        """Values of a signal, NaN for none. Shape (n,). Raises KeyError."""
        ...


@dataclass(frozen=True, slots=True)
class Case:
    """One run with the data it is judged by.

    Attributes:
        run: the run.
        columns: of the session.
        frame: derived signals of the session.
        limits: the thresholds in force.
        now_s: the present moment, for live figures. Unit: s.
    """

    run: Run
    columns: Columns
    frame: Signals
    limits: Mapping[str, float] = field(default_factory=lambda: DEFAULTS)
    now_s: float = np.inf

    @property
    def place(self) -> str:
        """What it is about, as in signal names: `b1s1`."""
        return self.run.about.lower()

    def span(self, step: str) -> tuple[float, float] | None:
        """Begin and end of a step, not beyond the run's; None when never begun."""
        span = self.run.span(step)
        return None if span is None else (span[0], min(span[1], self.run.until))

    def samples(self, name: str, start: float, end: float) -> tuple[Floats, Floats]:
        """Times and values of a measured signal between two moments of the run."""
        column = self.columns[name]
        lo, hi = np.searchsorted(column.t, (start, min(end, self.run.until)), "right")
        return column.t[lo:hi], column.v[lo:hi]

    @property
    def engine_ran(self) -> bool:
        """Whether the engine ran at any moment of the run."""
        return self.engine_ran_since(self.run.began)

    def engine_ran_since(self, start: float, end: float = np.inf) -> bool:
        """Whether the engine ran at any moment of a part of the run. Unit: s."""
        _, rpm = self.samples("rpm", start, end)
        return bool(np.any(rpm >= RUNNING_RPM))

    def tail(self, step: str, name: str, seconds: float) -> Floats:
        """A measured signal's values in the last seconds of a step.

        Empty when the step was never begun. Unit of `seconds`: s.
        """
        span = self.span(step)
        if span is None:
            return np.empty(0)
        end = min(span[1], self.columns.end_s or span[1])
        return self.samples(name, max(span[0], end - seconds), end)[1]

    def ticks(
        self, name: str, start: float | None = None, end: float = np.inf
    ) -> Floats:
        """A derived signal at the ticks of the run, or of a part of it.

        Empty when there is no such signal; shape (n,) with `times` of the same part.
        """
        try:
            values = self.frame[name]
        except KeyError:
            return np.empty(0)
        lo, hi = self._part(start, end, len(values))
        return values[lo:hi]

    def times(self, start: float | None = None, end: float = np.inf) -> Floats:
        """The ticks of the run, or of a part of it. Unit: s."""
        ticks = self.frame.ticks
        lo, hi = self._part(start, end, len(ticks))
        return ticks[lo:hi]

    def _part(self, start: float | None, end: float, count: int) -> tuple[int, int]:
        first = self.run.began if start is None else start
        ticks = self.frame.ticks[:count]
        lo = np.searchsorted(ticks, first, "left")
        hi = np.searchsorted(ticks, min(end, self.run.until), "right")
        return int(lo), int(hi)

    def so_far(self, name: str) -> Floats:
        """A derived signal from the session's begin to the run's end."""
        return self.ticks(name, 0.0)

    def last(self, name: str, start: float = 0.0) -> float:
        """Its newest value up to the run's end, NaN when it never had one."""
        values = self.ticks(name, start)
        known = values[np.isfinite(values)]
        return float(known[-1]) if len(known) else np.nan

    def now(self, name: str) -> float:
        """The newest measured value, NaN when it is old."""
        column = self.columns[name]
        at = min(self.now_s, self.run.until)
        place = int(np.searchsorted(column.t, at, "right"))
        if not place or at - column.t[place - 1] > _FRESH_S:
            return float("nan") if np.isfinite(at) or not place else column.v[-1]
        return float(column.v[place - 1])

    def has(self, name: str) -> bool:
        """Whether a measured signal has ever had a value up to the run's end."""
        column = self.columns[name]
        return bool(len(column)) and bool(column.t[0] <= self.run.until)

    def sensor(self, place: str) -> bool:
        """Whether a sensor such as `B1S1` has ever told anything."""
        low = place.lower()
        return self.has(f"o2_{low}_v") or self.has(f"lambda_{low}")

    @property
    def banks(self) -> tuple[int, ...]:
        """The banks this car shows."""
        two = self.has("stft_b2_pct") or self.sensor("B2S1")
        return BANKS if two else BANKS[:1]


class SoFar:
    """The derived signals of a session up to the end of a run, by name."""

    def __init__(self, case: Case) -> None:
        self._case = case

    @property
    def ticks(self) -> Floats:
        """Times of the ticks. Shape (n,). Unit: s."""
        return self._case.times(0.0)

    def __getitem__(self, name: str) -> Floats:
        """Values at the ticks, NaN where there is none. Shape (n,)."""
        values = self._case.so_far(name)
        return values if len(values) else np.full(len(self.ticks), np.nan)
