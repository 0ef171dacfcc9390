"""What to ask a car for, and how often: from what it supports to a poll plan.

A signal that two PIDs carry is asked through the one listed first. The front sensors
lead: an oxygen sensor and its bank's short-term trim share a request.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Final

from bankwise.adapters.pids import PIDS, Layout, signals_of
from bankwise.adapters.schedule import Wanted
from bankwise.signals.catalogue import SIGNALS, WANTED_HZ, Pace

TRICKLE_HZ: Final = 0.1
"""The rate of what was not asked for by name. Our choice."""
SLOW_LINK_HZ: Final = 25.0
"""Below this many values a second a drive watches fewer signals closely. Our choice:
two front sensors at 5 Hz, trims at 1 Hz and status need about that."""
MONITOR_HZ: Final = 1 / 30
"""Rate of the monitor status PIDs 01 and 41. Common practice, no source."""
MONITOR_PIDS: Final = (0x01, 0x41)
ONCE_PIDS: Final = (0x13, 0x1D, 0x1C, 0x51, 0x4F, 0x50, 0x21, 0x30, 0x31, 0x4D, 0x4E)
"""Asked once a drive, when supported. Common practice, no source."""
ODOMETER: Final = 0xA6

_PREFER: Final = {0x66: 0x10, 0x67: 0x05, 0x68: 0x0F, 0x87: 0x0B, 0x59: 0x23}
"""A PID that is left out when the other one is supported."""
_TRIMS: Final = {1: 0x06, 2: 0x08}
"""The short-term trim PID of each bank."""
_SLOW_LINK: Final = {"rpm": 2.0, "maf_gps": 2.0, "throttle_pct": 2.0}
"""Rates on a slow link. Unit: Hz. Our choice."""


def _rate(name: str, *, slow_link: bool) -> float:
    signal = SIGNALS[name]
    hz = WANTED_HZ[signal.pace]
    if slow_link:
        if name in _SLOW_LINK:
            return _SLOW_LINK[name]
        if signal.pace is Pace.MEDIUM:
            return hz / 2
        if signal.pace is Pace.FAST:
            return hz / 2 if signal.position == 1 else hz / 10
    return hz


def sensor_pids(supported: Collection[int], layout: Layout) -> dict[int, list[int]]:
    """The PIDs of upstream sensors by bank, among the supported ones."""
    found: dict[int, list[int]] = {}
    for pid in sorted(supported):
        row = PIDS.get(pid)
        if row is None or row.sensor is None:
            continue
        place = layout.value[row.sensor]
        if place.endswith("s1"):
            found.setdefault(int(place[1]), []).append(pid)
    return found


def plan(
    supported: Collection[int],
    layout: Layout,
    rates: Mapping[str, float] | None = None,
    *,
    slow_link: bool = False,
) -> tuple[Wanted, ...]:
    """The poll plan of a car.

    Args:
        supported: PIDs that at least one control unit supports.
        layout: where the sensor PIDs sit.
        rates: wanted rates by signal name; what is not named falls to a trickle.
            None: the rates of the catalogue.
        slow_link: the link gives few values a second, so fewer signals are fast.
    """
    fronts = sensor_pids(supported, layout)
    companions: dict[int, tuple[int, ...]] = {
        pid: (_TRIMS[bank],) if bank in _TRIMS else ()
        for bank, pids in fronts.items()
        for pid in pids
    }
    for bank, pids in fronts.items():
        if bank in _TRIMS:
            companions[_TRIMS[bank]] = tuple(pids[:1])
    rows: list[Wanted] = []
    for pid in sorted(supported):
        if pid not in PIDS or pid in ONCE_PIDS or pid == ODOMETER:
            continue
        if _PREFER.get(pid) in supported:
            continue
        names = signals_of(pid, layout)
        if not names:
            if pid in MONITOR_PIDS:
                rows.append(Wanted(pid, MONITOR_HZ))
            continue
        if rates is None:
            hz = max(_rate(name, slow_link=slow_link) for name in names)
            fills = any(SIGNALS[name].pace is Pace.FAST for name in names)
        else:
            hz = max(rates.get(name, TRICKLE_HZ) for name in names)
            fills = False
        leads = fills and pid in companions
        if 0x24 <= pid <= 0x2B and pid + 0x10 in supported and rates is None:
            # The pump-current PID of the same sensor carries the same lambda.
            hz, fills, leads = min(hz, 1.0), False, False
        if hz > 0:
            rows.append(Wanted(pid, hz, companions.get(pid, ()), fills, leads))
    return tuple(rows)
