"""Answer lines into messages: what each control unit said, or why nobody knows.

python-OBD's `obd.protocols` assembles frames; what it lets pass is checked here: it
accepts messages whose last frames are missing, fails on some short ones, drops a good
answer that follows a refusal, and never looks at the check byte of the older protocols.
Only answers of emission-related control units count: 7E8 to 7EF, or 29-bit identifiers
addressed to a tester (ISO 15765-4, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cache, lru_cache
from typing import Any

from bankwise.adapters.python_obd import protocols
from bankwise.adapters.records import Exchange
from bankwise.adapters.troubles import Reaction, Trouble, is_hex, split_line

NEGATIVE = 0x7F
PENDING = 0x78
"""Refusal code "answer follows". Source: ISO 14229, from memory."""

_LONGEST_LINE = 64
_CAN_DIGITS, _FIRST_BYTES, _NEXT_BYTES = 16, 6, 7
"""Digits of a full CAN frame; payload bytes of a first and of each further frame."""


@dataclass(frozen=True, slots=True)
class Data:
    """A whole message of one control unit, `payload` from the service byte on.

    `ecu` is the identifier on CAN (`7E8`, `18DAF110`), else the source address
    (`10`). Older protocols give one message a frame.
    """

    ecu: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Negative:
    """A refusal (7F): the service refused and the reason code."""

    ecu: str
    service: int
    nrc: int


@dataclass(frozen=True, slots=True)
class Silent:
    """No control unit answered."""


@dataclass(frozen=True, slots=True)
class BusFault:
    """The adapter's error word: nothing in this exchange counts."""

    word: str


@dataclass(frozen=True, slots=True)
class Malformed:
    """Lines that are no message, and why."""

    why: str


Answer = Data | Negative | Silent | BusFault | Malformed


class Wire(Enum):
    """How a line is laid out. `value`: hexadecimal digits of its header."""

    CAN11 = 3
    CAN29 = 8
    OLDER = 6


@dataclass(frozen=True, slots=True)
class Line:
    """One answer line: its layout, its digits, and where it began in all lines."""

    wire: Wire
    text: str
    start: int = 0


_OLDER = frozenset("12345")
_J1850 = frozenset("12")
_CAN = frozenset("6789ABC")
_CAN11_UNITS = frozenset(f"7E{digit}" for digit in "89ABCDEF")


def protocol_digit(protocol: str) -> str:
    """The adapter's protocol number; `A6` ("automatic, found 6") gives 6."""
    return protocol.strip().upper()[-1:]


def wire_of(line: str, protocol: str) -> Wire | None:
    """How one hexadecimal line is laid out; None when it fits no protocol.

    On CAN the number of digits tells 11 from 29 bits, whatever the header says.
    """
    digit = protocol_digit(protocol)
    if digit in _OLDER:
        return Wire.OLDER if len(line) % 2 == 0 else None
    if len(line) % 2:
        return Wire.CAN11
    if digit in _CAN or line[2:6] == "DAF1":
        return Wire.CAN29
    return Wire.OLDER


@cache
def crc_table() -> tuple[int, ...]:
    """The step of the J1850 check for every value of state XOR byte."""
    table = []
    for byte in range(256):
        crc = byte
        for _ in range(8):
            crc = (crc << 1) ^ (0x11D if crc & 0x80 else 0)
        table.append(crc)
    return tuple(table)


def j1850_crc(data: bytes) -> int:
    """The check byte of SAE J1850: polynomial 1D, start FF, inverted at the end.

    Source: from memory of SAE J1850; "123456789" gives 4B in public CRC catalogues.
    """
    table = crc_table()
    crc = 0xFF
    for byte in data:
        crc = table[crc ^ byte]
    return crc ^ 0xFF


def check_holds(frame: bytes, protocol: str) -> bool:
    """Whether the last byte of an older protocol's frame is its check byte.

    J1850 has a CRC, the K-line a sum modulo 256 (from memory of ISO 9141-2 and
    ISO 14230-2). When the protocol is not known, either will do.
    """
    digit = protocol_digit(protocol)
    body, check = frame[:-1], frame[-1]
    if digit in _J1850:
        return j1850_crc(body) == check
    if digit in _OLDER:
        return sum(body) & 0xFF == check
    return check in {j1850_crc(body), sum(body) & 0xFF}


@cache
def _parser(wire: Wire) -> Any:
    """python-OBD's assembler; it keeps nothing from one call to the next."""
    kinds = {
        Wire.CAN11: protocols.ISO_15765_4_11bit_500k,
        Wire.CAN29: protocols.ISO_15765_4_29bit_500k,
        Wire.OLDER: protocols.ISO_9141_2,
    }
    return kinds[wire]([])


def answers(exchange: Exchange, protocol: str) -> list[Answer]:
    """What an exchange says, an entry a message, in the order messages began.

    Args:
        exchange: as recorded; lines may have spaces and lower-case letters.
        protocol: the adapter's protocol number; may be empty when unknown.
    """
    if exchange.e:
        return [_word(exchange.e)]
    return list(_answers(exchange.a, protocol))


