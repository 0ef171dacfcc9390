"""A table of another logger into time series: gaps and stale repeats recognised.

Loggers that ask one signal after the other repeat the last value of each in every row.
A repeat is no fresh sample. How often a column is really refreshed shows in how long
its values stay the same while it is moving: the shortest such stretches are its
interval. Between changes one sample an interval is kept, so a steady signal stays
alive without a rate it never had.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from bankwise.adapters.errors import ImportFault
from bankwise.adapters.import_map import CLOCK, DATE, TIME_UNITS, ColumnMap, ImportMap
from bankwise.signals.columns import Bools, Floats

GAP_S: Final = 3.0
"""Rows further apart are a hole in the data. Unit: seconds. Source: DOMAIN 4 [CP]."""

_QUICKEST: Final = 10.0
"""Percentile of the lengths of steady stretches that is taken as the interval.

Source: our choice: low enough for the quickest refresh, high enough to pass over an
accidental equal value.
"""

_STEADY_EVERY_S: Final = 1.0
"""Interval given to a column that never changes. Unit: seconds. Source: our choice."""

_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Series:
    """Fresh samples of one signal.

    Attributes:
        signal: catalogue name.
        rows: rows of the table with a fresh value, shape (n,).
        values: in the signal's unit, shape (n,).
        stale: repeats that were left out.
        unreadable: cells that hold no number.
    """

    signal: str
    rows: npt.NDArray[np.intp]
    values: Floats
    stale: int
    unreadable: int


@dataclass(frozen=True, slots=True)
class Table:
    """A table in session time.

    Attributes:
        t: time of each row, from 0. Unit: seconds.
        step_s: median interval of rows. Unit: seconds.
        series: by signal.
        gaps: holes, first and last moment. Unit: seconds.
        dropped_rows: rows without a time, or whose time goes back.
    """

    t: Floats
    step_s: float
    series: tuple[Series, ...]
    gaps: tuple[tuple[float, float], ...]
    dropped_rows: int


def read_table(path: Path, how: ImportMap) -> Table:
    """Reads a table as its map says.

    Raises:
        ImportFault: when it cannot be read, lacks a column, or holds no rows.
    """
    names, rows = _rows(path, how)
    wanted = [how.time_column, *(column.column for column in how.columns)]
    places = {}
    for column in wanted:
        if column not in names:
            raise ImportFault(f"{path} has no column {column!r}")
        places[column] = names.index(column)
    at = places[how.time_column]
    cells = list(rows)
    raw = np.array([_moment(_cell(row, at), how) for row in cells])
    if how.time_unit == CLOCK:
        raw = raw + _DAY_S * np.cumsum(np.diff(raw, prepend=raw[:1]) < -_DAY_S / 2)
    ahead = np.fmax.accumulate(raw) if len(raw) else raw
    good = np.isfinite(raw) & (raw >= ahead)
    if not good.any():
        raise ImportFault(f"{path} holds no row with a time in {how.time_column!r}")
    kept = [row for row, fine in zip(cells, good, strict=True) if fine]
    t = raw[good] - raw[good][0]
    steps = np.diff(t)
    steps = steps[steps > 0]
    step_s = float(np.median(steps)) if len(steps) else _STEADY_EVERY_S
    series = tuple(
        _series(column, kept, places[column.column], step_s, how)
        for column in how.columns
    )
    wide = np.flatnonzero(np.diff(t) > GAP_S)
    gaps = tuple((float(t[i]), float(t[i + 1])) for i in wide)
    return Table(t, step_s, series, gaps, int((~good).sum()))


def _rows(path: Path, how: ImportMap) -> tuple[list[str], Iterator[list[str]]]:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ImportFault(f"{path}: {error.strerror or error}") from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    lines = io.StringIO(text, newline="")
    for _ in range(how.skip_lines):
        lines.readline()
    start = lines.tell()
    head = lines.readline()
    if not head.strip() or "\0" in head:
        raise ImportFault(f"{path} has no line with column names")
    lines.seek(start)
    delimiter = how.delimiter or max(",;\t", key=head.count)
    reader = csv.reader(lines, delimiter=delimiter)
    try:
        names = [name.strip() for name in next(reader)]
        return names, iter([row for row in reader if any(row)])
    except csv.Error as error:
        raise ImportFault(f"{path}: line {reader.line_num}: {error}") from None


def _cell(row: list[str], at: int) -> str:
    return row[at].strip() if at < len(row) else ""


def _moment(cell: str, how: ImportMap) -> float:
    """A time cell as seconds from some moment; NaN when it tells none."""
    try:
        if how.time_unit == DATE:
            return datetime.fromisoformat(cell).timestamp()
        if how.time_unit == CLOCK:
            parts = [float(part.replace(",", ".")) for part in cell.split(":")]
            return float(sum(p * 60.0**i for i, p in enumerate(reversed(parts))))
    except (ValueError, OverflowError):
        return float("nan")
    return _number(cell, how.decimal) * TIME_UNITS[how.time_unit]


def _number(cell: str, decimal: str) -> float:
    if decimal == ",":
        cell = cell.replace(".", "").replace(",", ".")
    try:
        value = float(cell)
    except ValueError:
        return float("nan")
    return value if np.isfinite(value) else float("nan")


def _series(
    column: ColumnMap, rows: list[list[str]], at: int, step_s: float, how: ImportMap
) -> Series:
    cells = [_cell(row, at) for row in rows]
    raw = np.array([_number(cell, how.decimal) for cell in cells])
    there = np.flatnonzero(np.isfinite(raw))
    values = raw[there]
    fresh = np.ones(len(values), dtype=np.bool_)
    if not column.every_row:
        fresh = fresh_samples(values, max(round(_STEADY_EVERY_S / step_s), 1))
    return Series(
        column.signal,
        there[fresh],
        values[fresh] * column.factor + column.offset,
        int((~fresh).sum()),
        sum(1 for cell in cells if cell) - len(values),
    )


def fresh_samples(values: Floats, steady_rows: int) -> Bools:
    """Which of a column's values are fresh samples, shape (n,).

    Args:
        values: as they stand in the rows.
        steady_rows: the interval of a column that never changes. Unit: rows.
    """
    fresh = np.zeros(len(values), dtype=np.bool_)
    if not len(values):
        return fresh
    changes = np.flatnonzero(np.diff(values) != 0) + 1
    starts = np.concatenate(([0], changes))
    lengths = np.diff(np.concatenate((starts, [len(values)])))
    inner = lengths[1:-1]
    interval = steady_rows
    if len(inner):
        quickest = np.percentile(inner, _QUICKEST, method="lower")
        interval = max(int(quickest), 1)
    for start, length in zip(starts.tolist(), lengths.tolist(), strict=True):
        fresh[start : start + length : interval] = True
    return fresh
