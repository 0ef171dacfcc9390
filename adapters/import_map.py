"""The map of an import: which column holds which signal, and in what unit.

[time]
column = "Time"
unit = "s"            # s, ms, min, "clock" (12:34:56.7) or "date" (RFC 3339)

[table]               # all optional
delimiter = ";"
decimal = ","
skip_lines = 2        # lines before the one with the column names

[vehicle]             # optional: what is known of the car
displacement_l = 3.2
note = "after the new exhaust"

[signals.o2_b1s1_v]   # a signal name of this program
column = "O2 B1S1"
unit = "mV"           # optional; the signal's own unit when left out
scale = 1.0           # optional, with offset: value * scale + offset
every_row = true      # optional: each row is a fresh sample, repeats included
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
_SIGNAL_KEYS: Final = {"column", "unit", "scale", "offset", "every_row"}


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """One column: `value * factor + offset` is in the signal's unit."""

    signal: str
    column: str
    factor: float = 1.0
    offset: float = 0.0
    every_row: bool = False


@dataclass(frozen=True, slots=True)
class ImportMap:
    """How to read a table.

    Attributes:
        time_column, time_unit: where time stands, and how it is told.
        columns: what the other columns hold.
        delimiter: None to find it out; `decimal`: the decimal sign.
        skip_lines: lines before the one with the column names.
        vehicle: what is known of the car, for the header.
    """

    time_column: str
    time_unit: str
    columns: tuple[ColumnMap, ...]
    delimiter: str | None = None
    decimal: str = "."
    skip_lines: int = 0
    vehicle: dict[str, Any] = field(default_factory=dict)


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
    strange = sorted(raw.keys() - _TABLES)
    if strange:
        raise ImportFault(f"{name}: there is no table [{strange[0]}]")
    time, table = _table(raw, "time", name), _table(raw, "table", name)
    column = time.get("column")
    if not isinstance(column, str):
        raise ImportFault(f"{name}: [time] needs a column")
    unit = time.get("unit", "s")
    if unit not in TIME_UNITS and unit not in {CLOCK, DATE}:
        known = ", ".join((*TIME_UNITS, CLOCK, DATE))
        raise ImportFault(f"{name}: [time] unit is one of {known}")
    signals = _table(raw, "signals", name)
    if not signals:
        raise ImportFault(f"{name}: no [signals.NAME] says which column is what")
    delimiter, decimal = table.get("delimiter"), table.get("decimal", ".")
    skip = table.get("skip_lines", 0)
    if delimiter is not None and (not isinstance(delimiter, str) or not delimiter):
        raise ImportFault(f"{name}: [table] delimiter is one character")
    if decimal not in {".", ","}:
        raise ImportFault(f'{name}: [table] decimal is "." or ","')
    if not isinstance(skip, int) or skip < 0:
        raise ImportFault(f"{name}: [table] skip_lines is a number of lines")
    return ImportMap(
        column,
        unit,
        tuple(_column(signal, told, name) for signal, told in signals.items()),
        delimiter[0] if delimiter else None,
        decimal,
        skip,
        _table(raw, "vehicle", name),
    )


def _table(raw: dict[str, Any], key: str, name: str) -> dict[str, Any]:
    table = raw.get(key, {})
    if not isinstance(table, dict):
        raise ImportFault(f"{name}: [{key}] is a table")
    return table


def _column(signal: str, told: Any, name: str) -> ColumnMap:
    place = f"{name}: [signals.{signal}]"
    if signal not in SIGNALS:
        raise ImportFault(f"{place}: there is no signal of that name")
    if not isinstance(told, dict) or not isinstance(told.get("column"), str):
        raise ImportFault(f"{place} needs a column")
    strange = sorted(told.keys() - _SIGNAL_KEYS)
    if strange:
        raise ImportFault(f"{place}: {strange[0]!r} means nothing here")
    wanted = SIGNALS[signal].unit
    unit = told.get("unit", wanted)
    linear = conversion(unit, wanted) if isinstance(unit, str) else None
    if linear is None:
        known = ", ".join(u for u in units_for(wanted) if u) or "none"
        raise ImportFault(f"{place}: unit {unit!r} is not one of {known}")
    scale, offset = told.get("scale", 1.0), told.get("offset", 0.0)
    if not isinstance(scale, int | float) or not isinstance(offset, int | float):
        raise ImportFault(f"{place}: scale and offset are numbers")
    factor, shift = linear
    return ColumnMap(
        signal,
        told["column"],
        scale * factor,
        offset * factor + shift,
        told.get("every_row") is True,
    )
