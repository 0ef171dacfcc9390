"""Shapes of trims over airflow: everywhere, fading, level, alike.

A pattern is read over the airflow bins that were driven, never from one moment.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals.columns import Bools, Floats
from bankwise.signals.rule import View

BINS = ("idle", "low", "mid", "high")
"""The airflow bins of the trim patterns, least flow first."""


def bins(see: View, pattern: str) -> Floats:
    """One row a bin. Shape (bins, ticks); NaN where a bin was not driven."""
    return np.stack([see[pattern.replace("BIN", name)] for name in BINS])


def enough(hits: Bools, see: View) -> Bools:
    """True where enough bins show it."""
    return np.asarray(np.sum(hits, axis=0) >= see.limit("trim_cells_min"))


def everywhere(hits: Bools, rows: Floats, see: View) -> Bools:
    """True where every bin driven shows it, and enough bins were driven."""
    known = np.isfinite(rows)
    return np.asarray(enough(known, see) & np.all(hits | ~known, axis=0))


def level(see: View, own: Floats, other: Floats) -> Bools:
    """Where the other bank needs little, or far less of the same than this one."""
    small = np.abs(other) <= see.limit("trim_level_pct")
    less = (other >= 0) & (other < see.limit("trim_add_pct"))
    return np.asarray(small | (less & (own - other >= see.limit("trim_apart_pct"))))


def other_level(see: View) -> Bools:
    """True where the other bank is level in every bin that was driven."""
    own = bins(see, "trim_BIN_{b}_pct")
    other = bins(see, "trim_BIN_{o}_pct")
    add = see.limit("trim_add_pct")
    calm = np.where(own >= add, level(see, own, other), np.abs(other) < add)
    return everywhere(calm, other, see)


def fades(see: View, idle: Floats, moving: Floats) -> Bools:
    """True where a trim is large at idle and falls as the airflow grows."""
    add, fade = see.limit("trim_add_pct"), see.limit("trim_fade_pct")
    # Above a normal trim on the road as well, it is there at every load.
    half = (moving < see.limit("trim_fade_share") * idle) & (moving < add)
    # Unless it lost twice that on the way: then a leak lies on top of what is usual.
    most = (moving < see.limit("trim_fade_share") * idle) & (idle - moving >= 2 * add)
    return (idle >= add) & ((moving < fade) | (half & (idle - moving >= add)) | most)


def moving(see: View, pattern: str) -> Floats:
    """The trim at the highest airflow bin driven; shape (ticks,)."""
    low, mid, high = (see[pattern.replace("BIN", name)] for name in BINS[1:])
    best = np.where(np.isfinite(high), high, mid)
    return np.where(np.isfinite(best), best, low)


def middle(rows: Floats) -> Floats:
    """The median of the known rows at each tick; NaN where none is known."""
    out = np.full(rows.shape[1], np.nan)
    known = np.isfinite(rows).any(axis=0)
    out[known] = np.nanmedian(rows[:, known], axis=0)
    return out


def alike(see: View) -> Bools:
    """True unless the banks differ so much somewhere that it is no common cause."""
    apart = np.abs(bins(see, "imbalance_BIN_pct")) > see.limit("trim_apart_pct")
    return np.asarray(~np.any(apart, axis=0))
