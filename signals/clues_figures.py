"""Clues from figures: what separates causes, and healthy figures as contrary facts."""

from __future__ import annotations

from collections.abc import Collection, Iterator

import numpy as np

from bankwise.signals.clue import (
    RECENT_TICKS,
    SWUNG_V,
    Clue,
    Signals,
    last,
    most,
    other_place,
    recent,
    signed,
)
from bankwise.signals.windows import TICK_S

REAR_RICH_V, REAR_ALONE_V, REAR_APART_V = 0.75, 0.80, 0.08
"""A rear this high, and this far above the other bank's, got the added fuel; with no
other bank to compare it takes more.

Source: our choice, because a good catalyst alone may hold 0.7 V on both banks, and two
sound sensors differ by some hundredths of a volt.
"""

REAR_HELD_V = 0.70
"""A rear of a bank that gets too much fuel is seldom below this. Source: our choice:
the foot of the steep part of its curve, above which only rich exhaust holds it."""

REAR_LEAN_V = 0.3
"""A rear below this is lean for certain. Source: common practice, no source."""

REAR_TICKS = 60
"""Half a minute of such driving, in one piece or many. Source: our choice, because a
rear follows within seconds."""

SHARED_PCT = 2.0
"""What both banks of a good engine usually add. Source: our choice, because petrol
with some ethanol asks for a few percent more."""

FADE_PCT = 5.0
"""A trim this much apart between idle and load has a pattern. Source: common
practice, no source."""

ENOUGH_SWITCHES = 80.0
"""Full passes in 100 s that refute slowness. Source: GM 1999 P1133, 40 each way."""

APART_PCT = 10.0
"""Beyond this a trim, or the difference of two, is not normal. Source: Cadillac 2006,
P0174."""

SELDOM_SHARE = 0.6
"""Crossings below this share of the other bank's are seldom. Source: our choice,
because transport and calibration are alike on both banks and age is not."""

WOKE_WELL_S = 30.0
"""A sensor awake by then was heated. Source: our choice, because exhaust alone takes
longer at idle."""

HOT_S = 120.0
"""So long off idle, the exhaust alone has woken any good sensor. Source: our choice,
twice the time a makers' test allows (Saturn 1998, P0134)."""


# Figures that separate causes once a pattern is there.


def patterns(signals: Signals, raised: set[tuple[str, str]]) -> Iterator[Clue]:
    """What separates the causes of a trim pattern that a flag has shown."""
    metered = last(signals, "mass_air")
    for bank in ("B1", "B2"):
        if ("one-bank-subtracting", bank) in raised:
            yield from _subtracting(signals, bank, metered)
        elif metered == 0:
            yield from _more_with_flow(signals, bank)
        if ("mirror-trims", bank) in raised:
            yield from _mirror(signals, bank)
        elif metered == 1:
            yield from _mirror_grows(signals, bank)


def compared(signals: Signals, raised: set[tuple[str, str]]) -> Iterator[Clue]:
    """Switching against the other bank's, and sensors parked though it is hot."""
    rpm = signals["rpm"]
    for bank in ("B1", "B2"):
        own, other = f"{bank}S1", f"{other_place(bank)}S1"
        mine = signals[f"crossings_{own.lower()}"]
        theirs = signals[f"crossings_{other.lower()}"]
        both = np.isfinite(mine) & np.isfinite(theirs) & (rpm > 1000) & (rpm < 3000)
        both &= (signals["closed_b1"] > 0) & (signals["closed_b2"] > 0)
        if np.count_nonzero(both) >= RECENT_TICKS // 4:
            here, there = float(np.median(mine[both])), float(np.median(theirs[both]))
            if here >= 3 and here < SELDOM_SHARE * there:
                words = (
                    f"{own} crosses the middle {here:.0f} times in 20 s, "
                    f"{other} {there:.0f} times"
                )
                yield Clue("switches-seldom", own, words)
    for name, about in raised:
        if name != "parked-at-bias" or not about.endswith("S1"):
            continue
        if ("parked-yet-swung", about) in raised:
            continue
        hot = most(signals, f"parked_off_idle_{about.lower()}_s")
        if hot >= HOT_S:
            words = f"{about} stayed parked through {hot:.0f} s of driving"
            yield Clue("parked-though-hot", about, words)


def refuted(clue: Clue, raised: set[tuple[str, str]]) -> bool:
    """True for a healthy figure that a flag about the same thing contradicts."""
    by = {
        "woke-in-time": ("late-wake-up",),
        "front-slow-refuted": (
            "slow-switching",
            "slow-one-way",
            "sensor-not-switching",
            "switches-seldom",
        ),
        "front-lively": ("parked-at-bias", "wideband-frozen"),
        "front-swings": ("parked-at-bias",),
        "catalyst-calm": ("rear-copies-front",),
        "rear-lively": ("rear-flat", "parked-at-bias"),
    }.get(clue.kind, ())
    return any((name, clue.about) in raised for name in by)


