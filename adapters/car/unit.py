"""A control unit: answers the services of SAE J1979 from a car's readings and memory.

What it supports is computed from the readings the car has, never listed. On CAN a
message may carry several PIDs; on the older protocols each message is one frame, with
the other layouts of services 03, 07, 0A and 09.

Source: service layouts from memory of SAE J1979 and ISO 15031-5; published
examples are tests. Not supported and addressed to everyone means silence; addressed to
one unit it is refused (from memory of ISO 15765-4 and ISO 14229).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

from bankwise.adapters.car import information
from bankwise.adapters.car.evidence import EMPTY, Evidence
from bankwise.adapters.car.framing import ENGINE, LEGACY_ROOM, Address
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.layouts import (
    BLOCK,
    bitmap,
    code_bytes,
    monitor_status,
    older_results,
    result_bytes,
)
from bankwise.adapters.pids import PIDS, Field, Layout, Pid, encode, signal_name

MOST_PIDS = 6
"""PIDs in one request on CAN. Source: from memory of SAE J1979."""

REFUSED_SERVICE, REFUSED_PART, REFUSED_NOW, REFUSED_RANGE = 0x11, 0x12, 0x22, 0x31
BUSY, PENDING = 0x21, 0x78
"""Negative response codes. Source: from memory of ISO 14229-1."""

_NEGATIVE = 0x7F
_POSITIVE = 0x40
_FIXED_PIDS = (0x01, 0x1C, 0x41)
_SECOND_CHOICE = frozenset({0x22, 0x59, 0x66, 0x67, 0x68, 0x87})
"""PIDs whose signals a lower number carries too: not offered unless asked for."""

_NOT_FROZEN = frozenset({0x01, 0x13, 0x1C, 0x1D, 0x1F, 0x41, 0x51})


class CarState(Protocol):
    """What a unit needs of a car: its readings by signal name, and two switches."""

    @property
    def readings(self) -> Mapping[str, float]:
        """What the unit believes, by signal name, only for what this car has."""
        ...

    @property
    def key_on(self) -> bool:
        """True while the ignition feeds the units."""
        ...

    @property
    def engine_running(self) -> bool:
        """True while the engine turns by itself."""
        ...

    def advance(self, t: float) -> None:
        """Brings the car to time `t`. Unit: seconds."""
        ...


@dataclass(frozen=True, slots=True)
class Reply:
    """One message of a unit, and how much later than its usual answer time it comes."""

    payload: bytes
    later_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Manners:
    """How a unit behaves when asked.

    Attributes:
        pending_s: services it first answers with 7F xx 78, and for how long.
        busy: services it refuses once as busy (7F xx 21) before each answer.
        extra_pids: PIDs offered beside those chosen by itself.
    """

    pending_s: Mapping[int, float] | None = None
    busy: frozenset[int] = frozenset()
    extra_pids: frozenset[int] = frozenset()


class ControlUnit:
    """One control unit of a car.

    Args:
        car: whose readings it reports.
        names: what it calls itself, for service 09.
        address: where it sits.
        can: True on CAN; False on the older protocols.
        layout: which places the sensor PIDs stand for.
        evidence: its memory; the default has no codes and every monitor complete.
        manners: how it behaves.
        signals: names it reports; None means all that the car has.
        standard: what PID 1C says. Source: 01 is OBD II, from memory of SAE J1979.
        maker: data bytes of a maker's own service and identifier; empty for none.
    """

    def __init__(
        self,
        car: CarState,
        names: UnitNames | None = None,
        address: Address = ENGINE,
        *,
        can: bool = True,
        layout: Layout = Layout.TWO_BANKS,
        evidence: Evidence = EMPTY,
        manners: Manners | None = None,
        signals: frozenset[str] | None = None,
        standard: int = 0x01,
        maker: Callable[[int, int], bytes] | None = None,
    ) -> None:
        self.address = address
        self.names = names or UnitNames()
        self._car = car
        self._can = can
        self._layout = layout
        self._evidence = evidence
        self._manners = manners or Manners()
        self._signals = signals
        self._standard = standard
        self._was_busy: set[int] = set()
        self._services: dict[int, Callable[[bytes], list[bytes] | int]] = {
            0x01: self._current,
            0x02: self._frozen,
            0x03: lambda data: self._codes(0x03, data),
            0x04: self._clear,
            0x06: self._tests,
            0x07: lambda data: self._codes(0x07, data),
            0x09: self._information,
            0x0A: lambda data: self._codes(0x0A, data),
        }
        if maker is not None:
            self._services[0x21] = lambda data: _maker_read(maker, 0x21, data)
            self._services[0x22] = lambda data: _maker_read(maker, 0x22, data)

    @property
    def awake(self) -> bool:
        """True while the unit has power and listens."""
        return self._car.key_on

    @property
    def evidence(self) -> Evidence:
        """The unit's memory."""
        return self._evidence

    @property
    def engine_running(self) -> bool:
        """True while the engine turns by itself."""
        return self._car.engine_running

    def data(self, number: int) -> bytes:
        """The data bytes of a PID of service 01; empty when not supported."""
        found = self._current(bytes((number,)))
        return found[0][2:] if isinstance(found, list) else b""

    def frozen_data(self, number: int, frame: int) -> bytes:
        """The data bytes of a PID in a kept freeze frame; empty when it has none."""
        found = self._frozen(bytes((number, frame)))
        return found[0][3:] if isinstance(found, list) else b""

    def answer(self, request: bytes) -> bytes | None:
        """The unit's first message to a request to everyone; None when silent."""
        replies = self.replies(request)
        return replies[0].payload if replies else None

    def replies(self, request: bytes, functional: bool = True) -> tuple[Reply, ...]:
        """All messages of the unit to one request, in sending order.

        Args:
            request: service and data, without framing.
            functional: True when every unit was asked.
        """
        if not request:
            return ()
        service = request[0]
        serve = self._services.get(service)
        found = REFUSED_SERVICE if serve is None else serve(request[1:])
        if isinstance(found, int):
            refusal = bytes((_NEGATIVE, service, found))
            told = found == REFUSED_NOW or (not functional and self._can)
            return (Reply(refusal),) if told else ()
        if not found:
            return ()
        return self._politely(service, found)

    def _politely(self, service: int, found: list[bytes]) -> tuple[Reply, ...]:
        if service in self._manners.busy and service not in self._was_busy:
            self._was_busy.add(service)
            return (Reply(bytes((_NEGATIVE, service, BUSY))),)
        self._was_busy.discard(service)
        later = (self._manners.pending_s or {}).get(service)
        if later is None:
            return tuple(Reply(payload) for payload in found)
        pending = Reply(bytes((_NEGATIVE, service, PENDING)))
        return (pending, *(Reply(payload, later) for payload in found))

    # Service 01

    def _known(self) -> Mapping[str, float]:
        readings = self._car.readings
        if self._signals is None:
            return readings
        return {k: v for k, v in readings.items() if k in self._signals}

    def supported_pids(self) -> frozenset[int]:
        """PIDs of service 01 that the unit answers, without the support bitmaps."""
        return self._offered(self._known())

    def _offered(self, readings: Mapping[str, float]) -> frozenset[int]:
        extra = self._manners.extra_pids
        return offered(frozenset(readings), self._layout, extra)

    def _pid(self, number: int, readings: Mapping[str, float]) -> bytes:
        if number in {0x01, 0x41}:
            return monitor_status(self._evidence, this_drive=number == 0x41)
        if number in {0x13, 0x1D}:
            return bytes((self._sensors_present(readings),))
        if number == 0x1C:
            return bytes((self._standard,))
        return encode(number, readings, self._layout)

    def _sensors_present(self, readings: Mapping[str, float]) -> int:
        present = 0
        for i, place in enumerate(self._layout.value):
            names = (f"o2_{place}_v", f"lambda_{place}")
            present |= any(place and name in readings for name in names) << i
        return present

    def _current(self, data: bytes) -> list[bytes] | int:
        most = MOST_PIDS if self._can else 1
        if not 1 <= len(data) <= most:
            return REFUSED_PART
        readings = self._known()
        has = self._offered(readings)
        out = bytearray((0x41,))
        for number in data:
            if number % BLOCK == 0:
                found = bitmap(number, has)
            else:
                found = self._pid(number, readings) if number in has else b""
            if found:
                out += bytes((number,)) + found
        return [bytes(out)] if len(out) > 1 else REFUSED_PART

    # Service 02

    def _frozen(self, data: bytes) -> list[bytes] | int:
        most = 3 if self._can else 1
        if not data or len(data) % 2 or len(data) > 2 * most:
            return REFUSED_PART
        frames = self._evidence.freeze_frames
        out = bytearray((0x42,))
        for number, index in zip(data[::2], data[1::2], strict=True):
            kept = frames[index] if index < len(frames) else None
            readings = kept.readings if kept else {}
            kept_pids = self._offered(readings) - _NOT_FROZEN if kept else frozenset()
            if number % BLOCK == 0:
                found = bitmap(number, kept_pids | {0x02})
            elif number == 0x02:
                found = code_bytes(kept.code) if kept else bytes(2)
            else:
                found = b""
                if number in kept_pids:
                    found = encode(number, readings, self._layout)
            if found:
                out += bytes((number, index)) + found
        return [bytes(out)] if len(out) > 1 else REFUSED_PART

    # Services 03, 07, 0A and 04

    def _codes(self, service: int, data: bytes) -> list[bytes] | int:
        if data:
            return REFUSED_PART
        evidence = self._evidence
        codes = {
            0x03: evidence.stored,
            0x07: evidence.pending,
            0x0A: evidence.permanent,
        }[service]
        head = service + _POSITIVE
        packed = b"".join(code_bytes(code) for code in codes)
        if self._can:
            return [bytes((head, len(codes))) + packed]
        room = LEGACY_ROOM - 1
        starts = range(0, max(len(packed), 1), room)
        return [
            bytes((head,)) + packed[i : i + room].ljust(room, b"\0") for i in starts
        ]

    def _clear(self, data: bytes) -> list[bytes] | int:
        if data:
            return REFUSED_PART
        if self._car.engine_running:
            return REFUSED_NOW
        self._evidence.clear()
        return [b"\x44"]

    # Service 06

    def _tests(self, data: bytes) -> list[bytes] | int:
        if len(data) != 1:
            return REFUSED_PART
        results = self._evidence.tests
        number = data[0]
        if number % BLOCK == 0:
            found = bitmap(number, {row.monitor for row in results})
            filler = b"" if self._can else b"\xff"
            return [b"\x46" + data + filler + found] if found else REFUSED_RANGE
        rows = [row for row in results if row.monitor == number]
        if not rows:
            return REFUSED_RANGE
        if not self._can:
            return [b"\x46" + piece for row in rows for piece in older_results(row)]
        return [b"\x46" + b"".join(result_bytes(row) for row in rows)]

    # Service 09

    def _information(self, data: bytes) -> list[bytes] | int:
        if len(data) != 1:
            return REFUSED_PART
        items = information.items(self.names, self._evidence.ratios)
        lay = information.messages if self._can else information.legacy_messages
        return lay(data[0], items) or REFUSED_RANGE


