"""Every derived signal in one table, in the order of computation."""

from __future__ import annotations

from bankwise.signals import (
    airflow,
    catalyst,
    driving,
    flow,
    forcing,
    gates,
    oxygen,
    patterns,
    response,
    sampling,
    sensor_life,
    starts,
    trims,
    warm_up,
    wideband,
)
from bankwise.signals.derived import Derived, entries

ROWS: tuple[Derived, ...] = (
    *starts.ROWS,
    *driving.ROWS,
    *flow.ROWS,
    *warm_up.COOLANT_ROWS,
    *trims.ROWS,
    *warm_up.LOOP_ROWS,
    *gates.ROWS,
    *patterns.ROWS,
    *sampling.ROWS,
    *oxygen.ROWS,
    *sensor_life.ROWS,
    *response.ROWS,
    *wideband.ROWS,
    *airflow.ROWS,
    *catalyst.ROWS,
    *forcing.ROWS,
)
"""The records, once each."""

DERIVED = entries(ROWS)
"""The records at every place they exist, by name."""


def _roots() -> dict[str, frozenset[str]]:
    roots: dict[str, frozenset[str]] = {}
    for name, entry in DERIVED.items():
        found: set[str] = set()
        for source in entry.inputs:
            found |= roots.get(source, {source})
        roots[name] = frozenset(found)
    return roots


ROOTS = _roots()
"""The raw signals each derived one needs at least one of."""