def _subtracting(signals: Signals, bank: str, metered: float) -> Iterator[Clue]:
    b = bank.lower()
    if metered == 0:
        words = "This car meters air by pressure: a bank short of air shows alone"
        yield Clue("subtracts-without-meter", bank, words)
    elif (
        metered == 1 and not driven_trim(signals, other_place(bank).lower()) >= FADE_PCT
    ):
        words = "With an airflow meter, a bank short of air makes the other one add"
        yield Clue("subtracts-with-meter", bank, words)
    idle = last(signals, f"trim_idle_{b}_pct")
    load = last(signals, f"trim_load_{b}_pct")
    words = f"{bank} trim {signed(idle)} at idle, {signed(load)} loaded"
    # By pressure, a late cam too may err more at idle; only a trim that ends is a drip.
    ends = metered == 1 or abs(load) < FADE_PCT
    if load - idle >= FADE_PCT and ends:
        yield Clue("subtracts-at-idle", bank, words)
    elif idle - load >= FADE_PCT:
        yield Clue("subtracts-with-flow", bank, words)


def _more_with_flow(signals: Signals, bank: str) -> Iterator[Clue]:
    """A bank that takes more away the more air flows, whether or not it has an end."""
    b, o = bank.lower(), other_place(bank).lower()
    idle, driven = last(signals, f"trim_idle_{b}_pct"), driven_trim(signals, b)
    beside = driven_trim(signals, o) - last(signals, f"trim_idle_{o}_pct")
    if driven <= -APART_PCT and driven - idle <= -APART_PCT and abs(beside) < FADE_PCT:
        words = (
            f"{bank} trim {signed(idle)} at idle and {signed(driven)} at the highest "
            "airflow, the other bank's alike at both"
        )
        yield Clue("takes-more-with-flow", bank, words)


def _mirror_grows(signals: Signals, bank: str) -> Iterator[Clue]:
    """Banks alike at idle of which one takes what the other adds as the air grows.

    Source: derived. One meter divides its air by two; what a blockage keeps from one
    bank goes into the other. Nothing else moves both banks apart in opposite ways.
    """
    b, o = bank.lower(), other_place(bank).lower()
    idle, beside = (last(signals, f"trim_idle_{x}_pct") for x in (b, o))
    own, other = driven_trim(signals, b), driven_trim(signals, o)
    if (
        abs(idle - beside) <= FADE_PCT
        and own - idle <= -FADE_PCT
        and other - beside >= FADE_PCT / 2
        and other - own >= APART_PCT
    ):
        words = (
            f"At idle the banks are alike ({signed(idle)} and {signed(beside)}), at "
            f"the highest airflow {bank} has {signed(own)}, the other {signed(other)}"
        )
        yield Clue("mirror-grows", bank, words)


def _mirror(signals: Signals, bank: str) -> Iterator[Clue]:
    """Whether two banks lie around what engines share, or one bank lies off it."""
    own, other = (
        driven_trim(signals, bank.lower()),
        driven_trim(signals, other_place(bank).lower()),
    )
    centre = (own + other) / 2
    words = f"{bank} trim {signed(own)}, the other bank {signed(other)}"
    if abs(centre - SHARED_PCT) < abs(other - SHARED_PCT):
        yield Clue("mirror-centred", bank, words)
    else:
        yield Clue("mirror-one-sided", bank, words)


def rears(signals: Signals, doubted: Collection[str]) -> Iterator[Clue]:
    """Whether fuel added or taken shows up behind the catalyst.

    A rear that is doubted itself is no witness.
    """
    for b, o in (("b1", "b2"), ("b2", "b1")):
        if f"{b.upper()}S2" in doubted:
            continue
        trim = signals[f"trim_10_{b}_pct"]
        apart = trim - signals[f"trim_10_{o}_pct"]
        rear = signals[f"mean_5_{b}s2_v"]
        other = signals[f"mean_5_{o}s2_v"]
        driven = driven_trim(signals, b)
        fades = last(signals, f"trim_idle_{b}_pct") - driven >= FADE_PCT
        for kind, sign, edge, alone in (
            ("adds-but-rear-rich", 1, REAR_RICH_V, REAR_ALONE_V),
            ("takes-but-rear-lean", -1, 0.2, 0.2),
        ):
            # Clearly more than the other bank; far off where there is no other.
            more = np.minimum(sign * trim, sign * apart) >= FADE_PCT
            # What both banks take away is no lie of one front; what both add may hide
            # the air that one exhaust draws in.
            far = (sign * trim >= APART_PCT) & (np.isnan(apart) | (sign > 0))
            at = (far | more) & np.isfinite(rear)
            if np.count_nonzero(at) < REAR_TICKS:
                continue
            mean = float(np.median(rear[at]))
            beside = other[at][np.isfinite(other[at])]
            above = sign * (mean - float(np.median(beside))) if beside.size else np.inf
            if sign > 0 and mean < REAR_LEAN_V and above < -REAR_APART_V:
                amount = signed(float(np.median(trim[at])))
                words = f"{b.upper()} trim {amount}, and the rear reads {mean:.2f} V"
                yield Clue("adds-and-rear-lean", b.upper(), words)
            beyond = sign * (mean - (edge if beside.size else alone)) > 0
            if sign > 0:
                # A flooded catalyst holds its rear at the end; one that regulates lets
                # it come down again and again, as the other bank's does.
                foot = float(np.percentile(rear[at], 20))
                beyond &= foot > REAR_HELD_V
                if beside.size:
                    above = max(above, foot - float(np.percentile(beside, 20)))
            if beyond and above > REAR_APART_V:
                amount = signed(float(np.median(trim[at])))
                words = f"{b.upper()} trim {amount}, yet the rear reads {mean:.2f} V"
                yield Clue(kind, b.upper(), words)
                if sign > 0 and fades and driven < APART_PCT:
                    words = f"{words}, and the trim fades as the airflow grows"
                    yield Clue("fades-but-rear-rich", b.upper(), words)
                elif sign > 0 and not fades and driven >= APART_PCT:
                    words = f"{words}, and the trim does not fade as the airflow grows"
                    yield Clue("stays-but-rear-rich", b.upper(), words)


