"""What a person adds to a finished session: notes and details of the car.

Additions are records appended after the end, sealed like the rest; nothing written
before is touched. A detail of the car counts for the whole session: readers put the
newest one over what the header says.
"""

from __future__ import annotations

import gzip
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import msgspec

from bankwise.adapters.errors import SessionError
from bankwise.adapters.packed import is_packed, load
from bankwise.adapters.records import EndRecord, Header, MarkRecord, Record
from bankwise.adapters.seals import chain_of
from bankwise.adapters.session_lines import LineReader, parse_header
from bankwise.signals.remarks import ANSWERED_TAG, NOTE_TAG, VEHICLE_TAG

VEHICLE_KEYS: Final = ("name", "vin", "note", "displacement_l", "odometer_km")
"""Details of the car that a person may give."""

_NUMBERS: Final = frozenset({"displacement_l", "odometer_km"})
_ENCODER = msgspec.json.Encoder()


def add_note(path: Path, text: str) -> None:
    """Adds a note to a finished session. Raises SessionError."""
    _append(path, [(text, NOTE_TAG)])


def add_answered(path: Path) -> None:
    """Marks that the answer of a practice was told. Raises SessionError."""
    _append(path, [("the answer was told", ANSWERED_TAG)])


def add_vehicle(path: Path, details: dict[str, str]) -> None:
    """Adds details of the car to a finished session.

    Raises:
        SessionError: when a detail has no such key or is no number where one is
            needed, or the file cannot be written.
    """
    for key, value in details.items():
        if key not in VEHICLE_KEYS:
            raise SessionError(
                f"{key!r} is no detail of a car; there are {', '.join(VEHICLE_KEYS)}"
            )
        if key in _NUMBERS and value and _number(value) is None:
            raise SessionError(f"{key} needs a number, not {value!r}")
    _append(path, [(value, VEHICLE_TAG + key) for key, value in details.items()])


def with_additions(header: Header, records: Sequence[Record]) -> Header:
    """The header with the details of the car that were added after the end."""
    vehicle: dict[str, Any] = dict(header.vehicle)
    for record in _after_end(records):
        if record.tag is not None and record.tag.startswith(VEHICLE_TAG):
            key = record.tag.removeprefix(VEHICLE_TAG)
            value = _number(record.text) if key in _NUMBERS else record.text
            if key in VEHICLE_KEYS:
                vehicle[key] = value
    if vehicle == header.vehicle:
        return header
    return msgspec.structs.replace(header, vehicle=vehicle)


def notes(records: Sequence[Record]) -> list[str]:
    """Notes on the whole session, oldest first."""
    return [r.text for r in _after_end(records) if r.tag == NOTE_TAG]


def _after_end(records: Sequence[Record]) -> list[MarkRecord]:
    """Marks after the end of the drive, in order."""
    found: list[MarkRecord] = []
    for record in reversed(records):
        if isinstance(record, EndRecord):
            return found[::-1]
        if isinstance(record, MarkRecord):
            found.append(record)
    return []


def _number(text: str) -> float | None:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if 0 < value < 1e7 else None


def _append(path: Path, marks: Sequence[tuple[str, str]]) -> None:
    """Appends marks and a seal in one write; a packed file gets one more member."""
    data, damage = load(path)
    if damage:
        raise SessionError(f"{path}: {damage}; nothing was added")
    first = data.find(b"\n") + 1
    parse_header(data[:first], str(path))
    records = LineReader().read(data[first:])
    if not any(isinstance(record, EndRecord) for record in records):
        raise SessionError(f"{path} was not closed in good order; nothing was added")
    t = records[-1].t
    chain = chain_of(data)
    lines = b"" if data.endswith(b"\n") else b"\n"
    for text, tag in marks:
        lines += _ENCODER.encode(MarkRecord(t, text, tag)) + b"\n"
    chain.add(lines)
    lines += chain.seal(t)
    try:
        with path.open("rb") as file:
            packed = is_packed(file.read(2))
        with path.open("ab") as file:
            file.write(gzip.compress(lines, mtime=0) if packed else lines)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise SessionError(f"{path}: {error.strerror or error}") from None
