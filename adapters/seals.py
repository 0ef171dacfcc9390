"""Seals: a chain of hashes through a session file, written and checked.

A seal is SHA-256 over the digest of the seal before it (32 bytes; none before the
first) followed by every byte from the end of that seal's line to the start of its own.
A header with `"sealing":1` promises that seals carry the time of the record before them
and count up from 1, written one way only: then no byte of a sealed file can change
unseen. Files of others are held to the chain alone, in any plain reading of it.

What a chain of hashes cannot do: who holds the file can rewrite all of it, seals
included. A seal noted elsewhere, on the printed report for one, is what proves a file.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Final

import msgspec

from bankwise.adapters.errors import SessionError
from bankwise.adapters.packed import load
from bankwise.adapters.records import EndRecord, Header, SealRecord
from bankwise.adapters.session_lines import parse_header

SEAL_EVERY_S: Final = 10.0
"""Longest stretch of recording without a seal. Unit: seconds. Source: the format."""

_ENCODER = msgspec.json.Encoder()


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read the format's sentence on seals; the default is this program's.

    Attributes:
        hexadecimal: the digest goes on as 64 characters, not as 32 bytes.
        inclusive: the seal's own line belongs to the bytes since it.
        first: what stands for the digest before the first seal.
    """

    hexadecimal: bool = False
    inclusive: bool = False
    first: bytes = b""


_READINGS = tuple(
    Reading(hexadecimal, inclusive, first)
    for first in (b"", bytes(32), b"0" * 64)
    for hexadecimal in (False, True)
    for inclusive in (False, True)
)


class Chain:
    """The running hash: feed it what is written, ask it for the next seal."""

    __slots__ = ("_hash", "_reading", "last", "n")

    def __init__(
        self, last: bytes = b"", n: int = 0, reading: Reading | None = None
    ) -> None:
        self._reading = reading or Reading()
        self._hash = hashlib.sha256(last or self._reading.first)
        self.last = last
        """Digest of the newest seal, empty before the first."""
        self.n = n
        """How many seals there are."""

    def add(self, data: bytes) -> None:
        """Counts bytes in that are no seal."""
        self._hash.update(data)

    def seal(self, t: float) -> bytes:
        """The line of the next seal. `t`: time of the record before it."""
        self.last = self._hash.digest()
        self.n += 1
        hexadecimal = self._reading.hexadecimal
        self._hash = hashlib.sha256(
            self.last.hex().encode() if hexadecimal else self.last
        )
        return seal_line(SealRecord(t=t, n=self.n, sha256=self.last.hex()))

    def after(self, line: bytes) -> None:
        """Passes the line of a seal as it stands in the file."""
        if self._reading.inclusive:
            self._hash.update(line)


def seal_line(record: SealRecord) -> bytes:
    """A seal exactly as this program writes it."""
    return _ENCODER.encode(record) + b"\n"


def chain_of(data: bytes) -> Chain:
    """The chain as it stands at the end of a session's plain bytes, to go on with."""
    chain = Chain()
    for line in _lines(data):
        seal = _as_seal(line) if line.endswith(b"\n") else None
        if seal is None:
            chain.add(line)
            continue
        try:
            digest = bytes.fromhex(seal.sha256)
        except ValueError:
            chain.add(line)
        else:
            chain = Chain(digest, chain.n + 1)
    return chain


