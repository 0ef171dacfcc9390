"""Warm-up: coolant slope and plateau, and how long until closed loop.

When the session began with the engine running, a time since the start is known only if
the control unit tells it; else these signals have no value and say why.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived
from bankwise.signals.places import EACH_BANK
from bankwise.signals.view import TickView
from bankwise.signals.windows import held

SLOPE_S, SLOPE_SPAN_S = 120.0, 90.0
"""The line is fitted over so long, of which so much must hold samples.

Source: our choice: whole degrees need minutes to show half a degree a minute.
"""

PLATEAU_RUN_S = 300.0
"""An engine running for less is still warming. Source: common practice, no source."""

LIGHT_OFF_C = 300.0
"""A catalyst works from about here. Source: common practice, no source."""


def _slope(see: TickView) -> Floats:
    w = see.window("ect_c", SLOPE_S)
    if not len(w.column):
        return see.nothing()
    t, last = w.column.t, len(w.column) - 1
    first = t[np.minimum(w.starts, last)]
    span = t[np.clip(w.ends - 1, 0, last)] - first
    ok = (span >= SLOPE_SPAN_S) & (see["running"] == 1)
    return np.where(ok, w.slope_per_s * 60.0, np.nan)


def _plateau(see: TickView) -> Floats:
    since = see["since_start_s"]
    long = (since >= PLATEAU_RUN_S) | (
        np.isnan(since) & (see["running_run_s"] >= PLATEAU_RUN_S)
    )
    flat = np.abs(see["ect_slope_cpm"]) < see.limit("thermostat_slope")
    return np.where(long & flat, see.window("ect_c", SLOPE_S).mean, np.nan)


def _ect_start(see: TickView) -> Floats:
    since = see["since_start_s"]
    at = np.where(since <= 30.0, see["ect_c"], np.nan)
    before = see.before()
    if not np.isnan(before):
        return np.full(see.size, before)
    first = np.flatnonzero(~np.isnan(at))
    out = see.nothing()
    if len(first):
        out[first[0] :] = at[first[0]]
    return out


def _waiting(see: TickView) -> Floats:
    never = np.isnan(see["closed_first_{b}_s"]) & see.known("status_{b}")
    return np.where(never, see["since_start_s"], np.nan)


def _entry(see: TickView) -> Floats:
    now = see["closed_first_{b}_s"] == see.ticks
    waited = see.back("waiting_closed_{b}_s", 21)
    was_open = ~np.isnan(held(waited, np.nan)[19:-1])
    known = (see["start_seen"] == 1) | was_open
    at = np.where(now & known, see["since_start_s"], np.nan)
    return held(at, see.before())


def _why_no_entry(see: TickView) -> str:
    if np.isnan(see["since_start_s"][-1]):
        return "the start was not seen"
    if np.isnan(see["closed_first_{b}_s"][-1]):
        return f"not in closed loop {see['since_start_s'][-1]:.0f} s after the start"
    return "already in closed loop when the session began"


def _light_off(see: TickView) -> Floats:
    before = see.before()
    if not np.isnan(before):
        return np.full(see.size, before)
    hot = see["cat_b1s1_c"] if see.bank == 1 else see["cat_b2s1_c"]
    cold_seen = np.fmin.accumulate(hot) < LIGHT_OFF_C
    first = np.flatnonzero((hot >= LIGHT_OFF_C) & see.known("since_start_s"))
    out = see.nothing()
    if len(first) and (cold_seen[first[0]] or see.lo > 0):
        out[first[0] :] = see["since_start_s"][first[0]]
    return out


_ECT = ("ect_c",)
_STATUS = ("fuel_status_b1",)

COOLANT_ROWS: tuple[Derived, ...] = (
    Derived(
        "ect_slope_cpm",
        "coolant slope",
        "°C/min",
        _slope,
        _ECT,
        s.COMMON,
        window_s=SLOPE_S,
    ),
    Derived(
        "plateau_c",
        "coolant plateau",
        "°C",
        _plateau,
        _ECT,
        s.SUZUKI_2003,
        window_s=SLOPE_S,
        reason=lambda see: "the coolant has not settled",
    ),
    Derived("ect_start_c", "coolant at start", "°C", _ect_start, _ECT, s.COMMON),
    Derived(
        "highest_ect_c",
        "hottest coolant so far",
        "°C",
        lambda see: see.so_far(np.fmax, "ect_c"),
        _ECT,
        s.COMMON,
    ),
)
"""Coolant signals, in the order of computation."""

LOOP_ROWS: tuple[Derived, ...] = (
    Derived(
        "waiting_closed_{b}_s",
        "not yet in closed loop since start",
        "s",
        _waiting,
        _STATUS,
        s.ISUZU_2001,
        EACH_BANK,
    ),
    Derived(
        "closed_loop_entry_{b}_s",
        "closed-loop entry",
        "s",
        _entry,
        _STATUS,
        s.ISUZU_2001,
        EACH_BANK,
        reason=_why_no_entry,
    ),
    Derived(
        "light_off_{b}_s",
        "catalyst light-off (often a modelled temperature)",
        "s",
        _light_off,
        ("cat_{front}_c",),
        s.COMMON,
        EACH_BANK,
        reason=lambda see: "no start from a cold catalyst was seen",
    ),
)
"""Closed-loop signals, in the order of computation; they need the trims' rows."""
