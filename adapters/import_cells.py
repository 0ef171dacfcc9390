"""Cells of a table as numbers and moments, in the forms that loggers write them.

What cannot be read for certain is no number: a decimal sign that the map does not name
and a unit other than the map's are never guessed at.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Final

from bankwise.adapters.import_map import CLOCK, DATE, TIME_UNITS, ColumnMap, ImportMap
from bankwise.adapters.import_units import plain_unit

NOTHING: Final = float("nan")

EMPTY: Final = frozenset({"", "nan", "na", "n/a", "null", "none", "-", "--"})
"""Cells, in small letters, that say there is no value. Common practice, no source."""

_SIGNED = r"[-+−]?"
_EXPONENT = r"(?:[eE][-+]?\d+)?"
_NUMBERS: Final = {
    ".": re.compile(
        rf"({_SIGNED}(?:[1-9]\d{{0,2}}(?:,\d{{3}})+|\d+)?(?:\.\d*)?{_EXPONENT})(\D*)"
    ),
    ",": re.compile(
        rf"({_SIGNED}(?:[1-9]\d{{0,2}}(?:[. ]\d{{3}})+|\d+)?(?:,\d*)?{_EXPONENT})(\D*)"
    ),
}
"""A number by decimal sign, thousands set apart by the other one, and what follows."""
_HALF_DAY_S = 43_200.0


def number(cell: str, column: ColumnMap, decimal: str) -> float:
    """A cell as the number it tells; NaN when it tells none.

    A unit behind the number must be the map's. Words count where the map gives them a
    number.
    """
    told = column.words.get(cell)
    if told is not None:
        return told
    try:
        value = float(cell) if decimal == "." else _parsed(cell, column, decimal)
    except ValueError:
        value = _parsed(cell, column, decimal)
    return value if math.isfinite(value) else NOTHING


def _parsed(cell: str, column: ColumnMap, decimal: str) -> float:
    found = _NUMBERS[decimal].fullmatch(cell)
    if found is None:
        return NOTHING
    digits, unit = found[1].replace("−", "-"), found[2].strip()
    if unit and plain_unit(unit) != plain_unit(column.unit):
        return NOTHING
    other = ",." if decimal == "." else ".,"
    digits = digits.replace(" ", "").replace(other[0], "").replace(other[1], ".")
    try:
        return float(digits)
    except ValueError:
        return NOTHING


def moment(cell: str, how: ImportMap) -> float:
    """A time cell as seconds from some moment; NaN when it tells none.

    Dates without a zone count as UTC: no hour is lost or doubled in spring and autumn.
    """
    if not cell:
        return NOTHING
    try:
        if how.time_unit == DATE:
            told = (
                datetime.strptime(cell, how.time_format)
                if how.time_format
                else datetime.fromisoformat(cell)
            )
            told = told if told.tzinfo is not None else told.replace(tzinfo=UTC)
            return told.timestamp()
        if how.time_unit == CLOCK:
            return _clock(cell)
    except (ValueError, OverflowError):
        return NOTHING
    seconds = ColumnMap("", "", unit=how.time_unit)
    return number(cell, seconds, how.decimal) * TIME_UNITS[how.time_unit]


def _clock(cell: str) -> float:
    """Hours, minutes and seconds; with am or pm of a twelve-hour clock.

    Raises:
        ValueError: when it is none.
    """
    text = cell.casefold().replace(".m.", "m").replace(",", ".")
    half = text[-2:] if text.endswith(("am", "pm")) else ""
    parts = [float(part) for part in text.removesuffix(half).strip().split(":")]
    if not 1 < len(parts) <= len(("h", "min", "s")):
        raise ValueError(cell)
    if half and len(parts) == 2:  # a twelve-hour clock starts with hours
        parts.append(0.0)
    seconds = float(sum(p * 60.0**i for i, p in enumerate(reversed(parts))))
    if half:
        seconds = seconds % _HALF_DAY_S + (_HALF_DAY_S if half == "pm" else 0.0)
    return seconds


def one_of(
    names: Sequence[str], rows: list[list[str]], only: Mapping[str, str]
) -> list[list[str]]:
    """The rows whose cells are as the map wants them; numbers may be written apart."""
    for column, wanted in only.items():
        at = names.index(column)
        rows = [row for row in rows if at < len(row) and same(row[at].strip(), wanted)]
    return rows


def same(cell: str, wanted: str) -> bool:
    """True when a cell says what is wanted: `10` and `10.0` do."""
    if cell == wanted:
        return True
    try:
        return float(cell) == float(wanted)
    except ValueError:
        return False
