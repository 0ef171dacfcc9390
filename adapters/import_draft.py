"""A first map for a table: what its column names and first rows suggest.

A suggestion only: it is written for a person to read and mend, never used unread. What
no column name tells is left out and listed.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from bankwise.adapters.errors import ImportFault
from bankwise.adapters.import_map import TIME_UNITS
from bankwise.adapters.import_table import read_rows, read_text
from bankwise.adapters.import_units import conversion, plain_unit
from bankwise.signals.catalogue import SIGNALS

_LOOKED_AT = 20
"""Lines in which the one with the column names is looked for."""
_EPOCH_MS = 1e11
"""A larger number is a time in milliseconds since 1970. Source: our choice."""

_PLACES: Final = (
    re.compile(r"\bb(?:ank)? ?(\d)[ ,]*s(?:ens|ensor)? ?(\d)\b"),
    re.compile(r"\bo2s?(\d)(\d)\b"),
    re.compile(r"\bs(?:ens|ensor) ?(\d)[ ,]*b(?:ank)? ?(\d)\b"),
)
_BANK: Final = re.compile(r"\bb(?:ank)? ?([12])|(?:trim|ft|status) ?([12])\b")

_SHORT, _LONG = r"short.*trim|stft|shrtft", r"long.*trim|ltft|longft"
_NAMES: Final = (
    (_SHORT, "stft_{b}_pct"),
    (_LONG, "ltft_{b}_pct"),
    (r"fuel (sys\w* )?(status|loop)", "fuel_status_{b}"),
    (r"(command|cmd|target).*(equiv|lambda)", "lambda_cmd"),
    (r"catalyst.*temp|\bcat\w* temp", "cat_{s}_c"),
    (r"oxygen|\bo2|lambda|equiv|\bego\b|\bafr\b", "{sensor}"),
    (r"coolant|\bect\b", "ect_c"),
    (r"oil.*temp", "oil_c"),
    (r"intake.*temp|\biat\b|charge air temp", "iat_c"),
    (r"ambient|outside|\boat\b", "ambient_c"),
    (r"baro", "baro_kpa"),
    (r"rail", "fuel_rail_kpa"),
    (r"manifold|\bmap\b|intake.*press", "map_kpa"),
    (r"mass.*(air|flow)|air ?flow|air.*flow rate|\bmaf\b", "maf_gps"),
    (r"abs\w* (engine )?load", "abs_load_pct"),
    (r"load", "load_pct"),
    (r"\brpm\b|engine speed|rev(s|olutions)\b", "rpm"),
    (r"(vehicle|road|car).*speed|\bspeed\b|\bvss\b", "speed_kmh"),
    (r"rel\w* throttle", "throttle_rel_pct"),
    (r"(command|cmd)\w* throttle", "throttle_cmd_pct"),
    (r"throttle|\btps?\b", "throttle_pct"),
    (r"pedal", "pedal_pct"),
    (r"timing|(ignition|spark).*advance", "timing_deg"),
    (r"(module|control|battery|system).*volt", "module_v"),
    (r"purge", "purge_pct"),
    (r"egr", "egr_pct"),
    (r"fuel.*level", "fuel_level_pct"),
    (r"fuel.*rate", "fuel_rate_lph"),
    (r"fuel.*pressure", "fuel_pressure_kpa"),
    (r"ethanol", "ethanol_pct"),
    (r"(run|engine).*time", "run_s"),
)
"""What the trade calls a signal in a column's name; the first that fits counts."""

_TIME: Final = re.compile(r"time|date|second|clock|elapsed|\bt(_s)?\b", re.IGNORECASE)
_DRIVES: Final = re.compile(r"trip|drive|veh|car|session|\bvin\b|id$", re.IGNORECASE)
_NAME_HEADS: Final = {"signal", "pid", "name", "parameter", "sensor", "channel"}
_VALUE_HEADS: Final = {"value", "reading"}


@dataclass(frozen=True, slots=True)
class Guess:
    """What a column's name suggests: the signal and the unit, or None of either."""

    column: str
    signal: str | None
    unit: str | None


def guess(column: str) -> Guess:
    """What a column holds, by its name alone."""
    if column in SIGNALS:
        return Guess(column, column, None)
    found = re.search(r"[\[(]([^\])]*)[\])]\s*$", column)
    unit = found[1].strip() if found else None
    words = re.sub(r"[^a-z0-9]+", " ", column.casefold()).strip()
    for pattern, template in _NAMES:
        if re.search(pattern, words):
            signal = _placed(template, words, unit)
            return Guess(column, signal if signal in SIGNALS else None, unit)
    return Guess(column, None, unit)


