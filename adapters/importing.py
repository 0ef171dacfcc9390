"""A table from elsewhere becomes an ordinary session.

Each fresh value is encoded into the bytes of its standard PID and recorded as the
answer of one control unit, so everything that reads sessions reads imports too. What a
PID carries beside the imported value is marked as absent in the header and never shown.
The interval of rows is the uncertainty of every value's time.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import numpy as np

from bankwise.adapters.car.framing import segment
from bankwise.adapters.control_units import BITMAPS
from bankwise.adapters.errors import ImportFault
from bankwise.adapters.import_doubts import doubts
from bankwise.adapters.import_map import CLOCK, ImportMap, read_map
from bankwise.adapters.import_table import Table, read_table
from bankwise.adapters.pids import PIDS, Layout, decode_one, encode, signals_of
from bankwise.adapters.records import (
    AdapterInfo,
    Exchange,
    Header,
    LinkRecord,
    Record,
)
from bankwise.adapters.session_file import SessionWriter
from bankwise.signals.columns import Floats

ADAPTER_NAME: Final = "imported"
"""How an import names its adapter. Source: the session format."""

_MOST_PIDS = 6
"""PIDs in one request on CAN. Source: SAE J1979, from memory."""

_UNIT = "7E8"
_CAN = "6"
_LAYOUT = Layout.TWO_BANKS
UNDATED: Final = "undated"
"""Key of a header's vehicle: when it was driven is not known, only when imported."""

_EPOCH_TOLD_S = 631_152_000.0
"""A later time counts from 1970, an earlier one from the start of a drive. Unit: s.
Source: our choice, because no car told these values before 1990."""

_CLIPPED_SHARE = 0.01
"""A value this far from what its PID carries was clipped. Source: our choice."""


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import made.

    Attributes:
        samples: fresh values by signal.
        stale: repeats left out by signal.
        seconds: length of the session. Unit: seconds.
        gaps: holes in the table. Unit: seconds.
        warnings: what was odd, a sentence each.
    """

    samples: dict[str, int]
    stale: dict[str, int]
    seconds: float
    gaps: tuple[tuple[float, float], ...]
    warnings: tuple[str, ...]


def import_csv(table: Path, how: Path, out: Path) -> Imported:
    """Makes a session file out of a table and its map.

    Raises:
        ImportFault: when table or map cannot be used, or the file cannot be written.
    """
    rules = read_map(how)
    read = read_table(table, rules)
    if not any(len(series.rows) for series in read.series):
        raise ImportFault(f"{table}: no mapped column holds a single value")
    made = session_of(read, rules, table.name)
    writer = SessionWriter(out, made.header)
    for record in made.records:
        writer.write(record)
    writer.close()
    if writer.error is not None:
        raise ImportFault(f"{out}: {writer.error}")
    return Imported(
        {series.signal: len(series.rows) for series in read.series},
        {series.signal: series.stale for series in read.series},
        float(read.t[-1]),
        read.gaps,
        tuple(_warnings(read, made.clipped)),
    )


@dataclass(frozen=True, slots=True)
class Made:
    """A session made of a table. `clipped`: values out of their PID's range."""

    header: Header
    records: list[Record]
    clipped: dict[str, int]


def session_of(table: Table, how: ImportMap, name: str) -> Made:
    """The session of a table.

    Raises:
        ImportFault: when no standard PID carries one of the signals.
    """
    homes = _homes({one.signal: one.values for one in table.series})
    carried = {s for pid in homes.values() for s in signals_of(pid, _LAYOUT)}
    vehicle: dict[str, Any] = dict(how.vehicle)
    absent = sorted(carried - homes.keys())
    if absent:
        vehicle["absent"] = absent
    began = _began(table, how)
    if began is None:
        vehicle[UNDATED] = True
    header = Header(
        str(uuid.uuid4()),
        (began or datetime.now(UTC)).isoformat(timespec="seconds"),
        f"bankwise {version('bankwise')}",
        AdapterInfo(f"{ADAPTER_NAME} from {name}", _CAN),
        vehicle,
    )
    clipped: dict[str, int] = defaultdict(int)
    records: list[Record] = [LinkRecord(0.0, "up")]
    records += [_exchange(0.0, 0.0, data) for data in _support(set(homes.values()))]
    records += _rows(table, homes, clipped)
    records += [LinkRecord(first, "lost", "no rows") for first, _ in table.gaps]
    records += [LinkRecord(last, "back") for _, last in table.gaps]
    records.append(LinkRecord(float(table.t[-1]) + table.step_s, "closed"))
    records.sort(key=lambda record: record.t)
    return Made(header, records, dict(clipped))


