"""Start-up: from an open link to a vehicle that answers, without a single sleep.

Every step is an exchange that may fail alone; each is read to its prompt. What the
vehicle supports is asked for, so that it stands in the session like any other answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from bankwise.adapters.adapter import COMMAND_S, RESTART_S, SEARCH_S, Adapter, Asked
from bankwise.adapters.current_data import (
    BY_IDENTIFIER,
    PLAIN,
    RANGES,
    Way,
    bitmap,
)
from bankwise.adapters.errors import NoAdapter
from bankwise.adapters.frames import Data, answers, check_holds
from bankwise.adapters.pids import Layout
from bankwise.adapters.records import Exchange
from bankwise.adapters.troubles import is_hex
from bankwise.adapters.vehicle_info import VIN, item, text

SETTINGS: Final = ("ATE0", "ATL0", "ATS0", "ATH1", "ATAT1")
"""Echo off, line feeds off, spaces off, headers on, adaptive timing."""
CAN: Final = frozenset("6789A")
"""Protocol numbers that are ISO 15765-4."""
VIN_BY_IDENTIFIER: Final = "22F802"
"""Source: SAE J1979-2, from memory: F8xx as information type xx."""
_VIN_TRIES: Final = 2
"""A long answer is the likeliest to lose a frame. Our choice."""
_VIN_ANSWER: Final = b"\x62\xf8\x02"
_UDS_PROTOCOLS: Final = ("6", "7")
"""Protocols on which SAE J1979-2 is tried: CAN at 500 kbit/s, 11 and 29 bits."""
PROTOCOLS: Final = frozenset("123456789A")
_OLDER_HEADERS: Final = (("1", "416B"), ("2", "486B"), ("3", "486B"), ("5", "8"))
_SHORTEST_OLDER: Final = 10
"""Digits of three header bytes, one of data and a check byte."""
HEADERS_OFF: Final = "the adapter hides headers: its answers cannot be told apart"
"""Said of an adapter that accepts the setting and does not obey."""
_DEAF: Final = "the vehicle does not answer"
_FOUR_BANKS_PID: Final = 0x1D
_ASKED_ONCE: Final = (0x13, 0x1D, 0x1C, 0x51, 0x4F, 0x50)


@dataclass(slots=True)
class Found:
    """What start-up learned, filled in step by step.

    Attributes:
        name: what the adapter calls itself.
        way: how the vehicle is asked for current data.
        protocol: the adapter's protocol number, empty until a vehicle answered.
        voltage: supply voltage at the socket as the adapter said it, or empty.
        units: supported PIDs of service 01 by control unit.
        data: data bytes of the PIDs asked once, by PID.
        vin: or None when the vehicle does not tell it.
        refused: settings that the adapter did not accept.
    """

    name: str = ""
    way: Way = PLAIN
    protocol: str = ""
    voltage: str = ""
    units: dict[str, frozenset[int]] = field(default_factory=dict)
    data: dict[int, bytes] = field(default_factory=dict)
    vin: str | None = None
    refused: list[str] = field(default_factory=list)

    @property
    def can(self) -> bool:
        """Whether the vehicle speaks CAN."""
        return self.protocol in CAN

    @property
    def supported(self) -> frozenset[int]:
        """PIDs that at least one unit supports."""
        return frozenset().union(*self.units.values())

    @property
    def layout(self) -> Layout:
        """Where the sensor PIDs sit: PID 1D announces four banks."""
        if _FOUR_BANKS_PID in self.supported and 0x13 not in self.supported:
            return Layout.FOUR_BANKS
        return Layout.TWO_BANKS


def protocol_of(lines: Sequence[str]) -> str:
    """The protocol number that answer lines show; empty when they show none.

    For adapters that do not tell. The bus speed of CAN does not show in a line; 500
    kbit/s is by far the commoner. Header bytes from memory of the standards.
    """
    for line in lines:
        if not is_hex(line):
            continue
        if len(line) % 2 and line.startswith("7E"):
            return "6"
        if line.startswith("18DAF1"):
            return "7"
        if len(line) % 2 or len(line) < _SHORTEST_OLDER:
            continue
        for number, start in _OLDER_HEADERS:
            if line.startswith(start) and check_holds(bytes.fromhex(line), number):
                return number
    return ""


def payloads(asked: Asked, protocol: str) -> list[tuple[str, bytes]]:
    """Unit and payload of every good answer in an exchange."""
    if not asked.ok:
        return []
    return [
        (answer.ecu, answer.payload)
        for answer in answers(asked.exchange, protocol)
        if isinstance(answer, Data)
    ]


class StartUp:
    """The steps, each an exchange; what they teach stands in `found`."""

    def __init__(
        self, adapter: Adapter, tell: Callable[[str], None], *, faulted: bool = False
    ) -> None:
        """Takes an adapter and a place for plain words about progress.

        `faulted`: the adapter met a fault that blocks its search until it forgets it.
        """
        self._faulted = faulted
        self._adapter = adapter
        self._tell = tell
        self._seen: tuple[str, ...] = ()
        self.found = Found()

    def adapter_steps(self) -> Iterator[Exchange]:
        """Wakes the adapter and sets it up.

        Raises:
            NoAdapter: nothing answered like an adapter.
            LinkError: the link is gone.
        """
        self._tell("waking the adapter")
        if not self._adapter.resync() and not self._adapter.resync():
            raise NoAdapter(f"nothing answers like an adapter at {self._link_name}")
        for command in ("ATWS", "ATZ"):
            asked = self._adapter.ask(command, RESTART_S)
            yield asked.exchange
            if asked.reply.lines and asked.reply.trouble is None:
                break
        for command in (*(("ATFE",) if self._faulted else ()), *SETTINGS):
            yield from self._setting(command)
        asked = self._adapter.ask("ATI", COMMAND_S)
        self.found.name = asked.text
        yield asked.exchange
        asked = self._adapter.ask("ATRV", COMMAND_S)
        if asked.ok:
            self.found.voltage = asked.text
        yield asked.exchange

    @property
    def _link_name(self) -> str:
        return self._adapter.link.name

    def _setting(self, command: str) -> Iterator[Exchange]:
        asked = self._adapter.ask(command, COMMAND_S)
        if not asked.reply.finished:
            self._adapter.resync()
        if not asked.ok:
            self.found.refused.append(command)
        yield asked.exchange

    def bus_steps(self, remembered: str = "") -> Iterator[Exchange]:
        """Finds the protocol; `found.units` stays empty when no vehicle answers.

        Args:
            remembered: the protocol number of an earlier connection, tried first.
        """
        self._tell("looking for the vehicle's protocol")
        yield from self._setting(f"ATTPA{remembered}" if remembered else "ATTP0")
        yield from self.support_steps(SEARCH_S)
        if self.found.units:
            number = self._adapter.ask("ATDPN", COMMAND_S)
            yield number.exchange
            told = number.text.upper().removeprefix("A")[:1] if number.ok else ""
            known = told in PROTOCOLS
            self.found.protocol = told if known else protocol_of(self._seen)
            return
        # A vehicle that knows only SAE J1979-2 is silent to what a search asks.
        for protocol in _UDS_PROTOCOLS:
            yield from self._setting(f"ATTP{protocol}")
            self.found.way, self.found.protocol = BY_IDENTIFIER, protocol
            yield from self.support_steps()
            if self.found.units:
                return
        self.found.way, self.found.protocol = PLAIN, ""

    def support_steps(self, deadline: float | None = None) -> Iterator[Exchange]:
        """Asks for the first support answer; `found.units` stays empty without one."""
        asked = self._adapter.ask(self.found.way.request([0x00]), deadline)
        yield asked.exchange
        self._back_in_step(asked)
        self._support(asked, 0x00)
        self._seen = asked.exchange.a
        if not self.found.units:
            trouble = asked.reply.trouble
            self._tell(HEADERS_OFF if asked.ok else trouble.text if trouble else _DEAF)

    def vehicle_steps(self) -> Iterator[Exchange]:
        """Asks what the vehicle supports and who it is."""
        self._tell("asking what this car can tell")
        for base in RANGES[1:]:
            if base not in self.found.supported:
                break
            asked = self._adapter.ask(self.found.way.request([base]))
            yield asked.exchange
            self._support(asked, base)
            self._back_in_step(asked)
        for pid in _ASKED_ONCE:
            if pid in self.found.supported:
                asked = self._adapter.ask(self.found.way.request([pid]))
                yield asked.exchange
                for _, payload in payloads(asked, self.found.protocol):
                    start = self.found.way.answered(pid)
                    if payload.startswith(start):
                        self.found.data.setdefault(pid, payload[len(start) :])
                self._back_in_step(asked)
        plain = self.found.way is PLAIN
        for _ in range(_VIN_TRIES):
            asked = self._adapter.ask("0902" if plain else VIN_BY_IDENTIFIER)
            yield asked.exchange
            self._read_vin(asked)
            self._back_in_step(asked)
            if self.found.vin is not None:
                return

    def _back_in_step(self, asked: Asked) -> None:
        if not asked.reply.finished:
            self._adapter.resync()

    def _support(self, asked: Asked, base: int) -> None:
        for unit, payload in payloads(asked, self.found.protocol):
            start = self.found.way.answered(base)
            data = payload[len(start) :]
            if payload.startswith(start) and len(data) >= 4:
                known = self.found.units.get(unit, frozenset())
                self.found.units[unit] = known | bitmap(base, data[:4])

    def _read_vin(self, asked: Asked) -> None:
        by_unit: dict[str, list[bytes]] = {}
        for unit, payload in payloads(asked, self.found.protocol):
            if payload[:3] == _VIN_ANSWER and len(text(payload[3:])) == 17:
                self.found.vin = text(payload[3:])
                return
            by_unit.setdefault(unit, []).append(payload)
        for unit_payloads in by_unit.values():
            found = item(unit_payloads, counted=self.found.can)
            if found is not None and found[0] == VIN and len(text(found[1])) == 17:
                self.found.vin = text(found[1])
                return
