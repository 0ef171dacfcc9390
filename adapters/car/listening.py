"""The adapter's bus side: finding the protocol, and how long it listens.

Source: adapter data sheets for the timeout, the frame digit and the keep-alive of the
K-line. From memory and not tried on hardware: the order and pace of a search, the words
for a wrong protocol, how the adaptive wait shrinks.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from bankwise.adapters.car.bus import Arrival, CarBus
from bankwise.adapters.car.framing import PROTOCOLS, Frame, Protocol, Wake
from bankwise.adapters.car.quirks import Mishap, Quirks
from bankwise.adapters.car.settings import Settings, request_header
from bankwise.adapters.car.timing import wake_s

_PENDING_S = 5.0
"""Patience after 7F xx 78. Source: from memory of ISO 14229-2 (P2* server)."""

_ADAPTIVE = {1: 2.5, 2: 1.5}
"""Wait as a multiple of the slowest recent answer. Source: our choice, because no data
sheet says how far the wait shrinks."""

_IDLE_S = 5.0
"""The K-line falls asleep after this. Source: adapter data sheets."""

_SEARCH_S = 0.25
"""Time spent on each protocol in a search. Source: our choice."""

_K_LINE = "345"
_J1850 = "12"
_CAN = "6789"
_SAME_SPEED = {"6": "67", "7": "67", "8": "89", "9": "89"}

Said = tuple[float, str, bool]
"""When, what, and whether a line end follows."""


@dataclass(frozen=True, slots=True)
class Joined:
    """The outcome of connecting to a bus.

    Attributes:
        protocol: spoken from now on; None when it failed.
        t: when it was over. Unit: seconds.
        failure: the error word.
        said: progress words.
    """

    protocol: Protocol | None
    t: float
    failure: str = ""
    said: tuple[Said, ...] = ()


class Listener:
    """What the adapter knows of the bus.

    Attributes:
        found: the protocol in use; None before the first answer.
        can_blocked: a CAN search fails until a proper reset.
    """

    def __init__(self, bus: CarBus, quirks: Quirks) -> None:
        self.found: Protocol | None = None
        self.can_blocked = False
        self._bus = bus
        self._quirks = quirks
        self._heard: list[Arrival] = []
        self._underway: list[Arrival] = []
        self._recent: deque[float] = deque(maxlen=8)
        self._last_bus = -math.inf

    def close(self) -> None:
        """Closes the protocol: the next request connects again."""
        self.found = None
        self._recent.clear()

    def reset(self) -> None:
        """Forgets everything, as after power-on."""
        self.close()
        self.can_blocked = False

    def interrupt(self, t: float) -> None:
        """Stops listening at `t`; what arrives later is stale in the next request."""
        self._heard = [arrival for arrival in self._underway if arrival.t > t]

    def listen(
        self,
        settings: Settings,
        protocol: Protocol,
        data: bytes,
        wanted: int | None,
        t: float,
    ) -> tuple[float, list[Arrival]]:
        """Sends a request at `t` and listens as long as the settings say.

        Args:
            settings: timeout, adaptive timing, header and filter.
            protocol: what is spoken.
            data: service and its data.
            wanted: frames after which to stop; None waits for silence.
            t: when.

        Returns the moment at which listening ended, and the frames heard.
        """
        late = [arrival for arrival in self._heard if arrival.t >= t]
        header = request_header(settings, protocol)
        sent, answers = self._bus.ask(header, data, t)
        arrivals = sorted(late + answers, key=lambda arrival: arrival.t)
        arrivals = [a for a in arrivals if _passes(a.frame, protocol, settings)]
        self._underway = arrivals
        self._last_bus = arrivals[-1].t if arrivals else sent
        if not settings.responses or wanted == 0:
            self._heard = arrivals
            return sent, []
        deadline = sent + settings.timeout_s
        count = 0
        for i, arrival in enumerate(arrivals):
            if arrival.t > deadline:
                self._heard = arrivals[i:]
                return deadline, arrivals[:i]
            if i == 0:
                self._recent.append(arrival.t - sent)
            pending = self._quirks.waits_for_pending and _is_pending(arrival.frame)
            count += not pending
            if count == wanted:
                self._heard = arrivals[i + 1 :]
                return arrival.t, arrivals[: i + 1]
            deadline = arrival.t + (_PENDING_S if pending else self._wait_s(settings))
        self._heard = []
        return deadline, arrivals

    def _wait_s(self, settings: Settings) -> float:
        full = settings.timeout_s
        factor = _ADAPTIVE.get(settings.adaptive)
        if factor is None or not self._quirks.adaptive or not self._recent:
            return full
        return min(full, factor * max(self._recent))

    def connect(self, settings: Settings, t: float) -> Joined:
        """Makes sure that a protocol is spoken, searching or waking where needed."""
        protocol = self._bus.protocol
        asleep = (
            protocol.wake is not Wake.NONE
            and not settings.keep_alive
            and t - self._last_bus > _IDLE_S
        )
        alive = self._bus.answers(t)
        late = t + settings.timeout_s
        if self.found is not None and not asleep:
            if alive or not protocol.can:
                return Joined(self.found, t)
            return Joined(None, late, Mishap.CAN_ERROR.value)
        if settings.auto and self.found is None:
            return self._search(settings, t)
        if self.found is None and settings.protocol != protocol.number:
            return Joined(None, late, _wrong(settings.protocol, protocol))
        if protocol.wake is not Wake.NONE:
            return self._wake(protocol, t, alive)
        if not alive:
            return Joined(None, late, "CAN ERROR" if protocol.can else "NO DATA")
        self.found = protocol
        return Joined(protocol, t)

    def _wake(self, protocol: Protocol, t: float, alive: bool) -> Joined:
        dots = "..." if protocol.wake is Wake.SLOW else ""
        begun: Said = (t, f"BUS INIT: {dots}", False)
        t += wake_s(protocol)
        if not alive:
            return Joined(None, t, "ERROR", (begun,))
        self.found = protocol
        return Joined(protocol, t, said=(begun, (t, "OK", True)))

    def _search(self, settings: Settings, t: float) -> Joined:
        protocol = self._bus.protocol
        begun: Said = (t, "SEARCHING...", False)
        order = [*("" if self.can_blocked else _CAN), *_J1850, "5", "3", "4"]
        first = settings.protocol
        if first in order:
            order = [first, *(n for n in order if n != first)]
        for digit in order:
            t += _SEARCH_S + (wake_s(PROTOCOLS[digit]) if digit == "3" else 0.0)
            if digit == protocol.number and self._bus.answers(t):
                self.found = protocol
                return Joined(protocol, t, said=(begun, (t, "", True)))
        return Joined(None, t, Mishap.UNABLE.value, (begun, (t, "", True)))


def _passes(frame: Frame, protocol: Protocol, settings: Settings) -> bool:
    pattern = settings.receive
    if not pattern or not protocol.can:
        return True
    shown = f"{int.from_bytes(frame.header, 'big'):08X}"[-len(pattern) :]
    return all(p in ("X", s) for p, s in zip(pattern, shown, strict=True))


def _wrong(chosen: str, protocol: Protocol) -> str:
    """What a protocol that the car does not speak leads to."""
    if chosen in _K_LINE:
        return Mishap.BUS_INIT_ERROR.value
    if chosen in _J1850 or protocol.number in _SAME_SPEED.get(chosen, ""):
        return Mishap.NO_DATA.value
    return Mishap.CAN_ERROR.value


def _is_pending(frame: Frame) -> bool:
    message = frame.data[1:] if frame.data[:1] == b"\x03" else frame.data
    return message[:1] == b"\x7f" and message[2:3] == b"\x78"
