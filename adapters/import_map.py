"""The map of an import: which column holds which signal, and in what unit.

[time]
column = "Time"       # or ["Date", "Time"], joined by a blank
unit = "s"            # s, ms, us, min, "clock" (12:34:56.7) or "date" (RFC 3339)
format = "%d.%m.%Y %H:%M:%S"   # of a date in another form, as strptime has it

[table]               # all optional
delimiter = ";"
decimal = ","
skip_lines = 2        # lines before the one with the column names
only = { Car = "10", Trip = "706" }   # the rows of one drive among many
drive = 2             # which, where times show several; else the longest
names = "signal"      # a table with a row a value: where the name stands, and
values = "value"      # where the value; [signals.x] column is then a name

[vehicle]             # optional: what is known of the car
displacement_l = 3.2
note = "after the new exhaust"

[signals.o2_b1s1_v]   # a signal name of this program
column = "O2 B1S1"
unit = "mV"           # optional; the signal's own unit when left out
scale = 1.0           # optional, with offset: value * scale + offset
every_row = true      # optional: each row is a fresh sample, repeats included
words = { CL = 2 }    # optional: numbers for cells that hold a word
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from bankwise.adapters.errors import ImportFault
from bankwise.adapters.import_units import conversion, units_for
from bankwise.signals.catalogue import SIGNALS

TIME_UNITS: Final = {"s": 1.0, "ms": 0.001, "us": 1e-6, "min": 60.0}
"""Units of a time column told as a number. Unit: seconds."""

CLOCK, DATE = "clock", "date"

_TABLES: Final = {"time", "table", "vehicle", "signals"}
_TIME_KEYS: Final = {"column", "unit", "format"}
_TABLE_KEYS: Final = {
    "delimiter", "decimal", "skip_lines", "only", "drive", "names", "values",
}  # fmt: skip
_SIGNAL_KEYS: Final = {"column", "unit", "scale", "offset", "every_row", "words"}


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """One column: `value * factor + offset` is in the signal's unit.

    Attributes:
        signal, column: the catalogue's name and the table's.
        factor, offset: from the table's unit to the signal's.
        every_row: each row is a fresh sample.
        unit: the table's.
        words: numbers for cells that hold a word.
    """

    signal: str
    column: str
    factor: float = 1.0
    offset: float = 0.0
    every_row: bool = False
    unit: str = ""
    words: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ImportMap:
    """How to read a table.

    Attributes:
        time_columns, time_unit, time_format: where time stands, and how it is told.
        columns: what the other columns hold.
        delimiter: None to find it out; `decimal`: the decimal sign.
        skip_lines: lines before the one with the column names.
        vehicle: what is known of the car, for the header.
        only: what cells a row must have to be read, by column.
        drive: which of several drives, counted from 1; None for the longest.
        name_column, value_column: of a table with a row a value; empty otherwise.
    """

    time_columns: tuple[str, ...]
    time_unit: str
    columns: tuple[ColumnMap, ...]
    delimiter: str | None = None
    decimal: str = "."
    skip_lines: int = 0
    vehicle: dict[str, Any] = field(default_factory=dict)
    time_format: str = ""
    only: dict[str, str] = field(default_factory=dict)
    drive: int | None = None
    name_column: str = ""
    value_column: str = ""

    @property
    def long(self) -> bool:
        """Whether each row of the table holds one value."""
        return bool(self.name_column)


def read_map(path: Path) -> ImportMap:
    """Reads a map file.

    Raises:
        ImportFault: when it cannot be read, or asks for what does not exist.
    """
    try:
        with path.open("rb") as file:
            raw = tomllib.load(file)
    except OSError as error:
        raise ImportFault(f"{path}: {error.strerror or error}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ImportFault(f"{path} is not TOML: {error}") from None
    return parse_map(raw, str(path))


def parse_map(raw: dict[str, Any], name: str) -> ImportMap:
    """A map out of its tables.

    Raises:
        ImportFault: when it asks for what does not exist; the message names it.
    """
    _known(raw, _TABLES, f"{name}: there is no table [{{}}]")
    time, table = _table(raw, "time", name), _table(raw, "table", name)
    _known(time, _TIME_KEYS, f"{name}: [time] {{!r}} means nothing here")
    _known(table, _TABLE_KEYS, f"{name}: [table] {{!r}} means nothing here")
    told = time.get("column")
    every = told if isinstance(told, list) else [told]
    columns = tuple(column for column in every if isinstance(column, str))
    if not columns or len(columns) < len(every):
        raise ImportFault(f"{name}: [time] needs a column")
    form = time.get("format", "")
    unit = time.get("unit", DATE if form else "s")
    if unit not in TIME_UNITS and unit not in {CLOCK, DATE}:
        known = ", ".join((*TIME_UNITS, CLOCK, DATE))
        raise ImportFault(f"{name}: [time] unit is one of {known}")
    if not isinstance(form, str) or (form and unit != DATE):
        raise ImportFault(f'{name}: [time] format goes with unit = "{DATE}"')
    signals = _table(raw, "signals", name)
    if not signals:
        raise ImportFault(f"{name}: no [signals.NAME] says which column is what")
    names, values = table.get("names", ""), table.get("values", "")
    if not isinstance(names, str) or not isinstance(values, str):
        raise ImportFault(f"{name}: [table] names and values are column names")
    if bool(names) != bool(values):
        raise ImportFault(f"{name}: [table] names and values go together")
    return ImportMap(
        columns,
        unit,
        tuple(_column(signal, told, name) for signal, told in signals.items()),
        *_form(table, name),
        _table(raw, "vehicle", name),
        form,
        _only(table, name),
        _drive(table, name),
        names,
        values,
    )


def _known(told: dict[str, Any], keys: set[str], sentence: str) -> None:
    strange = sorted(told.keys() - keys)
    if strange:
        raise ImportFault(sentence.format(strange[0]))


def _table(raw: dict[str, Any], key: str, name: str) -> dict[str, Any]:
    table = raw.get(key, {})
    if not isinstance(table, dict):
        raise ImportFault(f"{name}: [{key}] is a table")
    return table


def _form(table: dict[str, Any], name: str) -> tuple[str | None, str, int]:
    delimiter, decimal = table.get("delimiter"), table.get("decimal", ".")
    skip = table.get("skip_lines", 0)
    if delimiter is not None and (not isinstance(delimiter, str) or not delimiter):
        raise ImportFault(f"{name}: [table] delimiter is one character")
    if decimal not in {".", ","}:
        raise ImportFault(f'{name}: [table] decimal is "." or ","')
    if not isinstance(skip, int) or skip < 0:
        raise ImportFault(f"{name}: [table] skip_lines is a number of lines")
    return (delimiter[0] if delimiter else None), decimal, skip


def _only(table: dict[str, Any], name: str) -> dict[str, str]:
    only = table.get("only", {})
    if not isinstance(only, dict):
        raise ImportFault(f'{name}: [table] only is {{ COLUMN = "what it must be" }}')
    return {column: str(wanted) for column, wanted in only.items()}


def _drive(table: dict[str, Any], name: str) -> int | None:
    drive = table.get("drive")
    if drive is not None and (not isinstance(drive, int) or drive < 1):
        raise ImportFault(f"{name}: [table] drive is a number from 1")
    return drive


def _column(signal: str, told: Any, name: str) -> ColumnMap:
    place = f"{name}: [signals.{signal}]"
    if signal not in SIGNALS:
        raise ImportFault(f"{place}: there is no signal of that name")
    if not isinstance(told, dict) or not isinstance(told.get("column"), str):
        raise ImportFault(f"{place} needs a column")
    _known(told, _SIGNAL_KEYS, f"{place}: {{!r}} means nothing here")
    wanted = SIGNALS[signal].unit
    unit = told.get("unit", wanted)
    linear = conversion(unit, wanted) if isinstance(unit, str) else None
    if linear is None:
        known = ", ".join(u for u in units_for(wanted) if u) or "none"
        raise ImportFault(f"{place}: unit {unit!r} is not one of {known}")
    scale, offset = told.get("scale", 1.0), told.get("offset", 0.0)
    if not isinstance(scale, int | float) or not isinstance(offset, int | float):
        raise ImportFault(f"{place}: scale and offset are numbers")
    words = told.get("words", {})
    if not isinstance(words, dict) or not all(
        isinstance(value, int | float) for value in words.values()
    ):
        raise ImportFault(f"{place}: words gives a number for each word")
    factor, shift = linear
    return ColumnMap(
        signal,
        told["column"],
        scale * factor,
        offset * factor + shift,
        told.get("every_row") is True,
        unit,
        {word: float(value) for word, value in words.items()},
    )