@lru_cache(maxsize=1024)
def _answers(lines: tuple[str, ...], protocol: str) -> tuple[Answer, ...]:
    found: list[Answer] = []
    frames: list[Line] = []
    for text in lines:
        line = text.upper().replace(" ", "").strip()
        # No word of an adapter is made of hexadecimal digits alone.
        trouble, rest = (None, line) if is_hex(line) else split_line(line)
        if trouble is not None and trouble.reaction not in _SIDE_REMARKS:
            return (_fault(trouble),)
        if not rest:
            continue
        wire = wire_of(rest, protocol) if is_hex(rest) else None
        if wire is None or len(rest) > _LONGEST_LINE:
            found.append(Malformed("a line that is no answer"))
            continue
        frames.append(Line(wire, rest))
    found.extend(_assembled(group, protocol) for group in by_message(frames))
    return tuple(_settled(found)) or (Silent(),)


_SIDE_REMARKS = frozenset({Reaction.PROGRESS, Reaction.WARN})


def _word(word: str) -> Answer:
    trouble, _ = split_line(word.upper().replace(" ", ""))
    return BusFault(word) if trouble is None else _fault(trouble)


def _fault(trouble: Trouble) -> Answer:
    silent = trouble.reaction is Reaction.SILENT
    return Silent() if silent else BusFault(trouble.word)


def by_message(lines: Sequence[Line]) -> list[list[Line]]:
    """Lines by message: a first frame with its consecutive frames, or one alone.

    Consecutive frames belong to the message that their unit began last; those that
    come before any first frame wait for the unit's first one.
    """
    groups: list[list[Line]] = []
    open_by_unit: dict[str, list[Line]] = {}
    begun: set[str] = set()
    for line in lines:
        unit = line.text[: line.wire.value]
        kind = line.text[line.wire.value : line.wire.value + 1]
        if line.wire is Wire.OLDER or kind not in {"1", "2"}:
            if line.wire is Wire.OLDER or kind != "3":  # flow control is no answer
                groups.append([line])
            continue
        waiting = open_by_unit.get(unit)
        if waiting is None or (kind == "1" and unit in begun):
            waiting = open_by_unit[unit] = []
            groups.append(waiting)
        waiting.append(line)
        if kind == "1":
            begun.add(unit)
    return groups


def _assembled(group: Sequence[Line], protocol: str) -> Answer:
    wire, lines = group[0].wire, [line.text for line in group]
    unit = _unit(wire, lines[0])
    if unit is None:
        return Malformed("not from an emission-related control unit")
    if wire is Wire.OLDER:
        return _older(unit, lines[0], protocol)
    try:
        messages = _parser(wire)(lines)
    except IndexError:
        return Malformed("a message too short for its kind")
    if len(messages) != 1 or not messages[0].frames:
        return Malformed("frames are missing or damaged")
    message = messages[0]
    first = next((f for f in message.frames if f.data_len is not None), None)
    payload = bytes(message.data)
    declared = first.data_len if first is not None else 0
    trimmed = payload[:1] == b"\x43" and len(payload) == 2 + 2 * payload[1]
    if len(message.frames) != len(lines) or not _full(wire, lines, declared):
        return Malformed("frames are missing or damaged")
    if len(payload) != declared and not (trimmed and _all_there(message, declared)):
        return Malformed("a message shorter than it says")
    return _told(unit, payload)


def _full(wire: Wire, lines: Sequence[str], declared: int) -> bool:
    """Whether no frame but a message's last one is short.

    A consecutive frame that lost characters would shift all bytes behind it, and the
    filler of the last frame would make up for the length. Source: ISO 15765-2.
    """
    if len(lines) == 1:
        return True
    whole = wire.value + _CAN_DIGITS
    last = -(-(declared - _FIRST_BYTES) // _NEXT_BYTES) % 16
    for line in lines:
        if len(line) == whole:
            continue
        number = line[wire.value : wire.value + 2]
        if len(line) > whole or number != f"2{last:X}":
            return False
    return True


def _all_there(message: Any, declared: int) -> bool:
    """Whether the frames hold as many bytes as declared (python-OBD trims 43)."""
    room = sum(len(f.data) - 1 for f in message.frames)
    return room - (len(message.frames) > 1) >= declared


def _unit(wire: Wire, line: str) -> str | None:
    header = line[: wire.value]
    match wire:
        case Wire.CAN11:
            return header if header in _CAN11_UNITS else None
        case Wire.CAN29:
            return header if header[2:6] == "DAF1" else None
        case Wire.OLDER:
            return line[4:6]


def _older(unit: str, line: str, protocol: str) -> Answer:
    messages = _parser(Wire.OLDER)([line])
    if len(messages) != 1 or not messages[0].frames:
        return Malformed("a line of wrong length")
    if not check_holds(bytes.fromhex(line), protocol):
        return Malformed("check byte wrong")
    return _told(unit, bytes(messages[0].frames[0].data))


def _told(unit: str, payload: bytes) -> Answer:
    if payload[:1] == bytes((NEGATIVE,)):
        if len(payload) < 3:
            return Malformed("a refusal too short")
        return Negative(
            unit, payload[1], payload[-1] if len(payload) > 3 else payload[2]
        )
    return Data(unit, payload)


def _settled(found: list[Answer]) -> Iterator[Answer]:
    """Leaves out "answer follows" where the answer did follow."""
    answered = {answer.ecu for answer in found if isinstance(answer, Data)}
    for answer in found:
        pending = isinstance(answer, Negative) and answer.nrc == PENDING
        if not (pending and isinstance(answer, Negative) and answer.ecu in answered):
            yield answer