def _maker_read(
    maker: Callable[[int, int], bytes], service: int, data: bytes
) -> list[bytes] | int:
    """Maker-specific data by identifier; what is not known is left out."""
    width = service - 0x20
    if not data or len(data) % width:
        return REFUSED_PART
    out = bytearray((service + _POSITIVE,))
    for i in range(0, len(data), width):
        number = data[i : i + width]
        found = maker(service, int.from_bytes(number, "big"))
        out += number + found if found else b""
    return [bytes(out)] if len(out) > 1 else REFUSED_RANGE


@lru_cache(maxsize=64)
def offered(
    names: frozenset[str], layout: Layout, extra: frozenset[int]
) -> frozenset[int]:
    """The PIDs that a unit with these readings offers.

    Args:
        names: signals it has.
        layout: which places the sensor PIDs stand for.
        extra: PIDs offered although a lower number carries the same signal.
    """
    found: set[int] = set(_FIXED_PIDS)
    if any(name.startswith(("o2_", "lambda_b")) for name in names):
        found.add(0x13 if layout is Layout.TWO_BANKS else 0x1D)
    for number, pid in PIDS.items():
        if number not in _SECOND_CHOICE - extra and carries(pid, names, layout):
            found.add(number)
    return frozenset(found)


def carries(pid: Pid, names: Set[str], layout: Layout) -> bool:
    """True when the named signals hold what a PID is for."""
    named = [(field, signal_name(field, pid, layout)) for field in pid.fields]
    if not named or not all(name for _, name in named):
        return False
    needed = [name for field, name in named if _is_needed(field)]
    if needed:
        return all(name in names for name in needed)
    return any(name in names for _, name in named)


def _is_needed(field: Field) -> bool:
    one_bank_may_lack = field.signal == "fuel_status_b2"
    return field.void is None and field.bit is None and not one_bank_may_lack