def _began(table: Table, how: ImportMap) -> datetime | None:
    """When the table says it begins; None when its times count from nowhere known."""
    if how.time_unit == CLOCK or table.began < _EPOCH_TOLD_S:
        return None
    try:
        return datetime.fromtimestamp(table.began, UTC)
    except (OverflowError, ValueError, OSError):
        return None


def _homes(signals: Mapping[str, Floats]) -> dict[str, int]:
    """The PID for each signal: one that reaches its values, and most of the others."""
    homes: dict[str, int] = {}
    for signal, values in sorted(signals.items()):
        fits = [n for n in PIDS if signal in signals_of(n, _LAYOUT)]
        if not fits:
            raise ImportFault(f"no standard PID carries {signal}")
        top = float(values.max()) if len(values) else 0.0
        shared = {n: len(signals.keys() & signals_of(n, _LAYOUT)) for n in fits}
        reached = {n: top <= _reach(n, signal) for n in fits}
        homes[signal] = max(fits, key=lambda n: (reached[n], shared[n], -n))
    return homes


def _reach(pid: int, signal: str) -> float:
    """The highest value of a signal that a PID can carry."""
    named = zip(PIDS[pid].fields, signals_of(pid, _LAYOUT), strict=True)
    field = next(field for field, name in named if name == signal)
    width, signed = field.kind.value
    highest = 2 ** (8 * width - signed) - 1
    return float(highest * field.scale + field.offset)


def _support(pids: set[int]) -> Iterator[dict[int, bytes]]:
    """Support bitmaps that name exactly the imported PIDs, range by range."""
    for base in sorted(BITMAPS):
        later = any(pid > base + 0x20 for pid in pids)
        named = {pid for pid in pids if base < pid <= base + 0x20}
        if later and base + 0x20 in PIDS:
            named.add(base + 0x20)
        bits = sum(1 << (base + 32 - pid) for pid in named)
        yield {base: bits.to_bytes(4, "big")}
        if not later:
            return


def _rows(
    table: Table, homes: Mapping[str, int], clipped: dict[str, int]
) -> Iterator[Record]:
    by_row: dict[int, dict[int, dict[str, float]]] = defaultdict(dict)
    for series in table.series:
        pid = homes[series.signal]
        pairs = zip(series.rows.tolist(), series.values.tolist(), strict=True)
        for row, value in pairs:
            by_row[row].setdefault(pid, {})[series.signal] = value
    latest: dict[str, float] = {}
    for row in sorted(by_row):
        data: dict[int, bytes] = {}
        for pid, values in sorted(by_row[row].items()):
            latest |= values
            held = {s: latest[s] for s in _must_be_told(pid) if s in latest}
            data[pid] = encode(pid, held | values, _LAYOUT)
            _count_clipped(pid, data[pid], values, clipped)
        t = float(table.t[row])
        numbers = list(data)
        for start in range(0, len(numbers), _MOST_PIDS):
            some = {n: data[n] for n in numbers[start : start + _MOST_PIDS]}
            yield _exchange(t, table.blur_s, some)


def _must_be_told(pid: int) -> list[str]:
    """Signals of a PID whose bytes always count, having no word for "no value"."""
    row = PIDS[pid]
    named = zip(row.fields, signals_of(pid, _LAYOUT), strict=True)
    return [s for field, s in named if field.void is None and field.bit is None]


def _count_clipped(
    pid: int, data: bytes, values: Mapping[str, float], clipped: dict[str, int]
) -> None:
    carried = decode_one(pid, data, _LAYOUT)
    named = zip(PIDS[pid].fields, signals_of(pid, _LAYOUT), strict=True)
    scales = {signal: field.scale for field, signal in named}
    for signal, value in values.items():
        off = abs(carried.get(signal, np.inf) - value)
        if off > max(scales[signal], _CLIPPED_SHARE * abs(value)):
            clipped[signal] += 1


def _exchange(t: float, d: float, data: Mapping[int, bytes]) -> Exchange:
    payload = b"\x41" + b"".join(bytes((pid,)) + data[pid] for pid in data)
    lines = tuple(_UNIT + part.hex().upper() for part in segment(payload))
    text = "01" + "".join(f"{pid:02X}" for pid in data)
    return Exchange(t, text, lines, d)


def _warnings(table: Table, clipped: Mapping[str, int]) -> Iterator[str]:
    yield from table.told
    for series in table.series:
        if not len(series.rows):
            yield f"{series.signal}: no value in the whole column"
        if series.unreadable:
            yield f"{series.signal}: {series.unreadable} cells hold no number"
    yield from doubts(table.series)
    for signal, count in clipped.items():
        yield f"{signal}: {count} values lie outside what its PID can carry"
