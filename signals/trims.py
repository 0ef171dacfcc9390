"""Fuel trims per bank: total, imbalance, limits, learning, fuel status.

A trim says something about the mixture only while its bank is in closed loop; the
totals are given always, everything derived from them in closed loop only.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.places import EACH_BANK
from bankwise.signals.view import TickView
from bankwise.signals.windows import (
    clock,
    rolling,
    rolling_count,
    rolling_mean,
    rolling_median,
    yes,
)

CLOSED, OPEN_FAULT, CLOSED_FAULT = 2.0, 8.0, 16.0
"""Fuel status bits. Source: J1979 PID 03, from memory."""

COUNT_PCT = 100 / 128
"""One count of a trim byte. Source: J1979 PID 06."""

LIMIT_FLAT_S = 10.0
"""How long a trim stands still at its extreme to be at its limit.

Source: common practice, no source.
"""

LIMIT_SHORT_PCT, LIMIT_LONG_PCT = 10.0, 15.0
"""No controller limits a trim tighter than this.

Source: our choice, because makers fail the system at a factor of about 1.25 and a
limit inside normal corrections would make it useless.
"""

LIMIT_ASKING_PCT = 5.0
"""A long-term trim that stands still although short-term asks for more than this."""

WIDE_UNMET_LAMBDA = 0.03
"""A wide-band bank held steady is at its limit only if λ stays off by this much.

Source: common practice (±3 %); without it a steady, right correction would look pegged.
"""

MEDIAN_TICKS, HALF = 20, 10
LEARNING_STEADY_PCT = 2.0
LEARNING_RATE_PCTPM = 1.0
"""Long-term moving, total standing: adaptation is alive. Source: our choice, because
one count a minute is the least that can be told from rounding."""


def _status(see: TickView) -> Floats:
    own, first = see["fuel_status_{b}"], see["fuel_status_b1"]
    return np.where((own > 0) | np.isnan(first), own, first)


def _closed(see: TickView) -> Floats:
    status = see["status_{b}"]
    return np.where(np.isnan(status), np.nan, yes(status == CLOSED))


def _since_closed(see: TickView) -> Floats:
    return see.ticks - see["closed_first_{b}_s"]


def _closed_first(see: TickView) -> Floats:
    at = np.where((see["closed_{b}"] == 1) & ~(see["running"] == 0), see.ticks, np.nan)
    at[0] = np.fmin(at[0], see.before())
    first: Floats = np.fmin.accumulate(at)
    return first


def _total(see: TickView) -> Floats:
    long = see["ltft_{b}_pct"]
    return see["stft_{b}_pct"] + np.where(see.seen("ltft_{b}_pct"), long, 0.0)


def _total_mult(see: TickView) -> Floats:
    long = np.where(see.seen("ltft_{b}_pct"), see["ltft_{b}_pct"], 0.0)
    return ((1 + see["stft_{b}_pct"] / 100) * (1 + long / 100) - 1) * 100


def _judged(see: TickView, bank: str) -> Bools:
    """Where a bank's trim speaks: closed loop, or running when no status is told."""
    unknown = ~see.seen("fuel_status_b1") & (see["running"] == 1)
    judged: Bools = (see[f"closed_{bank}"] == 1) | unknown
    return judged


def _closed_trim(see: TickView) -> Floats:
    return np.where(_judged(see, "{b}"), see["total_trim_{b}_pct"], np.nan)


def _median_10(pattern: str) -> Derived:
    def function(see: TickView) -> Floats:
        middle = rolling_median(see.back(pattern, MEDIAN_TICKS), MEDIAN_TICKS, HALF)
        return np.where(see.known(pattern), middle, np.nan)

    return Derived(
        "trim_10_{b}_pct",
        "total trim, 10 s median in closed loop",
        "%",
        function,
        ("stft_{b}_pct",),
        s.COMMON,
        places=EACH_BANK,
        window_s=10.0,
    )


def _imbalance_of(pattern: str) -> Function:
    first, second = pattern.format(b="b1"), pattern.format(b="b2")
    return lambda see: see[first] - see[second]


def _common_of(pattern: str) -> Function:
    first, second = pattern.format(b="b1"), pattern.format(b="b2")

    def function(see: TickView) -> Floats:
        both = (see[first] + see[second]) / 2
        return np.where(see.seen("stft_b2_pct"), both, see[first])

    return function


