"""Starts: whether the engine runs, since when, and how long nothing was heard.

The moment of a start is seen in the session, or told by the control unit's own clock,
or unknown; it is never guessed.
"""

from __future__ import annotations

import math

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.derived import Derived
from bankwise.signals.view import TickView
from bankwise.signals.windows import held, yes

RUNNING_RPM = 400.0
"""Above a starter, below any idle. Source: common practice, no source."""

BY_ADAPTER = "module_v"
"""The one value that an adapter tells by itself, before the car has answered."""

HOLE_TICKS = 20
"""A running engine not seen for longer may have been stopped. Unit: ticks."""


def _running(see: TickView) -> Floats:
    rpm = see["rpm"]
    return np.where(np.isnan(rpm), np.nan, yes(rpm >= RUNNING_RPM))


def _stopped_before(see: TickView) -> Bools:
    """Whether the newest earlier known tick had the engine not running."""
    was = see.back("running", HOLE_TICKS + 1)
    last = held(was, np.nan)[HOLE_TICKS - 1 : -1]
    stopped: Bools = last == 0
    return stopped


def _start_t(see: TickView) -> Floats:
    """When this run began: seen, or told by the time since start, else unknown."""
    running = see["running"] == 1
    start = np.where(running & _stopped_before(see), see.ticks, np.nan)
    run = see["run_s"]
    ended = see["running"] == 0
    told = np.where(running & (run > 0), see.ticks - run, np.nan)
    if np.isnan(start).all() and not ended.any():
        before = see.before()
        if not np.isnan(before) and before != _NO_RUN:
            return np.full(see.size, before)
    out = np.empty(see.size)
    now = see.before(_NO_RUN)
    rows = zip(ended.tolist(), start.tolist(), told.tolist(), strict=True)
    for k, (over, began, said) in enumerate(rows):
        if over:
            now = _NO_RUN
        elif not math.isnan(began):
            now = began
        elif now == _NO_RUN and not math.isnan(said):
            now = said
        out[k] = now
    return out


_NO_RUN = -1e9
"""Marks "no run whose start is known" inside `start_t_s`."""


def _since_start(see: TickView) -> Floats:
    start = see["start_t_s"]
    ok = (start > _NO_RUN) & (see["running"] == 1)
    return np.where(ok, see.ticks - start, np.nan)


def _start_seen(see: TickView) -> Floats:
    event = (see["running"] == 1) & _stopped_before(see)
    unknown = (see["start_t_s"] == _NO_RUN) | (see["running"] != 1)
    mark = np.where(event, 1.0, np.where(unknown, 0.0, np.nan))
    return held(mark, see.before(0.0))


def _connected_t(see: TickView) -> float:
    """When the car was first reached: the link came up, or a value came."""
    ups = [event.t for event in see.columns.link if event.state == "up"]
    firsts = [
        float(column.t[0])
        for name, column in see.columns.signals.items()
        if len(column) and name != BY_ADAPTER
    ]
    return min([*ups[:1], *firsts], default=np.inf)


def _silent(see: TickView) -> Floats:
    # A slow bus takes seconds to wake, and nobody was lost who was not there yet.
    since = _connected_t(see)
    heard = np.maximum(see.frame.heard(see.ticks), since)
    return np.where(see.ticks >= since, see.ticks - heard, np.nan)


_RPM = ("rpm",)

ROWS: tuple[Derived, ...] = (
    Derived("silent_s", "time since any value", "s", _silent, (), s.COMMON),
    Derived("running", "engine running", "", _running, _RPM, s.COMMON),
    Derived("start_t_s", "moment of this start", "s", _start_t, _RPM, s.COMMON),
    Derived("since_start_s", "time since start", "s", _since_start, _RPM, s.COMMON),
    Derived("start_seen", "the start was seen", "", _start_seen, _RPM, s.COMMON),
)
"""Start signals, in the order of computation."""
