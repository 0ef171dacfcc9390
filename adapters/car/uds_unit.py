"""A control unit of a car of 2027: OBDonUDS, SAE J1979-2 over ISO 14229-1.

It answers services 22, 19 and 14 only, from the same readings and memory as the unit
inside it; services 01 to 0A get no answer.

Source: the record layouts of service 19, subfunctions 42 and 55,
are checked against udsoncan. From memory of SAE J1979-2 and not tried on a car: F4xx as
PID xx, F6xx, F8xx without a count of items, F810, the group 33, the refusals. The
standard's own layout of F501 is not at hand: the four bytes of PID 01 stand in, which
is our choice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bankwise.adapters.car import information
from bankwise.adapters.car.framing import Address
from bankwise.adapters.car.layouts import BLOCK, bitmap, code_bytes, result_bytes
from bankwise.adapters.car.unit import (
    REFUSED_NOW,
    REFUSED_PART,
    REFUSED_RANGE,
    REFUSED_SERVICE,
    ControlUnit,
    Reply,
)

OBD_GROUP = 0x33
"""Functional group of emission-related systems. Source: from memory of ISO 14229-1."""

PROTOCOL_IS_UDS = 0x01
"""What F810 says of a J1979-2 unit. Source: from memory of SAE J1979-2."""

FORMAT_J2012 = 0x04
"""Code format identifier of SAE J2012-DA. Source: as udsoncan names it."""

FAILED, PENDING_BIT, CONFIRMED_BIT, LAMP_BIT = 0x01, 0x04, 0x08, 0x80
"""Bits of a code's status. Source: from memory of ISO 14229-1."""

SEVERITY = 0x02
"""Severity byte of every code: class 1. Source: our choice within J1979-2's classes."""

_STATUS_KNOWN = FAILED | PENDING_BIT | CONFIRMED_BIT | LAMP_BIT
_SEVERITY_KNOWN = 0x1E
_WRONG_LENGTH = 0x13
_TOO_MANY = 6
_DATA, _ON_DRIVE, _RESULTS, _INFO = 0xF4, 0xF5, 0xF6, 0xF8

_Found = bytes | int


