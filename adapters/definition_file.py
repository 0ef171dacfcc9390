"""Definition files: maker-specific values, described by a person in TOML.

One table `[[value]]` a value. A value is `raw * scale + offset`, where `raw` is the
number in `length` bytes from byte `start` of the answer's data, counted from 0 after
the identifier. Only services 22 and 21 can be named, and only what a file lists passes
the gate. There is no formula language.

    [[value]]
    name = "cam_actual_b1_deg"     # signal name: small letters, digits, _
    title = "actual cam position"  # optional
    service = 22                   # 22 or 21, as written in service information
    id = "2A11"                    # four digits for 22, two for 21
    header = "7E0"                 # optional: the control unit to ask
    start = 0
    length = 2                     # 1 to 4 bytes
    signed = true                  # optional, false
    scale = 0.1                    # optional, 1
    offset = 0                     # optional, 0
    unit = "°"                     # optional
    rate = 1.0                     # requests a second, 0.05 to 5; optional, 1
    low = -60                      # values outside low … high are not taken
    high = 60
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from bankwise.adapters.definitions import (
    BY_IDENTIFIER,
    BY_LOCAL,
    NONE,
    Definition,
    Definitions,
)
from bankwise.adapters.errors import AdapterError
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.registry import DERIVED

MOST_RATE: Final = 5.0
LEAST_RATE: Final = 0.05
LEAST_SCALE: Final = 1e-9
"""Smallest step of a value. Our choice: four bytes then still make more than 4, and a
number too small to be computed with is left out."""
MOST_VALUES: Final = 40
"""Values in one file. Our choice: each costs a request of its own."""
KEY: Final = "definitions"
"""Where a session's header keeps them, so that it decodes without the file."""

_NAME: Final = re.compile(r"[a-z][a-z0-9_]{1,39}")
_HEX: Final = re.compile(r"[0-9A-F]+")
_HEADERS: Final = re.compile(r"7E[0-7]|18DA[0-9A-F]{2}F1|")
_STANDARD: Final = range(0xF400, 0xF900)
_TABLE: Final = re.compile(r"\s*\[\[\s*(?:value|\"value\")\s*\]\]")


class DefinitionFault(AdapterError):
    """A definition file that cannot be used; says where in one line."""

    title = "Definition file not usable"


def of_header(vehicle: Mapping[str, Any]) -> Definitions:
    """The definitions that a session's header keeps; rows not usable are left out."""
    rows = vehicle.get(KEY)
    if not isinstance(rows, list):
        return NONE
    good: list[Definition] = []
    for row in rows[:MOST_VALUES]:
        if not isinstance(row, dict) or set(row) - set(_FIELDS):
            continue
        if isinstance(row.get("service"), int) and isinstance(row.get("id"), int):
            digits = 4 if row["service"] == BY_IDENTIFIER else 2
            service = {BY_IDENTIFIER: 22, BY_LOCAL: 21}.get(row["service"], 0)
            shown = {**row, "service": service, "id": f"{row['id']:0{digits}X}"}
            made, _ = _row(shown, good)
            if made is not None:
                good.append(made)
    return Definitions.of(good)


