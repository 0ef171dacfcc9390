"""The similar-conditions window: where a fault was seen, and must be looked for.

A verification drive proves little until it has entered the engine speed, load and
warm-up state in which the code was set.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import Bools, Columns, Floats
from bankwise.signals.evidence import FreezeFrame

RPM_SPAN = 375.0
"""Unit: rpm either side. Source: from memory of 13 CCR 1968.2(c)."""
LOAD_SPAN = 0.20
"""Share of the frame's load either side. Source: from memory of 13 CCR 1968.2(c)."""
WARM_C = 70.0
"""Coolant that counts as warmed up. Unit: °C. Common practice, no source."""
STAY_S = 3.0
"""How long the drive must stay inside. Unit: s. Common practice, no source."""
_FRESH_S = 3.0


@dataclass(frozen=True, slots=True)
class Window:
    """Engine speed and load limits, and whether the engine was warm.

    Attributes:
        rpm: lower and upper limit.
        load: lower and upper limit, percent.
        warm: True or False as the freeze frame's coolant says; None when unknown.
    """

    rpm: tuple[float, float]
    load: tuple[float, float]
    warm: bool | None

    def holds(self, rpm: Floats, load: Floats, ect: Floats) -> Bools:
        """Where each of n moments lies inside. NaN speed or load lies outside.

        A NaN coolant leaves warm-up unjudged: it neither admits nor excludes.
        """
        inside: Bools = (
            (rpm >= self.rpm[0])
            & (rpm <= self.rpm[1])
            & (load >= self.load[0])
            & (load <= self.load[1])
        )
        if self.warm is None:
            return inside
        inside &= np.isnan(ect) | ((ect >= WARM_C) == self.warm)
        return inside


def window_of(frame: Mapping[str, float]) -> Window | None:
    """The window around a freeze frame; None when speed or load is missing.

    Args:
        frame: freeze-frame values by signal name.
    """
    rpm, load, ect = frame.get("rpm"), frame.get("load_pct"), frame.get("ect_c")
    if rpm is None or load is None:
        return None
    return Window(
        (max(0.0, rpm - RPM_SPAN), rpm + RPM_SPAN),
        (load * (1 - LOAD_SPAN), load * (1 + LOAD_SPAN)),
        None if ect is None else ect >= WARM_C,
    )


def entered_at(window: Window, columns: Columns, since_s: float = 0.0) -> float | None:
    """The moment the drive had stayed inside for `STAY_S`; None when it has not.

    Judged at the load samples, with the newest speed and coolant before each, none
    older than 3 s (coolant: any age). Unit: seconds.
    """
    load = columns["load_pct"]
    start = int(np.searchsorted(load.t, since_s))
    at = load.t[start:]
    if not len(at):
        return None
    rpm = _newest(columns, "rpm", at, _FRESH_S)
    ect = _newest(columns, "ect_c", at, np.inf)
    inside = window.holds(rpm, load.v[start:], ect)
    since = np.full(len(at), np.nan)
    run_start = np.nan
    gaps = np.diff(at, prepend=at[0]) > _FRESH_S
    for i in np.flatnonzero(inside):
        fresh_run = i == 0 or not inside[i - 1] or gaps[i]
        run_start = at[i] if fresh_run else run_start
        since[i] = at[i] - run_start
    stayed = np.flatnonzero(since >= STAY_S)
    return float(at[stayed[0]]) if len(stayed) else None


@dataclass(frozen=True, slots=True)
class Entered:
    """Whether a drive has been in the conditions a code was set in.

    Attributes:
        code: the code whose freeze frame gives the window.
        window: those conditions.
        at_s: when the drive had been inside long enough; None when it never was.
    """

    code: str
    window: Window
    at_s: float | None


def windows_entered(
    frames: Iterable[FreezeFrame], columns: Columns, since_s: float = 0.0
) -> tuple[Entered, ...]:
    """For each code with a usable freeze frame, whether the drive entered its window.

    Empty when the drive told no load or no engine speed: then nothing is known.
    """
    if not len(columns["load_pct"]) or not len(columns["rpm"]):
        return ()
    windows = {
        frame.code: window
        for frame in frames
        if frame.code and (window := window_of(frame.values)) is not None
    }
    return tuple(
        Entered(code, window, entered_at(window, columns, since_s))
        for code, window in windows.items()
    )


def _newest(columns: Columns, name: str, at: Floats, limit_s: float) -> Floats:
    column = columns[name]
    index = np.searchsorted(column.t, at, "right") - 1
    out = np.full(len(at), np.nan)
    known = index >= 0
    known[known] = at[known] - column.t[index[known]] <= limit_s
    out[known] = column.v[index[known]]
    return out
