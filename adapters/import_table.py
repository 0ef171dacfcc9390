"""A table of another logger into time series: gaps and stale repeats recognised.

Loggers that ask one signal after the other repeat the last value of each in every row.
A repeat is no fresh sample. How often a column is really refreshed shows in how long
its values stay the same while it is moving: the shortest such stretches are its
interval. Between changes one sample an interval is kept, so a steady signal stays
alive without a rate it never had. A signal that may rest for minutes is taken to be
refreshed as often as the slowest of those that never rest.
"""

from __future__ import annotations

import codecs
import csv
import difflib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from bankwise.adapters.errors import ImportFault
from bankwise.adapters.import_cells import EMPTY, moment, number, one_of
from bankwise.adapters.import_map import CLOCK, ColumnMap, ImportMap
from bankwise.adapters.import_times import GAP_S, over_midnight, timeline
from bankwise.signals.columns import Bools, Floats

_QUICKEST: Final = 10.0
"""Percentile of the lengths of steady stretches that is taken as the interval.

Source: our choice: low enough for the quickest refresh, high enough to pass over an
accidental equal value.
"""

_STEADY_EVERY_S: Final = 1.0
"""Interval given to a column that never changes. Unit: seconds. Source: our choice."""

_RESTLESS: Final = ("rpm", "load_", "abs_load_", "map_", "maf_", "timing_", "stft_")
"""Signals that move all the time while an engine runs. Common practice, no source."""

_READ_SHARE: Final = 0.5
"""A column of which less can be read is refused: its map is wrong. Our choice."""

_LONG_STEPS: Final = 3
"""Rows that usually lie far apart leave a hole only so many steps long. Our choice."""

_NEAR = 3


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
        began: the first row's time as the table tells it. Unit: seconds.
        step_s: median interval of rows. Unit: seconds.
        blur_s: how uncertain each time is. Unit: seconds.
        series: by signal.
        gaps: holes, first and last moment. Unit: seconds.
        told: what was odd about the rows, a sentence each.
    """

    t: Floats
    began: float
    step_s: float
    blur_s: float
    series: tuple[Series, ...]
    gaps: tuple[tuple[float, float], ...]
    told: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Cells:
    """Cells of one column as text, row by row."""

    how: ColumnMap
    cells: list[str]


def read_table(path: Path, how: ImportMap) -> Table:
    """Reads a table as its map says.

    Raises:
        ImportFault: when it cannot be read, lacks a column, or holds no rows.
    """
    names, rows = read_rows(path, how.delimiter, how.skip_lines)
    told = _check(path, names, how)
    rows = one_of(names, rows, how.only)
    if how.long:
        names, rows = _widened(names, rows, how)
    at = [names.index(column) for column in how.time_columns]
    raw = np.array(
        [moment(" ".join(_cell(row, i) for i in at).strip(), how) for row in rows]
    )
    if how.time_unit == CLOCK and len(raw):
        raw = over_midnight(raw)
    line = timeline(raw, how.drive, shared=how.long) if len(raw) else None
    if line is None:
        shown = map(repr, how.time_columns)
        raise ImportFault(
            f"{path} holds no row with a time in {' and '.join(shown)}"
            + (", and with the cells of [table] only" if how.only else "")
            + _such_as((_cell(row, at[0]) for row in rows), how)
        )
    kept = [rows[i] for i in line.rows.tolist()]
    columns = [_Cells(c, _cells_of(c, kept, names)) for c in how.columns]
    wide = np.flatnonzero(np.diff(line.t) > max(GAP_S, _LONG_STEPS * line.step_s))
    return Table(
        line.t,
        line.began,
        line.step_s,
        line.blur_s,
        tuple(_all_series(path, columns, line.step_s, how)),
        tuple((float(line.t[i]), float(line.t[i + 1])) for i in wide),
        (*told, *line.told),
    )


def read_rows(
    path: Path, delimiter: str | None, skip_lines: int
) -> tuple[list[str], list[list[str]]]:
    """Column names and rows of a table of text, as cells.

    Raises:
        ImportFault: when it cannot be read or has no line with column names.
    """
    lines = io.StringIO(read_text(path), newline="")
    for _ in range(skip_lines):
        lines.readline()
    start = lines.tell()
    head = lines.readline()
    if not head.strip() or "\0" in head:
        raise ImportFault(f"{path} has no line with column names")
    lines.seek(start)
    reader = csv.reader(lines, delimiter=delimiter or max(",;\t|", key=head.count))
    try:
        names = [name.strip() for name in next(reader)]
        return names, [row for row in reader if any(row)]
    except csv.Error as error:
        raise ImportFault(f"{path}: line {reader.line_num}: {error}") from None


def read_text(path: Path) -> str:
    """A file's text, in the encoding that its bytes show.

    Raises:
        ImportFault: when it cannot be read.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ImportFault(f"{path}: {error.strerror or error}") from None
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _check(path: Path, names: list[str], how: ImportMap) -> list[str]:
    """What is odd about the column names. Raises ImportFault when one is missing."""
    wanted = [*how.time_columns, *how.only]
    wanted += (
        [how.name_column, how.value_column]
        if how.long
        else [column.column for column in how.columns]
    )
    for column in wanted:
        if column not in names:
            near = difflib.get_close_matches(column, names, _NEAR, 0.5)
            shown = ", ".join(map(repr, near or names[:12]))
            raise ImportFault(
                f"{path} has no column {column!r}; "
                f"{'near it' if near else 'it has'}: {shown}"
            )
    return [
        f"{names.count(column)} columns are named {column!r}: the first is read"
        for column in dict.fromkeys(wanted)
        if names.count(column) > 1
    ]


