"""The time column of a table: which rows make one drive, and in what order.

Tables hold several drives, newest rows first, clocks told in whole seconds, rows told
twice. Nothing is thrown away silently: whatever was done is said in a sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from bankwise.adapters.errors import ImportFault
from bankwise.signals.columns import Bools, Floats

Rows = npt.NDArray[np.intp]

GAP_S: Final = 3.0
"""Rows further apart are a hole in the data. Unit: seconds. Source: DOMAIN 4 [CP]."""

OTHER_DRIVE_S: Final = 600.0
"""Rows further apart belong to two drives. Unit: seconds. Source: our choice."""

COARSE_SHARE: Final = 0.2
"""This share of rows with the time of the row before: the clock is coarser than the
rows. Source: our choice."""

_AROUND: Final = 5
"""Rows among which a time must not stand apart. Source: our choice."""

_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Timeline:
    """One drive's rows in order of time.

    Attributes:
        rows: which rows of the table, shape (n,).
        t: their time from the first. Unit: seconds, shape (n,).
        began: the first row's time as the table tells it. Unit: seconds.
        step_s: median interval of rows. Unit: seconds.
        blur_s: how uncertain each time is. Unit: seconds.
        told: what was odd, a sentence each.
    """

    rows: Rows
    t: Floats
    began: float
    step_s: float
    blur_s: float
    told: tuple[str, ...]


def over_midnight(raw: Floats) -> Floats:
    """Times of day that go on where the clock starts again."""
    known = np.isfinite(raw)
    held = raw[known]
    whole = raw.copy()
    whole[known] = held + _DAY_S * np.cumsum(
        np.diff(held, prepend=held[:1]) < -_DAY_S / 2
    )
    return whole


def timeline(raw: Floats, drive: int | None, *, shared: bool) -> Timeline | None:
    """The rows of one drive; None when no row has a time.

    Args:
        raw: time of each row, NaN where it has none. Unit: seconds, shape (n,).
        drive: which drive, counted from 1; None for the one with most rows.
        shared: rows may share a time, each with a value of its own.

    Raises:
        ImportFault: when there is no such drive.
    """
    told = []
    rows = np.flatnonzero(np.isfinite(raw))
    if len(rows) < len(raw):
        told.append(f"{len(raw) - len(rows)} rows without a time were left out")
    if not len(rows):
        return None
    if len(rows) > 1 and raw[rows[-1]] < raw[rows[0]] and _falls(raw[rows]):
        rows = rows[::-1]
        told.append("the newest row came first: the order was turned round")
    apart = _stands_apart(raw[rows])
    if apart.any():
        told.append(f"{apart.sum()} rows whose time stands apart were left out")
        rows = rows[~apart]
    steps = np.diff(raw[rows])
    breaks = np.flatnonzero((steps < -GAP_S) | (steps > OTHER_DRIVE_S)) + 1
    drives = np.split(rows, breaks)
    if drive is not None and drive > len(drives):
        raise ImportFault(f"[table] drive: the table holds {len(drives)}")
    which = max(range(len(drives)), key=lambda i: len(drives[i]))
    which = which if drive is None else drive - 1
    rows = drives[which]
    if len(drives) > 1:
        told.append(
            f"{len(drives)} drives in one table: number {which + 1} is imported, "
            "[table] drive takes another"
        )
    mixed = int((np.diff(raw[rows]) < 0).sum())
    if mixed:
        told.append(f"{mixed} rows came out of order and were sorted by time")
        rows = rows[np.argsort(raw[rows], kind="stable")]
    return _evened(rows, raw[rows], told, shared=shared)


def _falls(t: Floats) -> bool:
    """True when time runs backwards nearly everywhere."""
    steps = np.diff(t)
    return bool((steps <= 0).mean() > 1 - COARSE_SHARE)


def _stands_apart(t: Floats) -> Bools:
    """Single rows with a time far from that of the rows around them, shape (n,)."""
    if len(t) < _AROUND:
        return np.zeros(len(t), dtype=np.bool_)
    half = _AROUND // 2
    padded = np.concatenate((t[:half][::-1], t, t[-half:][::-1]))
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, _AROUND), 1)
    usual = float(np.median(np.abs(np.diff(t))))
    apart: Bools = np.abs(t - middle) > max(GAP_S, _AROUND * usual)
    return apart


def _evened(rows: Rows, t: Floats, told: list[str], *, shared: bool) -> Timeline:
    """Rows of one time: spread where the clock is coarse, else the first is kept."""
    same = np.diff(t, prepend=np.nan) == 0
    blur = 0.0
    if not shared and same.any():
        if same.mean() > COARSE_SHARE:
            t, blur = _spread(t, same)
            told.append(
                f"several rows share each time: they were spread evenly, and every "
                f"time is uncertain by {blur:g} s"
            )
        else:
            told.append(f"{same.sum()} rows with the time of another were left out")
            rows, t = rows[~same], t[~same]
    began = float(t[0])
    t = t - began
    steps = np.diff(t)
    steps = steps[steps > 0]
    step = float(np.median(steps)) if len(steps) else 1.0
    return Timeline(rows, t, began, step, max(blur, step), tuple(told))


def _spread(t: Floats, same: Bools) -> tuple[Floats, float]:
    """Rows of one time laid out until the next time, and how long that usually is."""
    starts = np.flatnonzero(~same)
    steps = np.diff(t[starts])
    usual = float(np.median(steps)) if len(steps) else 1.0
    counts = np.diff(np.append(starts, len(t)))
    room = np.minimum(np.append(steps, usual), usual)
    place = np.arange(len(t)) - np.repeat(starts, counts)
    return t + place * np.repeat(room / counts, counts), usual
