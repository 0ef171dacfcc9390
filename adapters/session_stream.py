"""A session file read piece by piece, so that hours of records need not be kept."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, Protocol

from bankwise.adapters.errors import NoHeader, SessionError
from bankwise.adapters.records import (
    AdapterInfo,
    EndRecord,
    Exchange,
    Header,
    Record,
)
from bankwise.adapters.session_additions import with_additions
from bankwise.adapters.session_lines import BOM, LineReader, parse_header

_PIECE: Final = 1 << 21
"""Bytes whose records are made at a time: a quarter of an hour of driving or more.

Larger pieces take more memory, smaller ones more time. Our choice by measurement.
"""

_LOOK: Final = 1 << 16
"""Bytes searched for an exchange where a file begins with no header."""

_BLANK: Final = b"\0 \t\r\n"
"""May stand before the header; a power cut leaves zeros."""

_HEADER_WORDS: Final = (b'\n{"k":"session"', b'\n{"k": "session"')
"""How a header begins where it is not the first line."""

_END_WORD: Final = b'"end"'
"""Stands in the record that closes a session."""


class SessionFacts(Protocol):
    """What there is to say of a session beside its records."""

    @property
    def header(self) -> Header:
        """The first line, with what was added later about the car."""
        ...

    @property
    def dropped_lines(self) -> int:
        """Lines that were no records."""
        ...

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was odd about the file, a sentence each."""
        ...


class SessionStream:
    """A session file whose records are made piece by piece, and need not be kept.

    Args:
        data: the plain bytes of the file.
        name: the file's name, for messages.
        damage: what was wrong with the packed file; empty when nothing was.

    Raises:
        SessionError: when the bytes are no session.
    """

    def __init__(self, data: bytes, name: str, damage: str = "") -> None:
        start = len(data) - len(data.removeprefix(BOM).lstrip(_BLANK))
        if start == len(data):
            raise SessionError(f"{name}: {damage}" if damage else f"{name} is empty")
        self._data = data
        self._body = data.find(b"\n", start) + 1 or len(data)
        self._odd = [damage] if damage else []
        try:
            header, odd = parse_header(data[start : self._body], name)
        except NoHeader:
            if not _holds_exchanges(data[start : start + _LOOK]):
                raise
            header, self._body = Header("", "", "", AdapterInfo()), start
            odd = ["the header is missing or damaged: car and adapter are not known"]
        self._odd += odd
        if any(data.find(word, self._body) >= 0 for word in _HEADER_WORDS):
            self._odd.append(
                "another session begins within the file: car and adapter of the first "
                "are taken for both"
            )
        self.header = with_additions(header, _after_drive(data, name))
        self._half = 0
        self._reader = LineReader(name=name)

    @property
    def dropped_lines(self) -> int:
        """Lines so far that were no records."""
        return self._reader.dropped + self._half

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was odd about the file so far, a sentence each."""
        found = list(self._odd)
        if self._half:
            found.append("the last line is only half written and was dropped")
        if count := self._reader.dropped:
            found.append(
                "1 line is no record and was skipped"
                if count == 1
                else f"{count} lines are no records and were skipped"
            )
        return (*found, *self._reader.warnings())

    def pieces(self, size: int = _PIECE) -> Iterator[list[Record]]:
        """The records in order, those of `size` bytes at a time. To be called once."""
        data, start = self._data, self._body
        whole = max(data.rfind(b"\n") + 1, start)
        while start < whole:
            stop = data.find(b"\n", start + size, whole) + 1 or whole
            yield self._reader.read(data[start:stop])
            start = stop
        if whole < len(data):
            tail = LineReader()
            if not tail.read(data[whole:]) or tail.dropped:
                self._half = 1
            else:
                yield self._reader.read(data[whole:])
        del data
        self._data = b""  # tens of megabytes that judging the drive can use


def _holds_exchanges(data: bytes) -> bool:
    return any(isinstance(record, Exchange) for record in LineReader().read(data))


def _after_drive(data: bytes, name: str) -> list[Record]:
    """The end of the drive and what a person added after it; else nothing."""
    stop = len(data)
    while (at := data.rfind(_END_WORD, 0, stop)) >= 0:
        start = data.rfind(b"\n", 0, at) + 1
        line = data[start : data.find(b"\n", at) + 1 or len(data)]
        if any(isinstance(record, EndRecord) for record in LineReader().read(line)):
            return LineReader(name=name).read(data[start:])
        stop = start
    return []
