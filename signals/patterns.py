"""How trims depend on airflow: medians of what was last seen in each airflow bin.

A single sample says little about a mixture; the pattern over airflow tells a leak from
a weak supply. Each median covers the last half minute spent in the bin, and stays
until the bin is visited again.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.places import EACH_BANK, ENGINE, Place
from bankwise.signals.view import TickView
from bankwise.signals.windows import Growing, Indices, held, medians, reduce_windows

BIN_NAMES = ("idle", "low", "mid", "high")
"""Airflow bins, in the order of the codes of `airflow_bin`."""

BIN_TICKS, BIN_LEAST = 60, 10
"""A median covers this many ticks, in one piece or many, and needs at least so many.

Source: our choice: accelerations last seconds only, and ten values give a median.
"""

SETTLE_S = 2.0
"""A bin counts after so long in it. Source: our choice, because exhaust transport and
a short-term trim together need about that to follow."""


def keep(memo: Growing, values: Floats, mask: Bools) -> Indices:
    """Appends the masked values; returns how many were kept by each tick."""
    already = memo.n
    memo.extend(values[mask])
    return already + np.cumsum(mask)


def last_kept(memo: Growing, ends: Indices, width: int, least: int) -> Floats:
    """Median of the last `width` kept values at each tick, NaN below `least`."""
    out = np.full(len(ends), np.nan)
    if not len(ends):
        return out
    moved = np.flatnonzero(np.diff(ends, prepend=-1))
    at = ends[moved]
    # Rows of the last `width` values; what lies before the first kept one is unknown.
    index = at[:, None] - np.arange(1, width + 1)[None, :]
    rows = np.where(
        index >= 0, memo.values[np.maximum(index, 0)] if memo.n else 0, np.nan
    )
    out[moved] = medians(rows, least)
    return held(out, np.nan)


def sum_of_last(memo: Growing, ends: Indices, width: int) -> Floats:
    """Sum of the last `width` kept values at each tick, NaN until there are so many."""
    starts = ends - width
    ok = starts >= 0
    total = np.full(len(ends), np.nan)
    if ok.any():
        total[ok] = reduce_windows(np.add, memo.values, starts[ok], ends[ok])
    return total


def _in_bin(see: TickView, code: int) -> Bools:
    width = int(SETTLE_S / 0.5)
    bins = see.back("airflow_bin", width)
    same: Bools = np.ones(see.size, dtype=np.bool_)
    for k in range(width):
        same &= bins[k : k + see.size] == code
    return same


def _pattern(stem: str, of: str, code: int, places: tuple[Place, ...]) -> Derived:
    def function(see: TickView) -> Floats:
        value = see[of]
        memo = see.memo("values")
        mask = (see["bin_settled"] == code) & ~np.isnan(value)
        return last_kept(memo, keep(memo, value, mask), BIN_TICKS, BIN_LEAST)

    title = {"trim": "total trim", "imbalance": "imbalance", "common": "common trim"}
    return Derived(
        stem,
        f"{title[stem.split('_', maxsplit=1)[0]]}, {BIN_NAMES[code]} airflow",
        "%",
        function,
        ("stft_b2_pct",)
        if stem.startswith("imbalance")
        else ("stft_{b}_pct",)
        if "{b}" in stem
        else ("stft_b1_pct",),
        s.OURS + ", because a pattern over airflow tells causes apart",
        places,
        window_s=30.0,
    )


def _settled(see: TickView) -> Floats:
    out = see.nothing()
    for code in range(len(BIN_NAMES)):
        out[_in_bin(see, code)] = code
    return out


def _loaded(mid: str, high: str) -> Function:
    def function(see: TickView) -> Floats:
        return np.where(see.known(high), see[high], see[mid])

    return function


def _driven(names: tuple[str, ...]) -> Function:
    """The figure of the highest airflow bin that was driven."""

    def function(see: TickView) -> Floats:
        best = see.nothing()
        for name in names[1:]:
            best = np.where(see.known(name), see[name], best)
        return best

    return function


def _known(patterns: tuple[str, ...]) -> Function:
    def function(see: TickView) -> Floats:
        return sum(
            (see.known(p).astype(np.float64) for p in patterns), np.zeros(see.size)
        )

    return function


def _row(name: str, title: str, unit: str, function: Function, bank: bool) -> Derived:
    inputs = ("stft_{b}_pct",) if bank else ("stft_b1_pct",)
    places = EACH_BANK if bank else (ENGINE,)
    return Derived(name, title, unit, function, inputs, s.OURS, places)


_BANK = tuple(f"trim_{name}_{{b}}_pct" for name in BIN_NAMES)
_COMMON = tuple(f"common_{name}_pct" for name in BIN_NAMES)
_IMBALANCE = tuple(f"imbalance_{name}_pct" for name in BIN_NAMES)

ROWS: tuple[Derived, ...] = (
    Derived(
        "bin_settled",
        "airflow bin held for 2 s",
        "",
        _settled,
        ("rpm",),
        s.COMMON,
        window_s=SETTLE_S,
    ),
    *(_pattern(n, "closed_trim_{b}_pct", c, EACH_BANK) for c, n in enumerate(_BANK)),
    *(_pattern(n, "imbalance_now_pct", c, (ENGINE,)) for c, n in enumerate(_IMBALANCE)),
    *(_pattern(n, "common_now_pct", c, (ENGINE,)) for c, n in enumerate(_COMMON)),
    _row(
        "trim_load_{b}_pct", "total trim, loaded", "%", _loaded(_BANK[2], _BANK[3]),
        True,
    ),
    _row(
        "common_load_pct", "common trim, loaded", "%", _loaded(_COMMON[2], _COMMON[3]),
        False,
    ),
    _row(
        "trim_road_{b}_pct", "total trim at the highest airflow driven", "%",
        _driven(_BANK), True,
    ),
    _row(
        "common_road_pct", "common trim at the highest airflow driven", "%",
        _driven(_COMMON), False,
    ),
    _row("bins_known_{b}", "airflow bins with a median", "", _known(_BANK), True),
    _row("bins_known", "airflow bins with a common median", "", _known(_COMMON), False),
)  # fmt: skip
"""Pattern signals, in the order of computation."""
