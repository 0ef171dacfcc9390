"""How a message becomes frames on the wire, for the nine protocols of a car.

CAN: ISO 15765-2 segmentation with normal addressing, padded to eight bytes. The older
protocols: three header bytes, at most seven data bytes, one check byte.

Source: the segmentation example printed for ISO 15765-2, which is a test. From memory
of ISO 15765-4, SAE J1850, ISO 9141-2 and ISO 14230-4: identifiers, header bytes and
check bytes. The outside checks compare the CAN part with can-isotp and both parts with
python-OBD's parsers.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

TESTER = 0xF1
"""Address of test equipment. Source: from memory of ISO 15765-4 and SAE J2178."""

CAN_ROOM = 8
LEGACY_ROOM = 7
_SINGLE_ROOM, _FIRST_ROOM, _NEXT_ROOM = 7, 6, 7
_LONGEST = 0xFFF


class Family(Enum):
    """Kinds of wire, which frame in the same way."""

    PWM = "J1850 PWM"
    VPW = "J1850 VPW"
    ISO9141 = "ISO 9141-2"
    KWP = "ISO 14230-4"
    CAN = "ISO 15765-4"


class Wake(Enum):
    """What has to be done before the first request."""

    NONE = "none"
    SLOW = "slow"
    FAST = "fast"


@dataclass(frozen=True, slots=True)
class Protocol:
    """One of the protocols a car may speak.

    Attributes:
        number: as the adapter numbers it, `1` to `9`.
        name: as the adapter names it.
        family: how it frames.
        bit_rate: on the wire. Unit: bits per second.
        id_bits: 11 or 29 on CAN, else 0.
        wake: initialisation of the K-line.
    """

    number: str
    name: str
    family: Family
    bit_rate: int
    id_bits: int = 0
    wake: Wake = Wake.NONE

    @property
    def can(self) -> bool:
        """True when messages are segmented after ISO 15765-2."""
        return self.family is Family.CAN

    @property
    def header(self) -> bytes:
        """The header of a request to every unit that reports emission data."""
        if self.can:
            functional = 0x18DB33F1 if self.id_bits == 29 else 0x7DF
            return functional.to_bytes(4, "big")
        return _REQUEST_HEADERS[self.family]


_REQUEST_HEADERS = {
    Family.PWM: bytes((0x61, 0x6A, TESTER)),
    Family.VPW: bytes((0x68, 0x6A, TESTER)),
    Family.ISO9141: bytes((0x68, 0x6A, TESTER)),
    Family.KWP: bytes((0xC0, 0x33, TESTER)),
}

_ANSWER_HEADERS = {
    Family.PWM: (0x41, 0x6B),
    Family.VPW: (0x48, 0x6B),
    Family.ISO9141: (0x48, 0x6B),
}

_F = Family

PROTOCOLS: dict[str, Protocol] = {
    row.number: row
    for row in (
        Protocol("1", "SAE J1850 PWM", _F.PWM, 41_600),
        Protocol("2", "SAE J1850 VPW", _F.VPW, 10_400),
        Protocol("3", "ISO 9141-2", _F.ISO9141, 10_400, wake=Wake.SLOW),
        Protocol("4", "ISO 14230-4 (KWP 5BAUD)", _F.KWP, 10_400, wake=Wake.SLOW),
        Protocol("5", "ISO 14230-4 (KWP FAST)", _F.KWP, 10_400, wake=Wake.FAST),
        Protocol("6", "ISO 15765-4 (CAN 11/500)", _F.CAN, 500_000, 11),
        Protocol("7", "ISO 15765-4 (CAN 29/500)", _F.CAN, 500_000, 29),
        Protocol("8", "ISO 15765-4 (CAN 11/250)", _F.CAN, 250_000, 11),
        Protocol("9", "ISO 15765-4 (CAN 29/250)", _F.CAN, 250_000, 29),
    )
}
"""The nine protocols of ordinary cars by the adapter's number."""


@dataclass(frozen=True, slots=True)
class Address:
    """Where a control unit sits.

    Attributes:
        slot: 0 to 7; it answers on 7E8 + slot and hears 7E0 + slot.
        node: its address on 29-bit CAN and the older protocols.
    """

    slot: int
    node: int