def _slope_pctpm(padded: Floats, width: int) -> Floats:
    """Change a minute, from the means of the window's first and last third."""
    third = width // 3
    size = len(padded) - width + 1
    early = rolling_mean(padded[: size + third - 1], third, third // 2)
    late = rolling_mean(padded[width - third :], third, third // 2)
    return (late - early) / ((width - third) * 0.5) * 60.0


def _imbalance_slope(see: TickView) -> Floats:
    return _slope_pctpm(see.back("imbalance_pct", 60), 60)


def _range_60(see: TickView) -> Floats:
    cells = see.back("closed_trim_{b}_pct", 120)
    return rolling(np.fmax, cells, 120) - rolling(np.fmin, cells, 120)


def _extreme(which: str, ufunc: np.ufunc) -> Derived:
    def function(see: TickView) -> Floats:
        inside = np.where(_judged(see, "{b}"), see[which + "_{b}_pct"], np.nan)
        inside[0] = ufunc(inside[0], see.before())
        extreme: Floats = ufunc.accumulate(inside)
        return extreme

    end = "max" if ufunc is np.fmax else "min"
    return Derived(
        f"{which}_{end}_{{b}}_pct",
        f"{'highest' if end == 'max' else 'lowest'} {which} in closed loop so far",
        "%",
        function,
        (which + "_{b}_pct",),
        s.OURS + ", because the limit is learned, not known",
        places=EACH_BANK,
    )


def _flat_at(see: TickView, which: str, least: float) -> tuple[Bools, Bools]:
    """Where a trim has stood still at its highest, and at its lowest, for 10 s."""
    cells = see.back(which + "_{b}_pct", MEDIAN_TICKS)
    known = rolling_count(~np.isnan(cells), MEDIAN_TICKS) >= HALF
    span = rolling(np.fmax, cells, MEDIAN_TICKS) - rolling(np.fmin, cells, MEDIAN_TICKS)
    flat = known & (span <= COUNT_PCT * 1.01) & _judged(see, "{b}")
    value, margin = see[which + "_{b}_pct"], COUNT_PCT * 1.01
    high, low = see[which + "_max_{b}_pct"], see[which + "_min_{b}_pct"]
    return (
        flat & (value >= high - margin) & (high >= least),
        flat & (value <= low + margin) & (low <= -least),
    )


def _asks_on(see: TickView) -> tuple[Bools, Bools]:
    """Where short-term asks for more, or for less, for 10 s and does not let up."""
    short = see.back("stft_{b}_pct", MEDIAN_TICKS)
    now, then = short[MEDIAN_TICKS - 1 :], short[: see.size]
    lowest = rolling(np.fmin, short, MEDIAN_TICKS)
    highest = rolling(np.fmax, short, MEDIAN_TICKS)
    more = (lowest >= LIMIT_ASKING_PCT) & (now >= then - COUNT_PCT)
    less = (highest <= -LIMIT_ASKING_PCT) & (now <= then + COUNT_PCT)
    return more, less


def _limit_side(see: TickView) -> Floats:
    short_high, short_low = _flat_at(see, "stft", LIMIT_SHORT_PCT)
    long_high, long_low = _flat_at(see, "ltft", LIMIT_LONG_PCT)
    up, down = _asks_on(see)
    # A wide-band bank at rest on its target stands still as well: it must be off it.
    command = np.where(np.isnan(see["lambda_cmd"]), 1.0, see["lambda_cmd"])
    error = see["lambda_{front}"] / command - 1.0
    wide = ~np.isnan(error)
    lean, rich = error > WIDE_UNMET_LAMBDA, error < -WIDE_UNMET_LAMBDA
    high = (short_high & (~wide | lean)) | (long_high & up)
    low = (short_low & (~wide | rich)) | (long_low & down)
    side = yes(high) - yes(low)
    return np.where(see.known("stft_{b}_pct"), side, np.nan)


def _at_limit(see: TickView) -> Floats:
    side = see["limit_side_{b}"]
    return clock((side == 1) | (side == -1), see.before(np.nan) - LIMIT_FLAT_S) + (
        LIMIT_FLAT_S
    )


def _ltft_rate(see: TickView) -> Floats:
    return _slope_pctpm(see.back("ltft_{b}_pct", 120), 120)


def _learning(see: TickView) -> Floats:
    rate = see["ltft_rate_{b}_pctpm"]
    total = _slope_pctpm(see.back("closed_trim_{b}_pct", 120), 120)
    alive = (np.abs(rate) >= LEARNING_RATE_PCTPM) & (
        np.abs(total) <= np.maximum(LEARNING_STEADY_PCT, np.abs(rate) / 2)
    )
    return np.where(np.isnan(rate), np.nan, yes(alive))


def _status_clock(name: str, title: str, bit: float) -> Derived:
    def function(see: TickView) -> Floats:
        return clock(see["status_{b}"] == bit, see.before())

    return Derived(
        name, title, "s", function, ("fuel_status_b1",), s.COMMON, places=EACH_BANK
    )


def _open_run(see: TickView) -> Floats:
    return clock((see["closed_{b}"] == 0) & (see["running"] == 1), see.before())


_TRIM = ("stft_{b}_pct",)
_STATUS = ("fuel_status_b1",)


def _bank(
    name: str,
    title: str,
    unit: str,
    function: Function,
    inputs: tuple[str, ...] = _TRIM,
    source: str = s.COMMON,
    window_s: float = 0.0,
) -> Derived:
    return Derived(name, title, unit, function, inputs, source, EACH_BANK, window_s)


_BOTH = ("stft_b1_pct",)

ROWS: tuple[Derived, ...] = (
    _bank("status_{b}", "fuel status in force", "", _status, _STATUS),
    _bank("closed_{b}", "closed loop", "", _closed, _STATUS),
    _status_clock("closed_run_{b}_s", "closed loop so far", CLOSED),
    _bank("closed_first_{b}_s", "first closed loop", "s", _closed_first, _STATUS),
    _bank("since_closed_{b}_s", "since first closed loop", "s", _since_closed, _STATUS),
    _status_clock("fault_status_run_{b}_s", "open loop by fault so far", OPEN_FAULT),
    _status_clock(
        "closed_fault_run_{b}_s", "closed loop with fault so far", CLOSED_FAULT
    ),
    _bank("open_run_{b}_s", "open loop so far", "s", _open_run, _STATUS),
    _bank("total_trim_{b}_pct", "total trim", "%", _total),
    _bank("total_trim_mult_{b}_pct", "total trim, multiplied", "%", _total_mult),
    _bank("closed_trim_{b}_pct", "total trim in closed loop", "%", _closed_trim),
    _median_10("closed_trim_{b}_pct"),
    Derived(
        "imbalance_pct",
        "bank 1 less bank 2",
        "%",
        _imbalance_of("trim_10_{b}_pct"),
        ("stft_b2_pct",),
        s.COMMON,
        window_s=10.0,
    ),
    Derived(
        "imbalance_now_pct",
        "bank 1 less bank 2, at the moment",
        "%",
        _imbalance_of("closed_trim_{b}_pct"),
        ("stft_b2_pct",),
        s.COMMON,
    ),
    Derived(
        "common_now_pct",
        "what both banks share, at the moment",
        "%",
        _common_of("closed_trim_{b}_pct"),
        _BOTH,
        s.COMMON,
    ),
    Derived(
        "common_trim_pct",
        "what both banks share",
        "%",
        _common_of("trim_10_{b}_pct"),
        _BOTH,
        s.COMMON,
        window_s=10.0,
    ),
    Derived(
        "imbalance_slope_pctpm",
        "change of the imbalance",
        "%/min",
        _imbalance_slope,
        ("stft_b2_pct",),
        s.COMMON,
        window_s=30.0,
    ),
    _bank(
        "trim_range_{b}_pct",
        "range of the trim over 60 s",
        "%",
        _range_60,
        window_s=60.0,
    ),
    _extreme("stft", np.fmax),
    _extreme("stft", np.fmin),
    _extreme("ltft", np.fmax),
    _extreme("ltft", np.fmin),
    _bank("limit_side_{b}", "end at which the trim stands", "", _limit_side),
    _bank("at_limit_{b}_s", "time at its limit", "s", _at_limit, window_s=10.0),
    _bank(
        "ltft_rate_{b}_pctpm",
        "change of the long-term trim",
        "%/min",
        _ltft_rate,
        ("ltft_{b}_pct",),
        window_s=60.0,
    ),
    _bank(
        "learning_{b}",
        "long-term moving, total steady",
        "",
        _learning,
        ("ltft_{b}_pct",),
        window_s=60.0,
    ),
)
"""Trim signals, in the order of computation."""
