"""Why a signal has no value now, in words. Never blank, never a number made up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from bankwise.signals.places import place_of
from bankwise.signals.registry import DERIVED, ROOTS

if TYPE_CHECKING:
    from bankwise.signals.frame import Frame

NOT_SUPPORTED = "not supported by this car"
NO_VALUE_YET = "no value yet"


def why(frame: Frame, name: str) -> str:
    """Why a signal has no value at the newest tick."""
    entry = DERIVED.get(name)
    roots = ROOTS.get(name, frozenset((name,)))
    if roots and not frame.seen(name):
        return _unmeasured(frame, roots)
    if entry is None:
        return _stale(frame, name)
    row = entry.derived
    if row.min_hz:
        limit = (
            frame.thresholds[row.min_hz] if isinstance(row.min_hz, str) else row.min_hz
        )
        rate = frame[entry.place.fill(row.rate_of)][-1] if frame.n else np.nan
        if rate < limit:
            return too_slow(rate, limit)
        if np.isnan(rate):
            return "no fresh values of the sensor"
    if row.reason is not None and frame.n:
        said = row.reason(frame.view(entry.place, frame.n - 1))
        if said:
            return said
    if row.window_s and frame.n and frame.ticks[-1] < row.window_s:
        return f"needs {row.window_s:.0f} s of data"
    return "not enough data under the right conditions yet"


def too_slow(rate: float, needs: float) -> str:
    """The words for a rate that cannot carry a claim."""
    return f"sampled at {rate:.1f} Hz, needs {needs:.0f} Hz"


def _unmeasured(frame: Frame, roots: frozenset[str]) -> str:
    supported = frame.columns.supported
    if supported is not None and not roots & supported:
        return NOT_SUPPORTED
    return NO_VALUE_YET


def _stale(frame: Frame, name: str) -> str:
    column = frame.columns[name]
    now = frame.ticks[-1] if frame.n else 0.0
    at = int(np.searchsorted(column.t, now, side="right"))
    if at == 0:
        return NO_VALUE_YET
    return f"no value for {now - column.t[at - 1]:.0f} s"


_GATE_WORDS = (
    ("module_v", "no voltage reading"),
    ("ect_c", "no coolant temperature"),
    ("fuel_status_b1", "no fuel system status"),
    ("rpm", "no engine speed"),
)


def missing(frame: Frame, about: str) -> tuple[str, ...]:
    """What the gate of a place would need and the car does not deliver."""
    names = dict(_GATE_WORDS)
    if place_of(about).bank is None and about != "engine":
        names.pop("fuel_status_b1")
    return tuple(words for name, words in names.items() if not frame.seen(name))
