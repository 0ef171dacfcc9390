"""Codes that a drive contradicts: a code says one thing, the data of today another.

A contradiction clears no code. The fault may come and go, be mended already, or need
conditions that were not driven; but nobody should buy a part on such a code alone.
Permanent codes are left out: they stay after a repair by law.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from bankwise.signals import trouble_codes as tc
from bankwise.signals.evidence import Snapshot
from bankwise.signals.frame import Frame
from bankwise.signals.phases import COLD_C
from bankwise.signals.trim_map import cell_values

HEATED_FRONT_S = 30.0
"""A front sensor awake this soon after a cold start was heated. Unit: s.

Source: our choice, because exhaust gas alone takes a minute or more."""
HEATED_REAR_S = 60.0
"""The same behind the catalyst. Unit: s. Source: our choice, as above."""
SWITCHES = 40.0
"""Full passes in 100 s that a dead sensor cannot make.

Source: GM 1999 P1133, 40 each way, halved because a poll proves fewer."""
QUICK_MS = 100.0
"""A way between 300 and 600 mV that no maker calls slow. Unit: ms.

Source: GM 2000 P0133 fails from 107 to 140 ms; below all of them."""
REAR_SWING_V = 0.5
"""A rear sensor that swings so far within two minutes is alive. Unit: V.

Source: common practice, no source."""
CALM_RATIO = 0.4
"""Rear movement over front movement of a catalyst that still stores oxygen.

Source: our choice, half-way to the 0.75 that common practice calls worn out."""
FINE_PCT = 5.0
"""A total trim this small needs no correction. Unit: %. Common practice, no source."""
LEAST_CELLS = 3
"""Cells of speed and load that must be fine. Source: our choice."""
WARM_C = 80.0
"""Coolant that an open thermostat does not reach on the road. Unit: °C.

Source: our choice, well above the 71 °C of the flag `thermostat-low`."""


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A code and what this drive says against it."""

    code: str
    about: str
    text: str


Judge = Callable[[Frame, str], str]
"""What a drive says against a code about a place; empty when it says nothing."""


def _last(drive: Frame, name: str) -> float:
    try:
        values = drive[name]
    except KeyError:
        return np.nan
    known = values[np.isfinite(values)]
    return float(known[-1]) if len(known) else np.nan


def _most(drive: Frame, name: str) -> float:
    try:
        values = drive[name]
    except KeyError:
        return np.nan
    known = values[np.isfinite(values)]
    return float(known.max()) if len(known) else np.nan


def _heated(drive: Frame, about: str) -> str:
    woke = _last(drive, f"wake_up_{about.lower()}_s")
    start = _last(drive, "ect_start_c")
    soon = HEATED_FRONT_S if about.endswith("S1") else HEATED_REAR_S
    if start < COLD_C and woke <= soon:
        return f"{about} woke {woke:.0f} s after a start at {start:.0f} °C"
    return ""


def _front_alive(drive: Frame, about: str) -> str:
    count = _last(drive, f"switches_100_{about.lower()}")
    if count >= SWITCHES:
        return f"{about} switched {count:.0f} times in 100 s"
    return ""


def _quick(drive: Frame, about: str) -> str:
    """Against a code for a slow front sensor: both its ways are surely quick.

    That it switches says nothing: a slow sensor still switches.
    """
    place = about.lower()
    ways = [
        _last(drive, f"{way}_mean_{place}_ms") + _last(drive, f"{way}_error_{place}_ms")
        for way in ("lr", "rl")
    ]
    slowest = float(np.max(ways))
    if slowest < QUICK_MS:
        return f"{about} needed {slowest:.0f} ms at most between 300 and 600 mV"
    return ""


def _nothing(drive: Frame, about: str) -> str:
    """A poll is too slow to speak against such a code."""
    return ""


def _rear_alive(drive: Frame, about: str) -> str:
    swing = _most(drive, f"swing_120_{about.lower()}_v")
    if swing >= REAR_SWING_V:
        return f"{about} swung over {swing:.2f} V within two minutes"
    return ""


