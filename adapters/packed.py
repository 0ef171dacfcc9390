"""The bytes of a session file, plain or packed with gzip.

A packed file that was cut short gives everything that can still be unpacked: what
stands before the damage is evidence all the same.
"""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path

from bankwise.adapters.errors import SessionError

GZIP_MAGIC = b"\x1f\x8b"
"""First two bytes of a gzip member. Source: RFC 1952, 2.3.1."""

_GZIP_WINDOW = 31
"""zlib's number for "gzip header, largest window". Source: zlib manual."""


def is_packed(data: bytes) -> bool:
    """Whether the bytes are a gzip file."""
    return data.startswith(GZIP_MAGIC)


def unpack(data: bytes) -> tuple[bytes, str]:
    """The unpacked bytes, and a warning when they are not all there (else empty)."""
    parts: list[bytes] = []
    while data:
        member = zlib.decompressobj(_GZIP_WINDOW)
        try:
            parts.append(member.decompress(data))
        except zlib.error:
            return _salvage(parts, data), "the packed file is damaged"
        if not member.eof:
            return b"".join(parts), "the packed file is cut short"
        data = member.unused_data.lstrip(b"\0")
    return b"".join(parts), ""


def _salvage(parts: list[bytes], data: bytes) -> bytes:
    """What unpacks before the damage, to the byte: fed in ever smaller pieces."""
    member = zlib.decompressobj(_GZIP_WINDOW)
    start = 0
    for step in (4096, 64, 1):
        while start < len(data):
            before = member.copy()
            try:
                parts.append(member.decompress(data[start : start + step]))
            except zlib.error:
                member = before
                break
            start += step
    return b"".join(parts)


def load(path: Path) -> tuple[bytes, str]:
    """The plain bytes of a session file and a warning (empty when all is well).

    Raises:
        SessionError: when the file cannot be read at all.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise SessionError(f"{path}: no such file") from None
    except IsADirectoryError:
        raise SessionError(f"{path} is a folder, not a session file") from None
    except OSError as error:
        raise SessionError(f"{path}: {error.strerror or error}") from None
    if is_packed(data):
        return unpack(data)
    return data, ""


def pack(path: Path) -> Path:
    """Packs a finished session beside itself and removes the plain file.

    The packed copy is complete and readable before the plain file goes. The result
    does not depend on the clock: the same session packs to the same bytes.

    Raises:
        SessionError: when either file cannot be read or written.
    """
    target = path.with_name(path.name + ".gz")
    half = path.with_name(path.name + ".gz.part")
    try:
        data = path.read_bytes()
        if is_packed(data):
            raise SessionError(f"{path} is packed already")
        if target.exists():
            raise SessionError(f"{target} exists already")
        half.write_bytes(gzip.compress(data, mtime=0))
        if unpack(half.read_bytes()) != (data, ""):
            raise SessionError(f"{half} did not read back as written")
        half.replace(target)
        path.unlink()
    except OSError as error:
        half.unlink(missing_ok=True)
        raise SessionError(f"{path}: {error.strerror or error}") from None
    return target