def _cell(row: list[str], at: int) -> str:
    return row[at].strip() if at < len(row) else ""


def _cells_of(column: ColumnMap, rows: list[list[str]], names: list[str]) -> list[str]:
    if column.column not in names:  # of a table with a row a value: it has none
        return [""] * len(rows)
    at = names.index(column.column)
    return [_cell(row, at) for row in rows]


def _widened(
    names: list[str], rows: list[list[str]], how: ImportMap
) -> tuple[list[str], list[list[str]]]:
    """A table with a row a value as one with a row a moment."""
    clocks = [names.index(column) for column in how.time_columns]
    name, value = names.index(how.name_column), names.index(how.value_column)
    places = {column.column: len(clocks) + i for i, column in enumerate(how.columns)}
    made: list[list[str]] = []
    blank = [""] * len(places)
    for row in rows:
        at = places.get(_cell(row, name))
        if at is None:
            continue
        time = [_cell(row, i) for i in clocks]
        if not made or made[-1][: len(clocks)] != time or made[-1][at]:
            made.append(time + blank)
        made[-1][at] = _cell(row, value)
    return [*how.time_columns, *places], made


def _all_series(
    path: Path, columns: Sequence[_Cells], step_s: float, how: ImportMap
) -> list[Series]:
    read = []
    for column in columns:
        raw = np.array([number(c, column.how, how.decimal) for c in column.cells])
        there = np.flatnonzero(np.isfinite(raw))
        filled = sum(1 for cell in column.cells if cell.casefold() not in EMPTY)
        if filled and len(there) < _READ_SHARE * filled:
            raise ImportFault(_unreadable(path, column, raw, how))
        read.append((column.how, there, raw[there], filled - len(there)))
    steady = max(round(_STEADY_EVERY_S / step_s), 1)
    paces = [
        interval(values, steady)
        for told, _, values, _ in read
        if told.signal.startswith(_RESTLESS) and len(values)
    ]
    slowest = max([steady, *paces])
    return [
        _series(told, there, values, lost, steady, slowest, how)
        for told, there, values, lost in read
    ]


def _unreadable(path: Path, column: _Cells, raw: Floats, how: ImportMap) -> str:
    lost = np.flatnonzero(~np.isfinite(raw))
    cells = (column.cells[i] for i in lost.tolist())
    cell = next(cell for cell in cells if cell.casefold() not in EMPTY)
    return (
        f"{path}: most cells of {column.how.column!r} hold no number in "
        f"{column.how.unit or 'a plain form'}, such as {cell!r}{_hint(cell, how)}"
    )


def _such_as(cells: Iterator[str], how: ImportMap) -> str:
    """The first cell that holds something, and what may be wrong with the map."""
    cell = next((cell for cell in cells if cell.casefold() not in EMPTY), "")
    return f"; there stands {cell!r}{_hint(cell, how)}" if cell else ""


def _hint(cell: str, how: ImportMap) -> str:
    other = "," if how.decimal == "." else "."
    return f'; is it [table] decimal = "{other}"?' if other in cell else ""


def _series(
    column: ColumnMap,
    there: npt.NDArray[np.intp],
    values: Floats,
    unreadable: int,
    steady: int,
    slowest: int,
    how: ImportMap,
) -> Series:
    fresh = np.ones(len(values), dtype=np.bool_)
    if not (column.every_row or how.long):
        most = (
            None
            if column.signal.startswith((*_RESTLESS, "o2_", "lambda_b"))
            else (slowest)
        )
        fresh = fresh_samples(values, steady, most)
    return Series(
        column.signal,
        there[fresh],
        values[fresh] * column.factor + column.offset,
        int((~fresh).sum()),
        unreadable,
    )


def interval(values: Floats, steady_rows: int) -> int:
    """How many rows apart a column is refreshed, as its shortest stretches show.

    Args:
        values: as they stand in the rows; at least one.
        steady_rows: the interval of a column that never changes. Unit: rows.
    """
    inner = _stretches(values)[1][1:-1]
    if not len(inner):
        return steady_rows
    return max(int(np.percentile(inner, _QUICKEST, method="lower")), 1)


def fresh_samples(
    values: Floats, steady_rows: int, most_rows: int | None = None
) -> Bools:
    """Which of a column's values are fresh samples, shape (n,).

    Args:
        values: as they stand in the rows.
        steady_rows: the interval of a column that never changes. Unit: rows.
        most_rows: no interval is longer, when given. Unit: rows.
    """
    fresh = np.zeros(len(values), dtype=np.bool_)
    if not len(values):
        return fresh
    every = interval(values, steady_rows)
    every = every if most_rows is None else min(every, most_rows)
    for start, length in zip(*(x.tolist() for x in _stretches(values)), strict=True):
        fresh[start : start + length : every] = True
    return fresh


def _stretches(
    values: Floats,
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Where stretches of equal values start, and how long they are. Shapes (m,)."""
    changes = np.flatnonzero(np.diff(values) != 0) + 1
    starts = np.concatenate(([0], changes))
    return starts, np.diff(np.concatenate((starts, [len(values)])))