def read_definitions(path: Path | None) -> Definitions:
    """Reads a definition file; without one there are no definitions.

    Raises:
        DefinitionFault: when it cannot be read or a line is wrong; one line that
            names the file, the line and what was expected.
    """
    if path is None:
        return NONE
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise DefinitionFault(f"{path}: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise DefinitionFault(f"{path}: is not text in UTF-8") from None
    return parse(text, str(path))


def parse(text: str, name: str = "definitions") -> Definitions:
    """Definitions from the text of a file. Raises DefinitionFault."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        where = re.search(r"\(at line (\d+), column \d+\)", str(error))
        line = where[1] if where else str(text.count("\n") + 1)
        words = str(error).split(" (at ")[0]
        raise DefinitionFault(f"{name}:{line}: {words}") from None
    places = _Places(text)
    for key in tables:
        if key != "value":
            raise DefinitionFault(
                f"{name}:{places.of_key(key)}: {key!r} is not known here; "
                "only [[value]] tables are"
            )
    rows = tables.get("value", [])
    if not isinstance(rows, list) or not rows:
        line = places.of_key("value")
        raise DefinitionFault(f"{name}:{line}: expected at least one [[value]] table")
    if len(rows) > MOST_VALUES:
        raise DefinitionFault(
            f"{name}:{places.of(MOST_VALUES)}: more than {MOST_VALUES} values"
        )
    good: list[Definition] = []
    for number, row in enumerate(rows):
        if not isinstance(row, dict):
            raise DefinitionFault(
                f"{name}:{places.of_key('value')}: entry {number + 1} of value is "
                f"{_kind(row)}, not a table: write [[value]] and its keys below"
            )
        made, fault = _row(row, good)
        if made is None:
            key, words = fault
            line = places.of(number, key)
            raise DefinitionFault(f"{name}:{line}: {key + ' ' if key else ''}{words}")
        good.append(made)
    return Definitions.of(good)


_KINDS: Final[tuple[tuple[type, str], ...]] = (
    (bool, "true or false"),
    (int, "a number"),
    (float, "a number"),
    (str, "a text"),
    (list, "a list"),
)


def _kind(value: Any) -> str:
    """What a value of the file is, in words."""
    return next((words for kind, words in _KINDS if isinstance(value, kind)), "a date")


class _Places:
    """Where tables and keys stand in a file; lines count from 1."""

    def __init__(self, text: str) -> None:
        self._lines = text.splitlines()
        self._tables = [i for i, line in enumerate(self._lines) if _TABLE.match(line)]

    def of(self, number: int, key: str = "") -> int:
        """The line of a key in a table, else of the table's heading."""
        if number >= len(self._tables):
            return self.of_key("value")
        start = self._tables[number]
        stops = [*self._tables, len(self._lines)]
        for i in range(start + 1, stops[number + 1] if key else start):
            if re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", self._lines[i]):
                return i + 1
        return start + 1

    def of_key(self, key: str) -> int:
        """The first line that begins with a key or a table's name."""
        pattern = re.compile(rf"\s*\[*\s*\"?{re.escape(key)}\b")
        for i, line in enumerate(self._lines):
            if pattern.match(line):
                return i + 1
        return 1


Check = Callable[[Any], str]
"""What is wrong with a value; empty when nothing."""


def _text(value: Any) -> str:
    good = isinstance(value, str) and value.isprintable() and len(value) <= 60
    return "" if good else "must be a text of at most 60 signs"


def _whole(low: int, high: int) -> Check:
    def check(value: Any) -> str:
        good = isinstance(value, int) and not isinstance(value, bool)
        if good and low <= value <= high:
            return ""
        return f"must be a whole number from {low} to {high}"

    return check


def _number(value: Any) -> str:
    good = isinstance(value, int | float) and not isinstance(value, bool)
    return "" if good and abs(value) < 1e9 else "must be a number"


def _name(value: Any) -> str:
    if not isinstance(value, str) or not _NAME.fullmatch(value):
        return "must be small letters, digits and _, beginning with a letter"
    if value in SIGNALS or value in DERIVED:
        return f"{value!r} is a signal of its own already"
    return ""


def _service(value: Any) -> str:
    good = value in (21, 22) and not isinstance(value, bool | float)
    return "" if good else "must be 22 or 21: nothing else is read"


def _scale(value: Any) -> str:
    fault = _number(value)
    if fault or value == 0:
        return fault or "must not be 0"
    return (
        "" if abs(value) >= LEAST_SCALE else f"must be at least {LEAST_SCALE:g} in size"
    )


def _rate(value: Any) -> str:
    fault = _number(value)
    if fault or not LEAST_RATE <= value <= MOST_RATE:
        return f"must be {LEAST_RATE:g} to {MOST_RATE:g} requests a second"
    return ""


def _header(value: Any) -> str:
    good = isinstance(value, str) and _HEADERS.fullmatch(value)
    return "" if good else 'must be "7E0" to "7E7" or "18DAxxF1"'


def _flag(value: Any) -> str:
    return "" if isinstance(value, bool) else "must be true or false"


_FIELDS: Final[dict[str, tuple[Check, bool]]] = {
    "name": (_name, True),
    "service": (_service, True),
    "id": (_text, True),
    "start": (_whole(0, 60), True),
    "length": (_whole(1, 4), True),
    "low": (_number, True),
    "high": (_number, True),
    "title": (_text, False),
    "unit": (_text, False),
    "header": (_header, False),
    "signed": (_flag, False),
    "scale": (_scale, False),
    "offset": (_number, False),
    "rate": (_rate, False),
}
"""Every key with its check, and whether it must be there."""

Fault = tuple[str, str]
"""The key that is wrong, and what was expected."""


def _row(
    table: dict[str, Any], before: Sequence[Definition]
) -> tuple[Definition | None, Fault]:
    """One value from its table, or what is wrong with it."""
    for key in table:
        if key not in _FIELDS:
            return None, (key, "is not known here")
    for key, (check, needed) in _FIELDS.items():
        if key not in table:
            if needed:
                return None, ("", f"{key} is missing")
            continue
        fault = check(table[key])
        if fault:
            return None, (key, fault)
    return _made(table, before)


def _made(
    table: dict[str, Any], before: Sequence[Definition]
) -> tuple[Definition | None, Fault]:
    """One value from a table whose keys are all right by themselves."""
    two = table["service"] == 22
    digits = 4 if two else 2
    text = table["id"].upper()
    if len(text) != digits or not _HEX.fullmatch(text):
        return None, ("id", f"must be {digits} hexadecimal digits")
    number = int(text, 16)
    if two and number in _STANDARD:
        return None, ("id", "is a standard one and read already")
    if table["low"] >= table["high"]:
        return None, ("low", "must be below high")
    kept = {**table, "service": BY_IDENTIFIER if two else BY_LOCAL, "id": number}
    kept |= {key: float(kept[key]) for key in _NUMBERS if key in kept}
    made = Definition(**kept)
    for row in before:
        if row.name == made.name:
            return None, ("name", f"{made.name!r} is there twice")
        if row.request == made.request and row.header != made.header:
            return None, ("header", f"{row.name} asks the same of another unit")
    return made, ("", "")


_NUMBERS: Final = ("low", "high", "scale", "offset", "rate")