def _placed(template: str, words: str, unit: str | None) -> str:
    place, bank = "b1s1", "b1"
    for i, pattern in enumerate(_PLACES):
        if found := pattern.search(words):
            one, two = found.groups() if i < 2 else found.groups()[::-1]
            place, bank = f"b{one}s{two}", f"b{one}"
            break
    else:
        if template == "{sensor}":
            return ""
        if found := _BANK.search(words):
            bank = f"b{found[1] or found[2]}"
            place = f"{bank}s1"
    if template != "{sensor}":
        return template.format(b=bank, s=place)
    plain = plain_unit(unit or "")
    if plain == "ma":
        return f"o2_{place}_ma"
    if plain in {"lambda", "λ", "afr"} or re.search("lambda|equiv|afr|ratio", words):
        return f"lambda_{place}"
    return f"o2_{place}_trim_pct" if "trim" in words else f"o2_{place}_v"


def draft(path: Path) -> str:
    """The text of a map for a table.

    Raises:
        ImportFault: when it cannot be read or nothing in it looks like a time.
    """
    skip = _lines_before(path)
    names, rows = read_rows(path, None, skip)
    heads = {name.casefold(): name for name in reversed(names)}
    name_head = next((heads[h] for h in heads if h in _NAME_HEADS), "")
    value_head = next((heads[h] for h in heads if h in _VALUE_HEADS), "")
    time = next((name for name in names if _TIME.search(name)), None)
    if time is None:
        raise ImportFault(f"{path}: no column looks like a time: {', '.join(names)}")
    long = bool(name_head and value_head)
    columns = [name for name in names if name != time]
    if long:
        at = names.index(name_head)
        columns = list(dict.fromkeys(r[at].strip() for r in rows if at < len(r)))
    lines = [
        f"# A suggestion for {path.name}, from its column names: read it, mend it.",
        *_time_lines(time, names.index(time), rows),
        *_table_lines(rows, skip, (name_head, value_head) if long else ()),
        *_choice_lines(names, rows),
        *_signal_lines(columns),
    ]
    return "\n".join(lines) + "\n"


def _lines_before(path: Path) -> int:
    """How many lines stand before the one with the column names."""
    lines = read_text(path).split("\n", _LOOKED_AT)[:_LOOKED_AT]
    counts = [max(line.count(sign) for sign in ",;\t|") for line in lines]
    return counts.index(max(counts))


def _first(rows: list[list[str]], at: int) -> str:
    return next((row[at].strip() for row in rows if at < len(row) and row[at]), "")


def _time_lines(time: str, at: int, rows: list[list[str]]) -> Iterator[str]:
    cell = _first(rows, at)
    yield "[time]"
    yield f"column = {_text(time)}"
    found = re.search(r"[\[(]\s*(ms|us|s|min)\s*[\])]", time)
    try:
        big = float(cell) > _EPOCH_MS
    except ValueError:
        yield f"unit = {_text(_written(cell))}"
        if _written(cell) == "date" and not _standard(cell):
            yield f'format = "%Y-%m-%d %H:%M:%S"  # as in {cell!r}: mend it'
    else:
        unit = found[1] if found else "ms" if big else "s"
        yield f"unit = {_text(unit)}  # {', '.join(TIME_UNITS)}"


def _written(cell: str) -> str:
    return "date" if re.search(r"\d[-/.]\d+[-/.]\d|T\d", cell) else "clock"


def _standard(cell: str) -> bool:
    try:
        datetime.fromisoformat(cell)
    except ValueError:
        return False
    return True


def _table_lines(
    rows: list[list[str]], skip: int, long: tuple[str, ...]
) -> Iterator[str]:
    lines = []
    cells = [cell.strip() for row in rows[:_LOOKED_AT] for cell in row]
    if any(re.fullmatch(r"-?\d+,\d+", cell) for cell in cells):
        lines.append('decimal = ","')
    if skip:
        lines.append(f"skip_lines = {skip}")
    if long:
        lines += [f"names = {_text(long[0])}", f"values = {_text(long[1])}"]
    if lines:
        yield from ("", "[table]", *lines)


def _choice_lines(names: list[str], rows: list[list[str]]) -> Iterator[str]:
    """How to take one drive out of many, when columns tell them apart."""
    wanted = {
        name: _first(rows, at)
        for at, name in enumerate(names)
        if _DRIVES.search(name) and len({row[at] for row in rows if at < len(row)}) > 1
    }
    if wanted:
        pairs = ", ".join(f"{_text(k)} = {_text(v)}" for k, v in wanted.items())
        yield f"# Several drives? In [table]: only = {{ {pairs} }}"


def _signal_lines(columns: list[str]) -> Iterator[str]:
    taken: set[str] = set()
    left = []
    for one in map(guess, columns):
        if one.signal is None or one.signal in taken:
            left.append(one.column)
            continue
        taken.add(one.signal)
        yield from ("", f"[signals.{one.signal}]", f"column = {_text(one.column)}")
        if one.unit and conversion(one.unit, SIGNALS[one.signal].unit):
            yield f"unit = {_text(one.unit)}"
        elif one.unit:
            yield f"# unit: {one.unit} is not known here; use scale and offset"
        elif SIGNALS[one.signal].unit and one.column != one.signal:
            yield f"# unit = {_text(SIGNALS[one.signal].unit)}  # not told: check it"
    if left:
        yield from ("", "# Not used:", *(f"#   {column}" for column in left))


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False)
