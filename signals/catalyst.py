"""Behind the catalyst: how much the rear sensor copies, and what a fuel cut shows.

Ratios are taken over closed-loop driving with fuel only, at a λ command near one.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Column, Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.oxygen import in_closed_loop
from bankwise.signals.patterns import keep, sum_of_last
from bankwise.signals.places import EACH_BANK, EACH_REAR, EACH_SENSOR
from bankwise.signals.sensor_life import since
from bankwise.signals.tracks import LEAN_V, MIDDLE_V, Carry, holes, sides, volts
from bankwise.signals.view import TickView
from bankwise.signals.windows import TICK_S, clock, held, reduce_windows, window, yes

RATIO_TICKS = 200
"""The ratio covers the last 100 s of judged driving. Source: common practice."""

COMMAND_LOW, COMMAND_HIGH = 0.96, 1.04
"""λ command between which the catalyst stores and gives.

Source: common practice, no source.
"""

FRONT_LAMBDA_MARGIN, FRONT_MEAN_S = 0.0025, 5.0
"""λ crosses its own mean of so long by this margin.

Source: our choice: a wide-band sensor's tolerance is larger than the swing of its
engine, so one is no middle; the margin is half of a usual swing of half a percent.
"""

LEAST_TRAVEL_V, LEAST_CROSSINGS = 2.0, 10.0
"""With less front movement in 100 s no ratio says anything. Source: our choice."""

REAR_RICH_V, REAR_LEAN_V = 0.6, 0.2
"""A rear fuel-cut drop goes from above the first to below the second.

Source: Toyota, P0139.
"""

FRONT_LEAN_LAMBDA = 1.1
OXYGEN_SHARE = 0.232
"""Oxygen in air by mass. Source: composition of dry air."""

AFTER_CUT_S = 3.0
"""What a fuel cut stored is given back by then. Source: our choice: it is a gram or
so of oxygen, and a rich mixture after the cut gives it back in seconds."""

PAIR_HZ, PAIR_AGE_S, PAIR_AFTER_S = 0.5, 1.0, 5.0
"""Least rate of both sensors, how old the front may be at a rear sample, and how long
the first seconds are left out.

Source: our choice, because on one clock a slow rate blurs both alike.
"""


def _lambda_crossings(
    column: Column, lo: int, hi: int, carry: Carry
) -> Mapping[str, Floats]:
    broken = holes(column, lo, hi)
    ends = np.arange(lo, hi) + 1
    starts = np.searchsorted(column.t, column.t[lo:hi] - FRONT_MEAN_S, side="right")
    mean = reduce_windows(np.add, column.v, starts, ends) / (ends - starts)
    off = column.v[lo:hi] - mean
    level = np.where(
        off < -FRONT_LAMBDA_MARGIN, -1.0, np.where(off > FRONT_LAMBDA_MARGIN, 1.0, 0.0)
    )
    before = carry.get("side", 0.0)
    side, at = sides(level, broken, lo, carry.get("at", -1.0), before)
    was = np.concatenate(([before], side[:-1]))
    carry |= {"side": float(side[-1]), "at": float(at[-1])}
    return {"crossed": ((side * was < 0) & ~broken).astype(np.float64)}


def _pair_from(see: TickView) -> float:
    """From when on the sensors are paired: by then it is known which kind they are."""
    return see.frame.seen_from(see.place.fill("o2_{rear}_v")) + PAIR_AFTER_S


def _wide_front(see: TickView) -> bool:
    return see.frame.seen_from(see.place.fill("lambda_{front}")) <= _pair_from(see)


def _paired(see: TickView) -> Column:
    """The front sensor at the moments at which the rear one was sampled.

    Seen through the same clock both lose the same to slow sampling, so that their
    ratio stays right however slowly the rear is asked.
    """
    paired, done = see.frame.paired(see.place.about)
    main = "lambda_{front}" if _wide_front(see) else "o2_{front}_v"
    rear, front = (see.columns[see.place.fill(n)] for n in ("o2_{rear}_v", main))
    upto = int(np.searchsorted(rear.t, see.ticks[-1], side="right"))
    if upto <= done:
        return paired
    t, d = rear.t[done:upto], rear.d[done:upto]
    at = np.searchsorted(front.t, t, side="right") - 1
    if len(front) and len(t):
        fresh = (at >= 0) & (t - front.t[np.maximum(at, 0)] <= PAIR_AGE_S)
        fresh &= t > _pair_from(see)
        paired.extend(t[fresh], front.v[at[fresh]], d[fresh])
    see.frame.pair_done(see.place.about, upto)
    return paired


def _front_on_rear(name: str) -> Function:
    """A figure of the front sensor on the rear's clock, summed over each tick."""

    def function(see: TickView) -> Floats:
        early = see.ticks[-1] <= _pair_from(see)
        if early or (name == "travel" and _wide_front(see)):
            return np.zeros(see.size)
        paired = _paired(see)
        tracker = _lambda_crossings if _wide_front(see) else volts
        track = see.frame.track_column(f"paired {see.place.about}", paired, tracker)
        if not track.n:
            return np.zeros(see.size)
        return window(paired, see.ticks, TICK_S).reduce(np.add, track[name], 0.0)

    return function


