"""Clues from trims at idle: beside the road's, and where only idle was seen."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bankwise.signals.clue import Clue, Signals, last, most, other_place, signed
from bankwise.signals.clues_figures import APART_PCT, FADE_PCT, driven_trim

PURGE_PCT = -25.0
"""What a purge line can add to an idling engine ends about here. Source: derived: the
control unit opens it fully in closed loop, so its own trim must be able to make up."""

COMMON_PCT = 12.0
"""Beyond this a trim that both banks share is not normal. Source: our choice, because
petrol with ethanol asks for some percent."""

IDLE_TICKS = 60
"""Half a minute of idle is enough to name causes where nothing else is seen. Source:
our choice, because half of what a pattern asks for must do."""


def idle_pattern(signals: Signals, raised: set[tuple[str, str]]) -> Iterator[Clue]:
    """Trims that are off at idle and come back on the road, of one bank or of both."""
    common = last(signals, "common_idle_pct")
    driven = (last(signals, f"common_{name}_pct") for name in ("high", "mid", "low"))
    rest = next((value for value in driven if np.isfinite(value)), np.nan)
    alike = not abs(last(signals, "imbalance_idle_pct")) > APART_PCT
    words = f"The trim is {signed(common)} at idle and {signed(rest)} on the road"
    told = ("both-lean-fades", "engine") in raised
    fades = common >= APART_PCT > rest and common - rest >= FADE_PCT
    if fades and alike and not told:
        yield Clue("idle-lean-fades", "engine", words)
    if common <= -APART_PCT and rest - common >= FADE_PCT and alike:
        alone = not most(signals, "two_banks") > 0
        kind = "idle-rich-fades-alone" if alone else "idle-rich-fades"
        yield Clue(kind, "B1" if alone else "engine", words)
        if last(signals, "mass_air") == 1:
            yield Clue("metered-rich-fades", "engine", words)
        if alone:
            much = "beyond" if common < PURGE_PCT else "within"
            yield Clue(f"{much}-purge", "B1", words)
    for bank in ("B1", "B2"):
        b, o = bank.lower(), other_place(bank).lower()
        idle = last(signals, f"trim_idle_{b}_pct")
        apart = idle - last(signals, f"trim_idle_{o}_pct")
        road = driven_trim(signals, b) - driven_trim(signals, o)
        back = abs(apart) - abs(road)
        off = abs(apart) >= APART_PCT and apart * idle > 0
        if not (off and back >= FADE_PCT and abs(road) < APART_PCT):
            continue
        words = (
            f"{bank} trim is {signed(apart)} from the other bank's at idle, "
            f"{signed(road)} on the road"
        )
        kind = "idle-apart-rich" if apart < 0 else "idle-apart-lean"
        if abs(idle) >= 5:
            yield Clue(kind, bank, words)


def idle_alone(signals: Signals) -> Iterator[Clue]:
    """Trims far off at idle where nothing but idle was seen: a car in the workshop.

    They name the side and the banks; what tells causes apart takes driving.
    """
    told = {
        bank: last(signals, f"trim_idle_{bank}_pct")
        for bank in ("b1", "b2")
        if np.count_nonzero(np.isfinite(signals[f"trim_idle_{bank}_pct"])) >= IDLE_TICKS
    }
    if not told or any(np.isfinite(driven_trim(signals, bank)) for bank in told):
        return
    values = list(told.values())
    words = " and ".join(f"{b.upper()} {signed(v)}" for b, v in told.items())
    words = f"Only idle was seen, with trims of {words}"
    apart = max(values) - min(values)
    if apart < APART_PCT and min(map(abs, values)) >= COMMON_PCT:
        way = "rich" if values[0] < 0 else "lean"
        alone = "-alone" if len(values) == 1 else ""
        yield Clue(f"only-idle-{way}{alone}", "B1" if alone else "engine", words)
    elif apart >= APART_PCT:
        bank = max(told, key=lambda b: abs(told[b]))
        if abs(told[bank]) >= APART_PCT:
            way = "rich" if told[bank] < 0 else "lean"
            yield Clue(f"only-idle-bank-{way}", bank.upper(), words)
