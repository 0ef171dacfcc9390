"""The session file: written append-only, read whole, or followed while it grows.

Writing. Each record is one `write` to the operating system, so a killed program loses
at most the record it was about to write. Against a power cut each seal, every ten
seconds, is followed by an fsync in a thread of its own: a slow disk must not delay the
next request to the car. Closing waits for its fsync. A disk that is full or gone ends
the recording, never the drive: `error` says why, in words.

No write ever touches earlier bytes.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import msgspec

from bankwise.adapters.errors import SessionError
from bankwise.adapters.packed import is_packed, load
from bankwise.adapters.records import EndRecord, Exchange, Header, Other, Record
from bankwise.adapters.seals import SEAL_EVERY_S, Chain
from bankwise.adapters.session_lines import LineReader, parse_header
from bankwise.adapters.session_stream import SessionStream

_ENCODER = msgspec.json.Encoder()
_DIGITS = 4
"""Times are kept to 0.1 ms. Source: the format."""


class SessionWriter:
    """Appends records to a new session file and seals them.

    Never raises for what a disk does: `error` tells, and further records are dropped.
    Not for use by several threads at once.

    Args:
        path: the file to make; an existing one is never touched.
        header: its first line.
        durable: whether seals are followed by an fsync.
    """

    def __init__(self, path: Path, header: Header, *, durable: bool = True) -> None:
        self.path = path
        self.error: str | None = None
        """Why nothing is recorded any more, in words; None while all is well."""
        self.size = 0
        """Bytes written so far."""
        self.sealed_t: float | None = None
        """Session time of the newest seal, None before the first."""
        self._chain = Chain()
        self._durable = durable
        self._last_t = 0.0
        self._seal_from = 0.0
        self._fd: int | None = None
        self._syncing: threading.Thread | None = None
        try:
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND
            flags |= getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
            self._fd = os.open(path, flags, 0o644)
        except OSError as error:
            self._fail(error)
        promised = msgspec.structs.replace(header, sealing=1)
        self._put(_ENCODER.encode(promised) + b"\n")

    @property
    def last_seal(self) -> str:
        """The newest seal, hexadecimal; empty before the first."""
        return self._chain.last.hex()

    def write(self, record: Record) -> None:
        """Appends one record, and a seal when ten seconds are over.

        A time before the last record's becomes that record's time.
        """
        if self._fd is None:
            return
        t = max(round(record.t, _DIGITS), self._last_t)
        if t - self._seal_from >= SEAL_EVERY_S and self._last_t > self._seal_from:
            self._seal()
        self._last_t = t
        self._put(encoded(record, t))
        if t - self._seal_from >= SEAL_EVERY_S:
            self._seal()

    def close(self, t: float | None = None) -> None:
        """Ends the session in good order: the end record, a seal, an fsync."""
        if self._fd is None:
            return
        self.write(EndRecord(t=self._last_t if t is None else t))
        self._seal(wait=True)
        self._release()

    def abandon(self) -> None:
        """Lets go of the file as it is, without end and seal."""
        self._release()

    def _seal(self, *, wait: bool = False) -> None:
        if self._fd is None:
            return
        written = self._put(self._chain.seal(self._last_t), covered=False)
        self._seal_from = self._last_t
        if not written:
            return
        self.sealed_t = self._last_t
        if not self._durable:
            return
        if wait:
            self._sync()
        elif self._syncing is None or not self._syncing.is_alive():
            self._syncing = threading.Thread(target=self._sync, daemon=True)
            self._syncing.start()

    def _sync(self) -> None:
        fd = self._fd
        if fd is None:
            return
        try:
            os.fsync(fd)
        except OSError as error:
            self.error = self.error or _words(error)

    def _put(self, line: bytes, *, covered: bool = True) -> bool:
        if self.error is not None:
            self._release()
        if self._fd is None:
            return False
        try:
            rest = memoryview(line)
            while rest:
                done = os.write(self._fd, rest)
                self.size += done
                rest = rest[done:]
        except OSError as error:
            self._fail(error)
            return False
        if covered:
            self._chain.add(line)
        return True

    def _fail(self, error: OSError) -> None:
        self.error = _words(error)
        self._release()

    def _release(self) -> None:
        if self._syncing is not None:
            self._syncing.join()
            self._syncing = None
        fd, self._fd = self._fd, None
        if fd is not None:
            try:
                os.close(fd)
            except OSError as error:
                self.error = self.error or _words(error)


def encoded(record: Record, t: float) -> bytes:
    """One record as its line, at the given time; numbers to 0.1 ms."""
    if isinstance(record, Other):
        return record.raw + b"\n"
    if record.t != t:
        record = msgspec.structs.replace(record, t=t)
    if isinstance(record, Exchange) and round(record.d, _DIGITS) != record.d:
        record = msgspec.structs.replace(record, d=round(record.d, _DIGITS))
    return _ENCODER.encode(record) + b"\n"


def _words(error: OSError) -> str:
    return error.strerror or str(error)


@dataclass(frozen=True, slots=True)
class Session:
    """A session as read.

    Attributes:
        header: the first line.
        records: everything after it, in order; `t` never goes back.
        dropped_lines: lines that were no records.
        warnings: what was odd about the file, a sentence each.
    """

    header: Header
    records: list[Record]
    dropped_lines: int
    warnings: tuple[str, ...]

    def pieces(self) -> Iterator[list[Record]]:
        """All records at once, as a stream gives them piece by piece."""
        yield self.records


def open_session(path: Path | str) -> SessionStream:
    """Opens a session file, plain or packed, to be read piece by piece.

    Raises:
        SessionError: when it cannot be read or is not a session.
    """
    path = Path(path)
    data, damage = load(path)
    return SessionStream(data, str(path), damage)


def read_session(path: Path | str) -> Session:
    """Reads a whole session file, plain or packed.

    Raises:
        SessionError: when it cannot be read or is not a session.
    """
    return _whole(open_session(path))


def parse_session(data: bytes, name: str) -> Session:
    """A session out of the plain bytes of its file.

    Raises:
        SessionError: when the bytes are no session.
    """
    return _whole(SessionStream(data, name))


def _whole(stream: SessionStream) -> Session:
    records = [record for piece in stream.pieces() for record in piece]
    return Session(stream.header, records, stream.dropped_lines, stream.warnings)


class SessionTail:
    """Follows a plain session file that is still being written.

    `read` gives the records that were completed since the last call; a half line
    waits for its other half. `header` is None until the first line is there.
    """

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        self.header: Header | None = None
        self._offset = 0
        self._rest = b""
        self._reader = LineReader()

    @property
    def dropped_lines(self) -> int:
        """Lines so far that were no records."""
        return self._reader.dropped

    def read(self) -> list[Record]:
        """Records completed since the last call; empty when there are none.

        Raises:
            SessionError: when the file cannot be read or is not a session.
        """
        try:
            with self.path.open("rb") as file:
                file.seek(self._offset)
                fresh = file.read()
        except OSError as error:
            raise SessionError(f"{self.path}: {_words(error)}") from None
        if self._offset == 0 and is_packed(fresh):
            raise SessionError(f"{self.path} is packed: it does not grow any more")
        self._offset += len(fresh)
        data = self._rest + fresh
        stop = data.rfind(b"\n") + 1
        self._rest = data[stop:]
        if self.header is None:
            start = data.find(b"\n") + 1
            if start == 0:
                return []
            self.header, _ = parse_header(data[:start], str(self.path))
            return self._reader.read(data[start:stop])
        return self._reader.read(data[:stop])