ENGINE = Address(0, 0x10)
TRANSMISSION = Address(1, 0x18)


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame on the wire: header, data, and the check byte where there is one.

    A CAN header is the identifier in four bytes.
    """

    header: bytes
    data: bytes
    check: bytes = b""


def crc8(data: bytes) -> int:
    """The check byte of SAE J1850: polynomial 1D, start FF, inverted at the end.

    Source: from memory of SAE J1850; "123456789" gives 4B in public CRC catalogues.
    """
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1D if crc & 0x80 else crc << 1) & 0xFF
    return crc ^ 0xFF


def byte_sum(data: bytes) -> int:
    """The check byte of the K-line protocols: the sum of all bytes, modulo 256.

    Source: from memory of ISO 9141-2 and ISO 14230-2.
    """
    return sum(data) & 0xFF


def check_byte(protocol: Protocol, data: bytes) -> int:
    """The check byte of an older protocol over header and data."""
    j1850 = protocol.family in {Family.PWM, Family.VPW}
    return crc8(data) if j1850 else byte_sum(data)


def segment(payload: bytes, pad: int | None = 0x00) -> tuple[bytes, ...]:
    """The CAN data fields of one message after ISO 15765-2.

    Args:
        payload: the message, 1 to 4095 bytes.
        pad: the filler of short frames; None leaves them short.

    Raises:
        ValueError: when the payload is empty or too long.
    """
    if not 1 <= len(payload) <= _LONGEST:
        raise ValueError("a message has 1 to 4095 bytes")
    if len(payload) <= _SINGLE_ROOM:
        fields = [bytes((len(payload),)) + payload]
    else:
        first = (0x1000 | len(payload)).to_bytes(2, "big")
        fields = [first + payload[:_FIRST_ROOM]]
        rest = range(_FIRST_ROOM, len(payload), _NEXT_ROOM)
        for number, start in enumerate(rest, start=1):
            control = bytes((0x20 | (number & 0x0F),))
            fields.append(control + payload[start : start + _NEXT_ROOM])
    if pad is None:
        return tuple(fields)
    return tuple(field.ljust(CAN_ROOM, bytes((pad,))) for field in fields)


def frames_needed(length: int) -> int:
    """How many CAN frames a message of `length` bytes takes."""
    if length <= _SINGLE_ROOM:
        return 1
    return 1 + -(-(length - _FIRST_ROOM) // _NEXT_ROOM)


def answer_header(protocol: Protocol, unit: Address, length: int) -> bytes:
    """The header of an answer with `length` data bytes."""
    if protocol.can:
        eleven = 0x7E8 + unit.slot
        identifier = 0x18DAF100 | unit.node if protocol.id_bits == 29 else eleven
        return identifier.to_bytes(4, "big")
    if protocol.family is Family.KWP:
        return bytes((0x80 | length, TESTER, unit.node))
    return bytes((*_ANSWER_HEADERS[protocol.family], unit.node))


def answer_frames(
    protocol: Protocol, unit: Address, payload: bytes, pad: int | None = 0x00
) -> tuple[Frame, ...]:
    """One message of a unit as frames, in sending order.

    Raises:
        ValueError: when the message does not fit the protocol.
    """
    if protocol.can:
        header = answer_header(protocol, unit, len(payload))
        return tuple(Frame(header, field) for field in segment(payload, pad))
    if not 1 <= len(payload) <= LEGACY_ROOM:
        raise ValueError("a frame of the older protocols has 1 to 7 data bytes")
    header = answer_header(protocol, unit, len(payload))
    check = check_byte(protocol, header + payload)
    return (Frame(header, payload, bytes((check,))),)


def hears(protocol: Protocol, header: bytes, unit: Address) -> bool:
    """True when a unit takes a request with this header for itself."""
    return functional(protocol, header) or header == _physical(protocol, header, unit)


def functional(protocol: Protocol, header: bytes) -> bool:
    """True when a request with this header goes to every unit."""
    if protocol.family is Family.KWP:
        return header[0] & 0xC0 == 0xC0 and header[1:] == protocol.header[1:]
    return header == protocol.header


def _physical(protocol: Protocol, header: bytes, unit: Address) -> bytes:
    if protocol.can:
        eleven = 0x7E0 + unit.slot
        twenty_nine = 0x18DA00F1 | unit.node << 8
        return (twenty_nine if protocol.id_bits == 29 else eleven).to_bytes(4, "big")
    return bytes((header[0], unit.node, TESTER))