def _judged(see: TickView) -> Bools:
    command = see["lambda_cmd"]
    near = ~((command < COMMAND_LOW) | (command > COMMAND_HIGH))
    # What a fuel cut left in the catalyst is not the front sensor's doing.
    recent = np.zeros(see.size, dtype=np.bool_)
    width = round(AFTER_CUT_S / TICK_S)
    cut = see.back("fuel_cut", width)
    for k in range(width):
        recent |= cut[k : k + see.size] == 1
    rates = np.fmin(see["hz_{front}"], see["hz_{rear}"])
    whole = (see["whole_{front}"] == 1) & (see["whole_{rear}"] == 1)
    fast = whole & (rates >= PAIR_HZ)
    judged: Bools = near & ~recent & fast & (see["gate_{b}"] == 1)
    return judged & in_closed_loop(see)


def _ratio(front: str, rear: str, least: float) -> Function:
    def function(see: TickView) -> Floats:
        mask = see["catalyst_judged_{b}"] == 1
        ahead = see[front]
        mask &= ~np.isnan(ahead) & see.known(rear)
        kept_front, kept_rear = see.memo("front"), see.memo("rear")
        ends = keep(kept_front, ahead, mask)
        keep(kept_rear, see[rear], mask)
        above = sum_of_last(kept_rear, ends, RATIO_TICKS)
        below = sum_of_last(kept_front, ends, RATIO_TICKS)
        ok = below >= least
        return np.where(ok, above / np.where(ok, below, 1.0), np.nan)

    return function


def _swing_120(see: TickView) -> Floats:
    w = see.window("o2_{s}_v", 120.0)
    t = w.column.t
    if not len(t):
        return see.nothing()
    covered = (w.n >= 2) & (
        see.ticks - t[np.minimum(w.starts, len(t) - 1)] >= 0.9 * 120.0
    )
    ok = covered & see.known("o2_{s}_v")
    return np.where(ok, w.maximum - w.minimum, np.nan)


def _flat(see: TickView) -> Floats:
    low, high = see.limit("rear_flat_low_v"), see.limit("rear_flat_high_v")
    inside = (see["min_1_{s}_v"] >= low) & (see["max_1_{s}_v"] <= high)
    return clock(inside, see.before())


def _air_g(maf: Column, start: float, end: float) -> float:
    """Air that passed between two times; NaN when not measured all through."""
    t = maf.t
    lo, hi = np.searchsorted(t, (start, end))
    if hi - lo < 2 or t[lo] - start > 1.0 or end - t[hi - 1] > 1.0:
        return float("nan")
    at = np.concatenate(([start], t[lo:hi], [end]))
    flow = np.interp(at, t[lo:hi], maf.v[lo:hi])
    return float(np.sum((flow[1:] + flow[:-1]) / 2 * np.diff(at)))


def _first(column: Column, start: float, end: float, flag: Bools) -> float:
    """Time of the first flagged sample between two times, NaN when there is none."""
    lo, hi = np.searchsorted(column.t, (start, end), side="right")
    at = np.flatnonzero(flag[lo:hi])
    return float(column.t[lo + at[0]]) if len(at) else float("nan")


def _events(see: TickView, level: str) -> list[int]:
    """Ticks of this view at which the rear sensor first fell below in a fuel cut."""
    low = see["max_1_{s}_v"] if level == "lean" else see["o2_{s}_v"]
    limit = REAR_LEAN_V if level == "lean" else MIDDLE_V
    below = see["o2_{s}_v"] < limit
    was = see.back("o2_{s}_v", 2)[:-1] >= limit
    fell = below & was & (see["cut_run_s"] >= 0) & ~np.isnan(low)
    return [int(k) for k in np.flatnonzero(fell)]


def _drop(what: str) -> Function:
    def function(see: TickView) -> Floats:
        out = see.nothing()
        rear, maf = see.columns[see.place.fill("o2_{s}_v")], see.columns["maf_gps"]
        for k in _events(see, "lean"):
            now, run = float(see.ticks[k]), float(see["cut_run_s"][k])
            began = now - run
            lo, hi = np.searchsorted(rear.t, (began - 1.0, now), side="right")
            part = rear.v[lo:hi]
            rich = np.flatnonzero(part > REAR_RICH_V)
            if not len(rich):
                continue
            lean = rich[-1] + np.flatnonzero(part[rich[-1] :] < REAR_LEAN_V)
            if not len(lean):
                continue
            left, fell = float(rear.t[lo + rich[-1]]), float(rear.t[lo + lean[0]])
            out[k] = fell - left if what == "s" else _air_g(maf, began, fell)
        return held(out, see.before())

    return function


