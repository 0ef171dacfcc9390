"""Exchanges of one shape as one matrix.

Exchanges with the same request and the same line lengths nearly always differ in their
data bytes only. A plan, made from one exchange that was read frame by frame, says which
digits must be the same (headers, frame control, service, PIDs, padding inside a
message) and where the data bytes of each PID stand. Rows that keep to the plan decode
together; every other row goes back to the frame parser.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
import numpy.typing as npt

from bankwise.adapters.asked import Asked, Piece, walk
from bankwise.adapters.frames import (
    Answer,
    Data,
    Line,
    Wire,
    by_message,
    crc_table,
    protocol_digit,
    wire_of,
)
from bankwise.adapters.troubles import is_hex
from bankwise.signals.columns import Bools

Digits = npt.NDArray[np.uint8]
Places = npt.NDArray[np.intp]

_NO_DIGIT = 0xFF


def _digit_table() -> Digits:
    table = np.full(256, _NO_DIGIT, dtype=np.uint8)
    for sign in "0123456789abcdefABCDEF":
        table[ord(sign)] = int(sign, 16)
    return table


_DIGITS = _digit_table()
_CRC_STEP = np.array(crc_table(), dtype=np.uint8)
_K_LINE, _J1850 = frozenset("345"), frozenset("12")


@dataclass(frozen=True, slots=True)
class Plan:
    """How to read all exchanges of one shape.

    Attributes:
        places: digits that must not differ, and `digits` their values.
        data: per control unit and PID, the first digit of each data byte.
        checked: per line with a check byte, its first digit and its bytes.
        protocol: the adapter's protocol digit, which names the kind of check byte.
    """

    places: Places
    digits: Digits
    data: dict[str, dict[int, Places]]
    checked: tuple[tuple[int, int], ...]
    protocol: str

    def matches(self, rows: Digits) -> Bools:
        """Which rows keep to the plan. `rows`: digits, shape (n, width)."""
        good: Bools = (rows != _NO_DIGIT).all(axis=1)
        good &= (rows[:, self.places] == self.digits).all(axis=1)
        for start, size in self.checked:
            line = _bytes_at(rows, start + 2 * np.arange(size))
            good &= _checks(line, self.protocol)
        return good

    def bytes_of(self, unit: str, pid: int, rows: Digits) -> Digits:
        """The data bytes of one PID over all rows, shape (n, length)."""
        return _bytes_at(rows, self.data[unit][pid])


def digits_of(lines: Sequence[tuple[str, ...]], width: int) -> Digits | None:
    """Answer lines as digits, shape (n, width); None when a line is no ASCII."""
    try:
        text = "".join(chain.from_iterable(lines)).encode("ascii")
    except UnicodeEncodeError:
        return None
    raw = np.frombuffer(text, dtype=np.uint8).reshape(len(lines), width)
    return _DIGITS[raw]


def plan(
    lines: tuple[str, ...], request: Asked, told: Sequence[Answer], protocol: str
) -> Plan | None:
    """A plan out of one exchange, or None when it is too odd to stand for others.

    Args:
        lines: its answer lines.
        request: what it asked for.
        told: what the frame parser made of the lines.
        protocol: the adapter's protocol number.
    """
    frames = list(_frames(lines, protocol))
    if len(frames) != len(lines) or not all(isinstance(a, Data) for a in told):
        return None
    text = "".join(lines).upper()
    free = np.zeros(len(text), dtype=np.bool_)
    data: dict[str, dict[int, Places]] = {}
    messages = [answer for answer in told if isinstance(answer, Data)]
    for group in by_message(frames):
        layout = _payload_places(group)
        if layout is None:
            return None
        places, padding = layout
        payload = _payload(text, places)
        answer = next((m for m in messages if m.payload == payload), None)
        if answer is None:
            continue  # "answer follows": it must stay as it is
        messages.remove(answer)
        pieces = walk(payload, request)
        mine = data.setdefault(answer.ecu, {})
        if pieces is None or any(piece.pid in mine for piece in pieces):
            return None
        _set_free(free, padding)
        for piece in pieces:
            mine[piece.pid] = _piece_places(places, piece)
            _set_free(free, mine[piece.pid])
    if messages or not data:
        return None
    checked = tuple(
        (line.start, len(line.text) // 2) for line in frames if line.wire is Wire.OLDER
    )
    for start, size in checked:
        _set_free(free, np.array([start + 2 * size - 2], dtype=np.intp))
    fixed = np.flatnonzero(~free)
    digits = _DIGITS[np.frombuffer(text.encode("ascii"), dtype=np.uint8)][fixed]
    return Plan(fixed, digits, data, checked, protocol_digit(protocol))


def _frames(lines: tuple[str, ...], protocol: str) -> Iterator[Line]:
    """The lines with their places in the joined text; stops at an odd one."""
    start = 0
    for line in lines:
        text = line.upper()
        wire = wire_of(text, protocol) if is_hex(text) else None
        if wire is None:
            return
        yield Line(wire, text, start)
        start += len(line)


def _payload_places(group: Sequence[Line]) -> tuple[Places, Places] | None:
    """First digits of a message's bytes in order, and of the padding after it."""
    first = group[0]
    header, stop = first.wire.value, first.start + len(first.text)
    if first.wire is Wire.OLDER:
        return _every_byte(first.start + header, stop - 2), _NONE
    kind = first.text[header : header + 1]
    if kind == "0":
        size = int(first.text[header + 1], 16)
        places = _every_byte(first.start + header + 2, stop)
    elif kind == "1":
        size = int(first.text[header + 1 : header + 4], 16)
        parts = [_every_byte(first.start + header + 4, stop)]
        for number, line in enumerate(group[1:], start=1):
            if line.text[header : header + 2] != f"2{number & 0xF:X}":
                return None
            end = line.start + len(line.text)
            parts.append(_every_byte(line.start + header + 2, end))
        places = np.concatenate(parts)
    else:
        return None
    return places[:size], places[size:]


_NONE = np.empty(0, dtype=np.intp)


def _every_byte(start: int, stop: int) -> Places:
    return np.arange(start, stop - 1, 2, dtype=np.intp)


def _payload(text: str, places: Places) -> bytes:
    return bytes.fromhex("".join(text[p : p + 2] for p in places))


def _piece_places(places: Places, piece: Piece) -> Places:
    return places[piece.start : piece.start + piece.length]


def _set_free(free: Bools, places: Places) -> None:
    free[places] = True
    free[places + 1] = True


def _bytes_at(rows: Digits, places: Places) -> Digits:
    high = np.left_shift(rows[:, places], 4)
    return np.bitwise_or(high, rows[:, places + 1])


def _checks(line: Digits, protocol: str) -> Bools:
    """Whether the last byte of each row is its check byte; as `check_holds`."""
    body, check = line[:, :-1], line[:, -1]
    sums: Bools = body.sum(axis=1, dtype=np.uint8) == check
    if protocol in _K_LINE:
        return sums
    crc = np.full(len(line), 0xFF, dtype=np.uint8)
    for column in body.T:
        crc = _CRC_STEP[crc ^ column]
    crcs: Bools = (crc ^ 0xFF) == check
    return crcs if protocol in _J1850 else crcs | sums
