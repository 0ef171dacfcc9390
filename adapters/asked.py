"""What a request asks for, and where an answer's values stand.

Service 22 with identifiers F400 to F4FF reads the same data with the same scaling as
the PIDs 00 to FF of service 01 (SAE J1979-2, from memory), so both give PIDs here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from bankwise.adapters.pids import PIDS
from bankwise.adapters.troubles import is_hex

ANSWER_BIT: Final = 0x40
"""An answer's service byte is the request's with this bit. Source: SAE J1979."""

_CURRENT, _BY_IDENTIFIER = 0x01, 0x22
_PIDS_BLOCK = 0xF4


@dataclass(frozen=True, slots=True)
class Asked:
    """A request to the vehicle.

    Attributes:
        service: its service byte.
        pids: PIDs of current data asked for; empty for other services.
        width: bytes of an identifier in the answer: 1, or 2 for service 22.
        text: the request in capitals, without an expected-answer digit.
    """

    service: int
    pids: tuple[int, ...]
    width: int
    text: str


@dataclass(frozen=True, slots=True)
class Piece:
    """One PID's place in a payload: data from `start`, `length` bytes."""

    pid: int
    start: int
    length: int


@lru_cache(maxsize=4096)
def asked(request: str) -> Asked | None:
    """What a recorded request asks for; None when it is not for the vehicle."""
    text = request.upper().replace(" ", "")
    if len(text) % 2:
        text = text[:-1]
    if len(text) < 2 or not is_hex(text):
        return None
    raw = bytes.fromhex(text)
    service, rest = raw[0], raw[1:]
    if service == _CURRENT:
        return Asked(service, tuple(rest), 1, text)
    pids: tuple[int, ...] = ()
    if service == _BY_IDENTIFIER and len(rest) % 2 == 0:
        blocks = rest[::2]
        if all(block == _PIDS_BLOCK for block in blocks):
            pids = tuple(rest[1::2])
        return Asked(service, pids, 2, text)
    return Asked(service, pids, 1, text)


def walk(payload: bytes, request: Asked) -> tuple[Piece, ...] | None:
    """The pieces of one message of current data, in answer order.

    None when the service differs, a PID was not asked for or comes twice, a length is
    unknown or wrong. Zeros after the last PID are allowed: units pad with them.
    """
    if not payload or payload[0] != request.service | ANSWER_BIT:
        return None
    pieces: list[Piece] = []
    seen: set[int] = set()
    at, width, size = 1, request.width, len(payload)
    while at < size:
        pid = payload[at + width - 1] if at + width <= size else -1
        foreign = pid not in request.pids or pid in seen
        if width == 2 and payload[at] != _PIDS_BLOCK:
            foreign = True
        if foreign:
            padding = bool(pieces) and not any(payload[at:])
            return tuple(pieces) if padding else None
        row = PIDS.get(pid)
        if row is None or at + width + row.length > size:
            return None
        pieces.append(Piece(pid, at + width, row.length))
        seen.add(pid)
        at += width + row.length
    return tuple(pieces) or None
