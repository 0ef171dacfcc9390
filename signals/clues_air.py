"""Clues about metered air: what an open throttle shows of meter and fuel.

They separate a meter that errs from fuel that is short or too much; cars that meter
air by pressure are in `clues_pressure`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bankwise.signals.clue import NORMAL_TRIM_PCT, Clue, Signals, last, most, signed
from bankwise.signals.clues_pressure import FALL_PCT, by_pressure

SMALL_FILLING, USUAL_FILLING, LARGE_FILLING, HUGE_FILLING = 0.85, 1.05, 1.15, 1.50
"""Metered air at full throttle, as a share of what is printed as usual: below the first
it is too small for any sound engine, up to the second usual, above the third large and
above the last too large.

Source: our choice around MOTOR magazine, Dec 2003, because engines that breathe well
take a third more than the figures printed there.
"""

RATHER_SMALL_FILLING = 0.92
"""Below this the air is rather small, whatever the load says. Source: our choice, half
way between the printed figure and one that no sound engine has."""

END_LOAD_PCT, FULL_LOAD_PCT, LOW_LOAD_PCT, FULL_TICKS = 99.5, 84.0, 78.0, 4
"""Calculated load at full throttle: at the end of its scale, of a sound meter, of one
that reads low; and how many moments it takes to say.

Source: J1979 PID 04, from memory: the load is the metered air over the most that this
engine can take, so it ends between 85 and 95 % on most engines; the limits are ours.
"""

TOO_FULL_LOAD_PCT, RATHER_FULL_LOAD_PCT = 115.0, 90.0
"""No meter that reads low explains a lean engine whose load would then be beyond this.

Source: our choice, because the scale ends at 100 % of what the maker took for the most
and engines take up to a tenth more in cold, dense air. Below the second a sound meter
and one that reads low are as likely.
"""

NEAR_END_PCT = 3.0
"""A throttle this near to its own highest is fully open. Source: our choice, because
plates and pedals end at different readings, and each repeats its own within that."""

LEAST_RPM = 1500.0
"""Below, full throttle is a moment of tip-in. Source: MOTOR magazine, Dec 2003."""


def air(signals: Signals, raised: set[tuple[str, str]]) -> Iterator[Clue]:
    """What separates wrongly metered air from wrong fuel, once both banks are off."""
    metered = last(signals, "mass_air")
    names = {name for name, _ in raised}
    limited = {about for name, about in raised if name == "trim-at-limit"}
    limited = {b for b in limited if last(signals, f"trim_road_{b.lower()}_pct") > 0}
    lean = names & {"both-lean", "both-lean-grows"} or len(limited) > 1
    off = abs(last(signals, "common_idle_pct")) >= NORMAL_TRIM_PCT
    if metered == 0 and (off or lean or names & {"both-rich", "both-lean-fades"}):
        yield Clue("no-airflow-meter", "engine", "This car meters air by pressure")
        yield from by_pressure(signals, lean=bool(lean))
    elif lean:
        yield from _filling(signals)
    elif "both-rich" in names:
        yield from _filling_rich(signals)
    if metered == 1 and "both-lean-fades" in names:
        words = "Air is metered by mass, and the trim fades with load"
        yield Clue("metered-lean-fades", "engine", words)
    if metered == 1 and "both-rich" in names:
        yield from _rich_alike(signals)


def _rich_alike(signals: Signals) -> Iterator[Clue]:
    idle, loaded = last(signals, "common_idle_pct"), last(signals, "common_load_pct")
    words = f"The trim is {signed(idle)} at idle and {signed(loaded)} loaded"
    if abs(loaded - idle) < FALL_PCT:
        yield Clue("rich-alike-everywhere", "engine", words)


def _pulled(signals: Signals, name: str) -> float:
    """A signal's median while the throttle is wide open, NaN until seen enough."""
    full = (signals["wide_open_run_s"] >= 1.0) & (signals["rpm"] >= LEAST_RPM)
    # What is called open may be three quarters only: this throttle's own end counts.
    throttle = signals["throttle_pct"]
    full &= ~(throttle < most(signals, "throttle_pct") - NEAR_END_PCT)
    values = signals[name][full]
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size >= FULL_TICKS else np.nan


def _filling(signals: Signals) -> Iterator[Clue]:
    """Whether a lean engine's air is metered too small, or the fuel is short."""
    load, share = _pulled(signals, "load_pct"), _pulled(signals, "ve_ratio")
    words = f"At full throttle the calculated load reaches {load:.0f} %"
    if load < LOW_LOAD_PCT:
        yield Clue("load-low-wide-open", "engine", words)
    elif load >= FULL_LOAD_PCT and share >= RATHER_SMALL_FILLING:
        # What the load would be if the trim made up for a meter that reads low.
        meant = load * (1.0 + max(last(signals, "common_load_pct"), 0.0) / 100.0)
        if meant > TOO_FULL_LOAD_PCT:
            yield Clue("load-full-wide-open", "engine", words)
        elif load >= RATHER_FULL_LOAD_PCT:
            yield Clue("load-rather-full-wide-open", "engine", words)
    words = f"At full throttle the metered air is {share:.0%} of what is usual"
    if share < SMALL_FILLING:
        yield Clue("filling-low", "engine", words)
    elif share < RATHER_SMALL_FILLING:
        yield Clue("filling-rather-low", "engine", words)
    elif share > HUGE_FILLING:
        yield Clue("filling-normal", "engine", words)


def _filling_rich(signals: Signals) -> Iterator[Clue]:
    """Whether a rich engine's air is metered too large, or there is extra fuel."""
    load = _pulled(signals, "load_pct")
    if load >= END_LOAD_PCT:
        words = f"At full throttle the calculated load stands at {load:.0f} %"
        yield Clue("load-at-its-end", "engine", words)
    share = _pulled(signals, "ve_ratio")
    words = f"At full throttle the metered air is {share:.0%} of what is usual"
    if share > HUGE_FILLING:
        yield Clue("filling-high", "engine", words)
    elif share > LARGE_FILLING:
        yield Clue("filling-rather-high", "engine", words)
    elif share <= USUAL_FILLING:
        yield Clue("rich-filling-normal", "engine", words)