PULL_TICKS = 4
"""Two seconds of full throttle. Source: our choice, because a rear follows a rich
mixture within one or two."""


def pulled(signals: Signals, doubted: Collection[str]) -> Iterator[Clue]:
    """A bank that both its sensors call lean at full throttle, where no trim rules."""
    for b, o in (("b1", "b2"), ("b2", "b1")):
        if f"{b.upper()}S2" in doubted:
            continue
        full = signals["wide_open_run_s"] >= PULL_TICKS * TICK_S
        rear, other = signals[f"o2_{b}s2_v"], signals[f"o2_{o}s2_v"]
        both = full & np.isfinite(rear) & np.isfinite(other)
        lean = both & (rear < REAR_LEAN_V) & (other > REAR_LEAN_V * 2)
        count = int(np.count_nonzero(lean))
        if count >= PULL_TICKS and 2 * count >= int(np.count_nonzero(both)):
            here, there = np.median(rear[lean]), np.median(other[lean])
            words = (
                f"At full throttle the rear of {b.upper()} reads {here:.2f} V, the "
                f"other bank's {there:.2f} V"
            )
            yield Clue("pulls-and-rear-lean", b.upper(), words)


def driven_trim(signals: Signals, b: str) -> float:
    """The trim at the highest airflow seen, NaN when only idle was."""
    values = (last(signals, f"trim_{name}_{b}_pct") for name in ("high", "mid", "low"))
    return next((value for value in values if np.isfinite(value)), np.nan)


# Healthy figures: contrary facts.


def healthy(signals: Signals) -> Iterator[Clue]:
    """Figures that are as they should be."""
    for bank in ("B1", "B2"):
        b = bank.lower()
        yield from _healthy_front(signals, f"{bank}S1")
        for position in (1, 2):
            yield from _woke(signals, f"{bank}S{position}")
        calm = last(signals, f"downstream_ratio_{b}")
        if calm < 0.4:
            words = f"{bank} rear moves {calm:.0%} of what the front does"
            yield Clue("catalyst-calm", bank, words)
        swing = signals[f"swing_120_{b}s2_v"][-RECENT_TICKS:]
        if swing.size and np.nanmax(np.append(swing, 0.0)) >= 0.5:
            wide = float(np.nanmax(swing))
            yield Clue("rear-lively", f"{bank}S2", f"{bank}S2 swings {wide:.2f} V")
    hottest = most(signals, "ect_c")
    if hottest >= 80:
        yield Clue("plateau-warm", "engine", f"The coolant reached {hottest:.0f} °C")


def _healthy_front(signals: Signals, about: str) -> Iterator[Clue]:
    s = about.lower()
    now = recent(signals, f"switches_{s}")
    if now >= 5:
        yield Clue("front-lively", about, f"{about} switches {now:.0f} times in 20 s")
    volts = signals[f"o2_{s}_v"]
    volts = volts[np.isfinite(volts)]
    if volts.size and np.ptp(volts) >= SWUNG_V:
        low, high = float(volts.min()), float(volts.max())
        words = f"{about} was seen from {low:.2f} to {high:.2f} V"
        yield Clue("front-swings", about, words)
    count = last(signals, f"switches_100_{s}")
    if count >= ENOUGH_SWITCHES:
        words = f"{about} switched {count:.0f} times in 100 s"
        yield Clue("front-slow-refuted", about, words)


def _woke(signals: Signals, about: str) -> Iterator[Clue]:
    woke = last(signals, f"wake_up_{about.lower()}_s")
    if woke <= WOKE_WELL_S:
        yield Clue("woke-in-time", about, f"{about} woke {woke:.0f} s after the start")
