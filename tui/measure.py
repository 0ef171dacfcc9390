"""What the cursors say: values at a moment, and what happened between two of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import Floats
from bankwise.tui.canvas import Canvas
from bankwise.tui.snapshot import Snapshot
from bankwise.tui.themes import BANK_INK, BOLD, Ink, look
from bankwise.tui.timeview import TimeView
from bankwise.tui.words import DIFFERENCE, NO_VALUE, clock, number

_LEAST_SWITCHES = 4
_LEAN_V, _RICH_V = 0.3, 0.6
"""A switch goes all the way between these. Source: DOMAIN 3, full switches."""


@dataclass(frozen=True, slots=True)
class Between:
    """A sensor between two moments.

    Attributes:
        samples: how many were measured.
        switches: full ones, both ways; a lower bound, because polling misses some.
        least: smallest value, NaN when there is no sample.
        greatest: largest value.
        change: last less first.
    """

    samples: int
    switches: int
    least: float
    greatest: float
    change: float


def between(t: Floats, v: Floats, a_s: float, b_s: float) -> Between:
    """What a series did between two moments, in either order."""
    low, high = min(a_s, b_s), max(a_s, b_s)
    part = v[np.searchsorted(t, low, "left") : np.searchsorted(t, high, "right")]
    part = part[np.isfinite(part)]
    if not len(part):
        nan = float("nan")
        return Between(0, 0, nan, nan, nan)
    side = np.where(part < _LEAN_V, -1, np.where(part > _RICH_V, 1, 0))
    ends = side[side != 0]
    switches = int(np.count_nonzero(ends[1:] != ends[:-1]))
    return Between(
        len(part),
        switches,
        float(part.min()),
        float(part.max()),
        float(part[-1] - part[0]),
    )


def draw_readout(area: Canvas, shot: Snapshot, view: TimeView) -> None:
    """Two rows: where the cursor stands and the banks there, or the measurement."""
    if view.cursor_s is None:
        return
    bold, soft = look(Ink.TEXT, attributes=BOLD), look(Ink.SOFT)
    x = area.put(1, 0, f"◆ {clock(view.cursor_s, tenths=True)}", bold)
    banks = (1, 2) if shot.two_banks else (1,)
    if view.anchor_s is None:
        trims = [shot.value(f"total_trim_b{b}_pct", view.cursor_s) for b in banks]
        x = area.put(x + 2, 0, "trim", soft)
        for bank, trim in zip(banks, trims, strict=True):
            code = look(BANK_INK[bank], attributes=BOLD)
            x = area.put(x + 1, 0, f"{bank} {number(trim, 1, True)} %", code)
        if shot.two_banks:
            gap = number(trims[0] - trims[1], 1, True)
            area.put(x + 2, 0, f"{DIFFERENCE} {gap} %", bold)
        area.put(1, 1, "← → moves it   x: measure from here   c: away   n: now", soft)
        return
    span = view.cursor_s - view.anchor_s
    area.put(x + 2, 0, f"from ◇ {clock(view.anchor_s, tenths=True)}", soft)
    area.put(x + 20, 0, f"Δt {number(span, 2, True)} s", bold)
    x = 1
    for bank in banks:
        for position in (1, 2):
            text = _between_words(shot, bank, position, view.anchor_s, view.cursor_s)
            # What does not fit whole is left out: half a figure would mislead.
            if text and x + len(text) < area.width:
                x = area.put(x, 1, text, look(BANK_INK[bank])) + 2


def _between_words(
    shot: Snapshot, bank: int, position: int, a_s: float, b_s: float
) -> str:
    place = f"b{bank}s{position}"
    t, v = shot.series(f"o2_{place}_v")
    narrow = len(t) > 0
    if not narrow:
        t, v = shot.series(f"lambda_{place}")
    if not len(t):
        return ""
    found = between(t, v, a_s, b_s)
    text = f"B{bank}S{position} "
    if not found.samples:
        return text + NO_VALUE
    if position == 1 and narrow:
        text += f"≥{found.switches} switches "
        # A frequency from one or two passes would be an accident.
        if found.switches >= _LEAST_SWITCHES and a_s != b_s:
            text += f"{number(found.switches / 2 / abs(b_s - a_s), 2)} Hz "
    swing = number(found.greatest - found.least, 2)
    return text + (f"ΔV {swing} V" if narrow else f"Δλ {swing}")
