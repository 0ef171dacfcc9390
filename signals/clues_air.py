"""Clues about metered air: filling at full throttle, and pressure against pressure.

They separate a meter or pressure sensor that errs from fuel that is short or too much.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bankwise.signals.clue import Clue, Signals, last, signed

FILLING_USUAL, FILLING_CLEAR, FILLING_TICKS = 0.98, 0.06, 4
"""Share of the printed filling that a used engine reaches, what is clearly off it, and
how many moments at full throttle it takes to say.

Source: our choice around MOTOR magazine, Dec 2003, because engines differ by some
percent.
"""

PRESSURE_SHARE, PRESSURE_TICKS = 0.05, 2
"""How far two pressure sensors may differ with the engine off, and for how many ticks
both must be seen.

Source: our choice, because each may err by about two percent of its range.
"""

OPEN_SHARE, OPEN_RPM, OPEN_TICKS = 0.90, 3500.0, 4
"""A manifold this far below the barometer at full throttle and moderate speed, so long.

Source: our choice, because an open throttle costs a few kPa at such a speed.
"""

FALL_PCT = 4.0
"""Share of a lean trim that must fade for a pressure sensor to be likelier than fuel.

Source: derived. What burnt gas holds of the manifold's pressure is a fixed amount, so
a reading low by the same share at every load misses more of the air at idle; pressure
of fuel is missed alike, or more under load.
"""

LEAN_PCT = 10.0
"""A trim beyond this is not normal. Source: Cadillac 2006, P0174."""

FADE_PCT = 5.0
"""Less than this says little about a meter. Source: common practice, no source."""


def air(signals: Signals, raised: set[tuple[str, str]]) -> Iterator[Clue]:
    """What separates wrongly metered air from wrong fuel, once both banks are off."""
    metered = last(signals, "mass_air")
    names = {name for name, _ in raised}
    limited = {about for name, about in raised if name == "trim-at-limit"}
    lean = names & {"both-lean", "both-lean-grows"} or len(limited) > 1
    if metered == 0 and (lean or names & {"both-rich", "both-lean-fades"}):
        yield Clue("no-airflow-meter", "engine", "This car meters air by pressure")
        yield from _pressures(signals)
        if lean:
            yield from _shape(signals)
    elif lean:
        yield from _filling(signals)
    elif "both-rich" in names:
        yield from _filling_rich(signals)


def _pressures(signals: Signals) -> Iterator[Clue]:
    """The manifold's pressure against the barometer's where both must be alike."""
    share = signals["map_kpa"] / signals["baro_kpa"]
    off = (signals["rpm"] <= 0) & np.isfinite(share)
    if np.count_nonzero(off) >= PRESSURE_TICKS:
        found = float(np.median(share[off]))
        words = f"With the engine off the manifold reads {found:.0%} of the barometer"
        if found < 1 - PRESSURE_SHARE:
            yield Clue("pressure-reads-low", "engine", words)
        elif found > 1 + PRESSURE_SHARE:
            yield Clue("pressure-reads-high", "engine", words)
        return
    full = (signals["wide_open_run_s"] >= 1.0) & (signals["rpm"] < OPEN_RPM)
    full &= np.isfinite(share)
    if np.count_nonzero(full) >= OPEN_TICKS:
        found = float(np.median(share[full]))
        words = f"At full throttle the manifold reads {found:.0%} of the barometer"
        if found < OPEN_SHARE:
            yield Clue("pressure-low-wide-open", "engine", words)


def _shape(signals: Signals) -> Iterator[Clue]:
    idle, loaded = last(signals, "common_idle_pct"), last(signals, "common_load_pct")
    words = f"The trim is {signed(idle)} at idle and {signed(loaded)} loaded"
    if loaded >= LEAN_PCT and idle - loaded >= FALL_PCT:
        yield Clue("lean-falls-with-load", "engine", words)


def _filled(signals: Signals) -> float:
    """Metered air over usual air at full throttle, NaN until seen often enough."""
    share = signals["ve_ratio"]
    share = share[np.isfinite(share)]
    return float(np.median(share)) if share.size >= FILLING_TICKS else np.nan


def _filling(signals: Signals) -> Iterator[Clue]:
    share = _filled(signals)
    trim = last(signals, "common_load_pct")
    # Were the meter at fault, the trim would make up for what it misses.
    meter = FILLING_USUAL / (1 + trim / 100)
    off = share - (FILLING_USUAL + meter) / 2
    words = (
        f"At full throttle the metered air is {share:.0%} of what is usual "
        f"(trim {signed(trim)})"
    )
    for kind, seen in (
        ("filling-low", off < -FILLING_CLEAR),
        ("filling-rather-low", -FILLING_CLEAR <= off < 0),
        ("filling-rather-normal", 0 <= off <= FILLING_CLEAR),
        ("filling-normal", off > FILLING_CLEAR),
    ):
        if seen:
            yield Clue(kind, "engine", words)


def _filling_rich(signals: Signals) -> Iterator[Clue]:
    share, trim = _filled(signals), last(signals, "common_load_pct")
    if not trim <= -FADE_PCT:
        return
    off = share - (FILLING_USUAL + FILLING_USUAL / (1 + trim / 100)) / 2
    words = (
        f"At full throttle the metered air is {share:.0%} of what is usual "
        f"(trim {signed(trim)})"
    )
    if off > 0:
        yield Clue("filling-high", "engine", words)
    elif off <= 0:
        yield Clue("rich-filling-normal", "engine", words)