class UdsUnit:
    """A unit that speaks SAE J1979-2. `inner`: whose readings and memory it gives."""

    def __init__(self, inner: ControlUnit) -> None:
        self._inner = inner
        self._services: dict[int, Callable[[bytes], _Found]] = {
            0x22: self._read,
            0x19: self._codes,
            0x14: self._clear,
        }
        self._reports: dict[int, Callable[[bytes], _Found]] = {
            0x04: self._snapshot,
            0x42: self._by_mask,
            0x55: self._permanent,
        }

    @property
    def address(self) -> Address:
        """Where it sits."""
        return self._inner.address

    @property
    def awake(self) -> bool:
        """True while the unit has power and listens."""
        return self._inner.awake

    def replies(self, request: bytes, functional: bool = True) -> tuple[Reply, ...]:
        """All messages of the unit to one request; as `ControlUnit.replies`."""
        if not request:
            return ()
        service = request[0]
        serve = self._services.get(service)
        found: _Found = REFUSED_SERVICE if serve is None else serve(request[1:])
        if isinstance(found, bytes):
            return (Reply(found),)
        if functional and found != REFUSED_NOW:
            return ()
        return (Reply(bytes((0x7F, service, found))),)

    # Service 22

    def _read(self, data: bytes) -> _Found:
        if not data or len(data) % 2 or len(data) > 2 * _TOO_MANY:
            return _WRONG_LENGTH
        out = bytearray((0x62,))
        for i in range(0, len(data), 2):
            found = self._item(data[i], data[i + 1])
            if found:
                out += data[i : i + 2] + found
        return bytes(out) if len(out) > 1 else REFUSED_RANGE

    def _item(self, block: int, number: int) -> bytes:
        inner = self._inner
        if block == _DATA:
            return inner.data(number)
        if block == _ON_DRIVE:
            return inner.data(0x01) if number == 0x01 else b""
        if block == _RESULTS:
            return self._results(number)
        if block == _INFO:
            return self._information(number)
        return b""

    def _results(self, number: int) -> bytes:
        rows = self._inner.evidence.tests
        if number % BLOCK == 0:
            return bitmap(number, {row.monitor for row in rows})
        return b"".join(result_bytes(r)[1:] for r in rows if r.monitor == number)

    def _information(self, number: int) -> bytes:
        found = information.items(self._inner.names, self._inner.evidence.ratios)
        if number == 0x00:
            return bitmap(0, {*found, 0x10})
        if number == 0x10:
            return bytes((PROTOCOL_IS_UDS,))
        return b"".join(found.get(number, ()))

    # Service 19

    def _codes(self, data: bytes) -> _Found:
        report = self._reports.get(data[0]) if data else None
        return REFUSED_PART if report is None else report(data[1:])

    def status(self, code: str) -> int:
        """The status byte of a code the unit remembers."""
        memory = self._inner.evidence
        confirmed = code in memory.stored
        bits = CONFIRMED_BIT * confirmed | PENDING_BIT * (code in memory.pending)
        bits |= FAILED * (code in memory.pending)
        return bits | LAMP_BIT * (memory.lamp and confirmed)

    def _records(self, codes: Sequence[str]) -> bytes:
        return b"".join(
            bytes((SEVERITY,)) + three_bytes(code) + bytes((self.status(code),))
            for code in codes
        )

    def _by_mask(self, data: bytes) -> _Found:
        if len(data) != 3:
            return _WRONG_LENGTH
        group, status, severity = data
        if group != OBD_GROUP:
            return REFUSED_RANGE
        memory = self._inner.evidence
        every = dict.fromkeys([*memory.stored, *memory.pending])
        chosen = [c for c in every if self.status(c) & status and SEVERITY & severity]
        head = (0x59, 0x42, group, _STATUS_KNOWN, _SEVERITY_KNOWN, FORMAT_J2012)
        return bytes(head) + self._records(chosen)

    def _permanent(self, data: bytes) -> _Found:
        if len(data) != 1:
            return _WRONG_LENGTH
        if data[0] != OBD_GROUP:
            return REFUSED_RANGE
        head = bytes((0x59, 0x55, OBD_GROUP, _STATUS_KNOWN, FORMAT_J2012))
        return head + self._records(self._inner.evidence.permanent)

    def _snapshot(self, data: bytes) -> _Found:
        if len(data) != 4:
            return _WRONG_LENGTH
        code, wanted = data[:3], data[3]
        memory = self._inner.evidence
        known = [c for c in (*memory.stored, *memory.pending) if three_bytes(c) == code]
        if not known:
            return REFUSED_RANGE
        out = bytearray(b"\x59\x04" + code + bytes((self.status(known[0]),)))
        for index, frame in enumerate(memory.freeze_frames):
            if frame.code == known[0] and wanted in (index, 0xFF):
                out += bytes((index,)) + self._frozen_items(index)
        return bytes(out)

    def _frozen_items(self, index: int) -> bytes:
        items = [
            bytes((_DATA, number)) + data
            for number in range(0x03, 0x100)
            if number % BLOCK and (data := self._inner.frozen_data(number, index))
        ]
        return bytes((len(items),)) + b"".join(items)

    # Service 14

    def _clear(self, data: bytes) -> _Found:
        if len(data) != 3:
            return _WRONG_LENGTH
        if data != bytes((0xFF, 0xFF, OBD_GROUP)):
            return REFUSED_RANGE
        if self._inner.engine_running:
            return REFUSED_NOW
        self._inner.evidence.clear()
        return b"\x54"


def three_bytes(code: str) -> bytes:
    """A code in the three-byte form of SAE J2012-DA.

    The third byte is the failure type; 00 says nothing more. A text such as `P0171-11`
    carries one. Source: from memory of SAE J2012-DA.

    Raises:
        ValueError: when the text is not a code.
    """
    base, _, failure = code.partition("-")
    return code_bytes(base) + bytes((int(failure or "00", 16),))