def _storage(see: TickView) -> Floats:
    out = see.nothing()
    rear_view = see["o2_{rear}_v"]
    was = see.back("o2_{rear}_v", 2)[:-1] >= MIDDLE_V
    banks = np.where(see["two_banks"] == 1, 2.0, 1.0)
    fell = (rear_view < MIDDLE_V) & was & (see["cut_run_s"] >= 0)
    rear = see.columns[see.place.fill("o2_{rear}_v")]
    front_v = see.columns[see.place.fill("o2_{front}_v")]
    lam = see.columns[see.place.fill("lambda_{front}")]
    maf = see.columns["maf_gps"]
    for k in np.flatnonzero(fell):
        now = float(see.ticks[k])
        began = now - float(see["cut_run_s"][k])
        if len(lam):
            front = _first(lam, began - 0.5, now, lam.v > FRONT_LEAN_LAMBDA)
        else:
            front = _first(front_v, began - 0.5, now, front_v.v < LEAN_V)
        behind = _first(rear, began - 0.5, now, rear.v < MIDDLE_V)
        if not front < behind:
            continue
        out[k] = 1000.0 * OXYGEN_SHARE * _air_g(maf, front, behind) / banks[k]
    return out


def _storage_count(see: TickView) -> Floats:
    return np.cumsum(yes(see.known("storage_now_{b}_mg"))) + see.before(0.0)


_PAIR = ("o2_{front}_v", "lambda_{front}")
_REAR = ("o2_{rear}_v",)
_SENSOR = ("o2_{s}_v",)

ROWS: tuple[Derived, ...] = (
    Derived(
        "tick_front_travel_{b}_v", "front |ΔV| at the rear's samples", "V",
        _front_on_rear("travel"), _PAIR, s.COMMON, EACH_BANK,
    ),
    Derived(
        "tick_front_crossings_{b}", "front crossings at the rear's samples", "",
        _front_on_rear("crossed"), _PAIR, s.COMMON, EACH_BANK,
    ),
    Derived(
        "catalyst_judged_{b}", "catalyst ratio may be taken", "",
        lambda see: yes(_judged(see)), _REAR, s.COMMON, EACH_BANK,
    ),
    Derived(
        "downstream_ratio_{b}", "rear movement over front", "",
        _ratio("tick_front_travel_{b}_v", "tick_travel_{rear}_v", LEAST_TRAVEL_V),
        ("o2_{front}_v",), s.COMMON, EACH_BANK, 100.0, decimals=2,
        reason=lambda see: "needs 100 s of warm closed-loop driving in all",
    ),
    Derived(
        "crossing_ratio_{b}", "rear crossings over front", "",
        _ratio("tick_front_crossings_{b}", "tick_crossings_{rear}", LEAST_CROSSINGS),
        _REAR, s.COMMON, EACH_BANK, 100.0, decimals=2,
        reason=lambda see: "needs 100 s of warm closed-loop driving in all",
    ),
    Derived(
        "swing_120_{s}_v", "swing over 120 s", "V", _swing_120, _SENSOR, s.COMMON,
        EACH_SENSOR, 120.0, decimals=3,
    ),
    Derived(
        "flat_{s}_s", "between the flat limits so far", "s", _flat, _SENSOR, s.COMMON,
        EACH_SENSOR,
    ),
    Derived(
        "flat_cuts_{s}", "fuel cuts while flat", "",
        lambda see: since(see, "flat_{s}_s", "cuts"), _SENSOR, s.COMMON, EACH_SENSOR,
        decimals=0,
    ),
    Derived(
        "flat_enrichments_{s}", "wide-open pulls while flat", "",
        lambda see: since(see, "flat_{s}_s", "enrichments"), _SENSOR, s.COMMON,
        EACH_SENSOR, decimals=0,
    ),
    Derived(
        "rear_drop_{s}_s", "rich to lean in a fuel cut", "s", _drop("s"), _SENSOR,
        s.HONDA_2023, EACH_REAR,
        reason=lambda see: "no fuel cut that began rich was seen",
    ),
    Derived(
        "rear_drop_{s}_g", "air until lean in a fuel cut", "g", _drop("g"), _SENSOR,
        s.TOYOTA_REAR, EACH_REAR,
        reason=lambda see: "no fuel cut that began rich was seen",
    ),
    Derived(
        "storage_now_{b}_mg", "oxygen stored in this fuel cut", "mg", _storage, _REAR,
        s.OURS + ", to compare banks and days only", EACH_BANK, decimals=0,
    ),
    Derived(
        "storage_{b}_mg", "oxygen stored, last fuel cut", "mg",
        lambda see: held(see["storage_now_{b}_mg"], see.before()), _REAR,
        s.OURS + ", to compare banks and days only", EACH_BANK, decimals=0,
        reason=lambda see: "no fuel cut with front and rear in sight",
    ),
    Derived(
        "storage_n_{b}", "fuel cuts with a storage figure", "",
        _storage_count, _REAR,
        s.COMMON, EACH_BANK, decimals=0,
    ),
)  # fmt: skip
"""Catalyst signals, in the order of computation."""
