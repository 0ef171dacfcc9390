"""Guided tests: whether a sensor followed when the mixture was forced.

A step is a mark with the tag `force-rich:B1S1` or `force-lean:B1S1`, set when the
stimulus begins.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived
from bankwise.signals.places import EACH_SENSOR
from bankwise.signals.view import TickView

ANSWER_S = 10.0
"""How long a sensor may take to follow. Source: our choice, because a person opens a
valve or a throttle within seconds and a good sensor follows within one."""


def _answered(see: TickView, rich: bool, start: float, end: float) -> bool:
    found = False
    for name, high, low in (
        ("o2_{s}_v", see.limit("front_rich_v"), see.limit("front_lean_v")),
        ("lambda_{s}", see.limit("front_lean_lambda"), see.limit("front_rich_lambda")),
    ):
        column = see.columns[see.place.fill(name)]
        lo, hi = np.searchsorted(column.t, (start, end), side="right")
        v = column.v[lo:hi]
        if name == "lambda_{s}":
            found |= bool(np.any(v < low if rich else v > high))
        else:
            found |= bool(np.any(v > high if rich else v < low))
    return found


def _forced(see: TickView) -> Floats:
    out = see.nothing()
    steps = [
        (mark.t, mark.tag.startswith("force-rich:"))
        for mark in see.columns.marks
        if mark.tag
        in (f"force-rich:{see.place.about}", f"force-lean:{see.place.about}")
    ]
    if not steps:
        return out
    for k, tick in enumerate(see.ticks):
        results: dict[bool, bool] = {}
        for start, rich in steps:
            if start > tick:
                continue
            if _answered(see, rich, start, min(tick, start + ANSWER_S)):
                results[rich] = True
            elif tick >= start + ANSWER_S:
                results[rich] = False
        if results:
            out[k] = float(all(results.values()))
    return out


ROWS: tuple[Derived, ...] = (
    Derived(
        "forced_{s}",
        "followed when forced",
        "",
        _forced,
        ("o2_{s}_v", "lambda_{s}"),
        s.OURS + ", because only a forced test tells sensor from mixture",
        EACH_SENSOR,
        ANSWER_S,
        reason=lambda see: "no guided test was made",
    ),
)
"""Guided-test signals."""