class State(Enum):
    """What the seals of a file say."""

    WHOLE = "whole"
    CUT_SHORT = "cut short"
    ALTERED = "altered"
    UNSEALED = "never sealed"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a check of the seals found.

    Attributes:
        state: whole, cut short, altered or never sealed.
        text: the same in one plain sentence.
        first_line, last_line: where it is altered or cut short, lines counted from
            1; both None when whole. A seal covers some seconds of lines, so an
            alteration is located between two seals.
        seals: how many seals hold, from the start of the file.
        last_seal: the newest seal that holds, hexadecimal; empty when there is none.
        sealed_s: session time of that seal. Unit: seconds.
    """

    state: State
    text: str
    first_line: int | None = None
    last_line: int | None = None
    seals: int = 0
    last_seal: str = ""
    sealed_s: float | None = None


@dataclass(slots=True)
class _Walk:
    """Where the check stands, line by line."""

    own: bool
    chain: Chain
    seals: int = 0
    last_seal: str = ""
    sealed_s: float | None = None
    sealed_line: int = 0
    line: int = 0
    last_t: float = 0.0
    ended: bool = False

    def altered(self, first: int, last: int) -> Verdict:
        where = f"at line {first}"
        if last > first:
            where += f" or after it, up to line {last}"
        return self._verdict(State.ALTERED, f"altered {where}", first, last)

    def cut(self, why: str) -> Verdict:
        first = self.sealed_line + 1
        text = f"cut short at line {max(self.line, first)}: {why}"
        return self._verdict(State.CUT_SHORT, text, first, max(self.line, first))

    def whole(self) -> Verdict:
        return self._verdict(State.WHOLE, "whole: every seal holds", None, None)

    def _verdict(
        self, state: State, text: str, first: int | None, last: int | None
    ) -> Verdict:
        return Verdict(
            state,
            text,
            first,
            last,
            self.seals,
            self.last_seal,
            self.sealed_s,
        )


def verify(path: Path) -> Verdict:
    """Checks the seals of a session file, plain or packed.

    Raises:
        SessionError: when the file cannot be read or is not a session.
    """
    data, damage = load(path)
    verdict = verify_bytes(data, str(path))
    if damage and verdict.state is State.WHOLE:
        return Verdict(State.CUT_SHORT, f"cut short: {damage}", seals=verdict.seals)
    return verdict


def verify_bytes(data: bytes, name: str) -> Verdict:
    """Checks the seals in the plain bytes of a session file.

    Raises:
        SessionError: when the bytes are no session at all.
    """
    if not data.strip():
        raise SessionError(f"{name} is empty")
    lines = list(_lines(data))
    own = _own(lines[0], name, sealed=b'"seal"' in data)
    verdict = _walk(lines, own, _READINGS[0])
    if own or verdict.state is not State.ALTERED:
        return verdict
    others = (_walk(lines, own, reading) for reading in _READINGS[1:])
    return next((v for v in others if v.state is not State.ALTERED), verdict)


def _walk(lines: list[bytes], own: bool, reading: Reading) -> Verdict:
    walk = _Walk(own, Chain(reading=reading))
    for line in lines:
        walk.line += 1
        if not line.endswith(b"\n"):
            return walk.cut("the last line is not whole")
        seal = _as_seal(line)
        if seal is None:
            walk.chain.add(line)
            _note(walk, line)
            continue
        problem = _check(walk, seal, line)
        if problem is not None:
            return problem
    return _at_end(walk)


def _own(header: bytes, name: str, *, sealed: bool) -> bool:
    """Whether the header promises strict seals; a broken header promises it too."""
    try:
        parsed: Header = parse_header(header, name)[0]
    except SessionError:
        if sealed:
            return True
        raise
    return parsed.sealing == 1


def _check(walk: _Walk, seal: SealRecord, line: bytes) -> Verdict | None:
    """Sets the walk past a seal that holds, or says where it is broken."""
    expected = walk.chain.seal(seal.t)
    digest = walk.chain.last.hex()
    broken = seal.sha256.lower() != digest
    if walk.own:
        broken |= line != expected or seal.t != walk.last_t
    if broken:
        return walk.altered(walk.sealed_line + 1, walk.line)
    walk.chain.after(line)
    walk.seals, walk.last_seal = walk.chain.n, digest
    walk.sealed_s, walk.sealed_line = seal.t, walk.line
    return None


def _at_end(walk: _Walk) -> Verdict:
    if walk.seals == 0:
        text = "never sealed: nothing can be said about it"
        return Verdict(State.UNSEALED, text)
    if walk.sealed_line < walk.line:
        return walk.cut(f"nothing is sealed after line {walk.sealed_line}")
    if not walk.ended:
        return walk.cut("the session was not closed in good order")
    return walk.whole()


def _lines(data: bytes) -> Iterator[bytes]:
    """Lines with their endings."""
    start = 0
    while start < len(data):
        stop = data.find(b"\n", start) + 1 or len(data)
        yield data[start:stop]
        start = stop


def _as_seal(line: bytes) -> SealRecord | None:
    if b"seal" not in line:
        return None
    try:
        return msgspec.json.decode(line, type=SealRecord)
    except (msgspec.MsgspecError, UnicodeDecodeError):
        return None


class _Moment(msgspec.Struct):
    """The two keys of a record that the check needs."""

    k: str = ""
    t: float = 0.0


_MOMENTS = msgspec.json.Decoder(_Moment)
_END_KIND = str(EndRecord.__struct_config__.tag)


def _note(walk: _Walk, line: bytes) -> None:
    """Remembers the time and kind of a line; an unreadable one is left to its seal."""
    try:
        moment = _MOMENTS.decode(line)
    except (msgspec.MsgspecError, UnicodeDecodeError):
        return
    walk.last_t = max(walk.last_t, moment.t)
    walk.ended |= moment.k == _END_KIND