def _calm(drive: Frame, about: str) -> str:
    ratio = _last(drive, f"downstream_ratio_{about.lower()}")
    if ratio < CALM_RATIO:
        return f"the rear sensor of {about} moved {ratio:.0%} of what the front did"
    return ""


def _warm(drive: Frame, about: str) -> str:
    hottest = _most(drive, "ect_c")
    return f"the coolant reached {hottest:.0f} °C" if hottest >= WARM_C else ""


def _trims(sign: int) -> Judge:
    """Against a code for lean (+1) or rich (-1): no cell needs that correction."""

    def judge(drive: Frame, about: str) -> str:
        cells = cell_values(drive, int(about[1]))
        medians = [sign * float(np.median(values)) for values in cells.values()]
        if len(medians) < LEAST_CELLS or max(medians) > FINE_PCT:
            return ""
        end = "most" if sign > 0 else "least"
        return (
            f"the total trim of {about} is {sign * max(medians):+.0f} % at {end}, in "
            f"{len(medians)} cells of speed and load"
        )

    return judge


def _trim_at(pattern: str, sign: int) -> Judge:
    def judge(drive: Frame, about: str) -> str:
        trim = _last(drive, pattern.format(about.lower()))
        if sign * trim <= FINE_PCT:
            where = "at idle" if "idle" in pattern else "under load"
            return f"the total trim of {about} {where} is {trim:+.0f} %"
        return ""

    return judge


_IDLE, _LOAD = "trim_idle_{}_pct", "trim_load_{}_pct"
_BY_CODE: Mapping[str, Judge] = {
    **dict.fromkeys(("P0171", "P0174"), _trims(+1)),
    **dict.fromkeys(("P0172", "P0175"), _trims(-1)),
    **dict.fromkeys(("P2187", "P2189"), _trim_at(_IDLE, +1)),
    **dict.fromkeys(("P2188", "P2190"), _trim_at(_IDLE, -1)),
    **dict.fromkeys(("P2191", "P2193"), _trim_at(_LOAD, +1)),
    **dict.fromkeys(("P2192", "P2194"), _trim_at(_LOAD, -1)),
    **dict.fromkeys(("P0420", "P0421", "P0430", "P0431"), _calm),
    **dict.fromkeys(("P0133", "P0153"), _quick),
    **dict.fromkeys(("P0139", "P0159"), _nothing),
    "P0128": _warm,
}
"""Codes judged one by one. Source of their meaning: SAE J2012, from memory."""


def _judge_of(code: str) -> Judge | None:
    name = tc.base(code)
    if name in _BY_CODE:
        return _BY_CODE[name]
    place, system = tc.about(name), tc.system(name)
    if system == tc.HEATER and len(place) == 4:
        return _heated
    if system == tc.SENSOR and len(place) == 4:
        return _front_alive if place.endswith("S1") else _rear_alive
    return None


_SAYS = {
    tc.HEATER: "a heater code is {} for {}",
    tc.SENSOR: "a sensor code is {} for {}",
    tc.CATALYST: "a catalyst code is {} for {}",
    tc.COOLING: "a coolant temperature code is {}",
}
_MIXTURE = "a mixture code is {} for {}"


def contradictions(seen: Snapshot, drive: Frame) -> tuple[Contradiction, ...]:
    """Every stored or pending code that the drive contradicts, in order read."""
    return tuple(_found(seen, drive))


def _found(seen: Snapshot, drive: Frame) -> Iterator[Contradiction]:
    done: set[str] = set()
    for when in ("stored", "pending"):
        for code in seen.codes[when].codes:
            judge = _judge_of(code)
            if code in done or judge is None:
                continue
            done.add(code)
            about = tc.about(code)
            fact = judge(drive, about)
            if fact:
                says = _SAYS.get(tc.system(code), _MIXTURE).format(when, about)
                yield Contradiction(code, about, f"{says}, yet on this drive {fact}")
