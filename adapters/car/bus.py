"""The bus between adapter and control units: who answers, in which frames and when.

Time is given, never read. The car is brought to the moment of each answer before the
unit is asked, so a value is as old as it would be on a real bus.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from typing import Protocol as Shape

from bankwise.adapters.car.framing import (
    Address,
    Frame,
    Protocol,
    answer_frames,
    functional,
    hears,
)
from bankwise.adapters.car.timing import BUSES, BusTiming, frame_s, request_s
from bankwise.adapters.car.unit import CarState, Reply

_CHARGING_V, _RESTING_V = 14.1, 12.4
"""Supply with the engine running and at rest. Source: common practice, no source."""


class Unit(Shape):
    """A control unit as the bus sees it."""

    @property
    def address(self) -> Address:
        """Where it sits."""
        ...

    @property
    def awake(self) -> bool:
        """True while it has power and listens."""
        ...

    def replies(self, request: bytes, functional: bool = True) -> tuple[Reply, ...]:
        """All its messages to one request, in sending order."""
        ...


@dataclass(frozen=True, slots=True)
class Arrival:
    """A frame and the moment at which the adapter has it whole. Unit: seconds."""

    t: float
    frame: Frame


class CarBus:
    """The bus of one car.

    Args:
        car: brought forward in time as requests come.
        units: who listens.
        protocol: what is spoken.
        seed: of the answer times, which are drawn uniformly.
        pad: filler of short CAN frames; None leaves them short.
        timing: other than the protocol's usual.
    """

    def __init__(
        self,
        car: CarState,
        units: Sequence[Unit],
        protocol: Protocol,
        seed: int = 0,
        *,
        pad: int | None = 0x00,
        timing: BusTiming | None = None,
    ) -> None:
        self.protocol = protocol
        self.car = car
        self._units = tuple(units)
        self._rng = Random(seed)
        self._pad = pad
        self._timing = timing or BUSES[protocol.family]
        self._now = 0.0
        self._quiet_from = 0.0

    def advance(self, t: float) -> None:
        """Brings the car to time `t`; going back is ignored. Unit: seconds."""
        if t > self._now:
            self._now = t
            self.car.advance(t)

    @property
    def voltage(self) -> float:
        """Supply voltage at the socket, where the car tells; else a usual one."""
        usual = _CHARGING_V if self.car.engine_running else _RESTING_V
        return self.car.readings.get("module_v", usual)

    def answers(self, t: float) -> bool:
        """True when any unit would answer at time `t`."""
        self.advance(t)
        return any(unit.awake for unit in self._units)

    def ask(self, header: bytes, data: bytes, t: float) -> tuple[float, list[Arrival]]:
        """Sends one request at time `t`.

        Returns the moment it was on the wire, and what comes back in order of
        arrival. Flow control is the adapter's business and is taken to be in order:
        the frames after a first frame follow it.
        """
        start = max(t, self._quiet_from)
        sent = start + request_s(self.protocol, data)
        to_all = functional(self.protocol, header)
        arrivals: list[Arrival] = []
        order = sorted(
            (sent + self._rng.uniform(*self._timing.answer_s), i)
            for i, unit in enumerate(self._units)
            if hears(self.protocol, header, unit.address)
        )
        for begin, i in order:
            unit = self._units[i]
            self.advance(begin)
            if unit.awake:
                replies = unit.replies(data, to_all)
                arrivals += self._frames(unit.address, replies, begin)
        arrivals = self._one_at_a_time(arrivals)
        end = arrivals[-1].t if arrivals else sent
        self._quiet_from = end + self._timing.between_s
        return sent, arrivals

    def _frames(
        self, unit: Address, replies: tuple[Reply, ...], begin: float
    ) -> list[Arrival]:
        out: list[Arrival] = []
        t = begin
        for reply in replies:
            frames = answer_frames(self.protocol, unit, reply.payload, self._pad)
            t = max(t, begin + reply.later_s)
            for i, frame in enumerate(frames):
                if i == 1:
                    t += self._timing.flow_s
                t += frame_s(self.protocol, frame)
                out.append(Arrival(t, frame))
        return out

    def _one_at_a_time(self, arrivals: list[Arrival]) -> list[Arrival]:
        # Two units that want to send at once: the later one waits for the wire.
        arrivals.sort(key=lambda arrival: arrival.t)
        free = 0.0
        out = []
        for arrival in arrivals:
            length = frame_s(self.protocol, arrival.frame)
            t = max(arrival.t, free + length)
            out.append(Arrival(t, arrival.frame))
            free = t
        return out
