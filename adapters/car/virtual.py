"""A link to the simulated adapter in virtual time: the same bytes, and no waiting.

Reading moves the clock to the next byte or to the end of the wait, whichever is first,
so an hour of driving takes as long as its computation.
"""

from __future__ import annotations

from collections.abc import Sequence

from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.errors import LinkLost, PortMissing
from bankwise.adapters.gate import Permitted, wire


class Cable:
    """What stays when a link is opened again: the adapter, the clock, the cuts.

    Args:
        adapter: what is plugged in.
        cuts: (from, to) spans of virtual time without a connection. Unit: seconds.
        start_s: time on the clock at the beginning.
    """

    def __init__(
        self,
        adapter: SimulatedAdapter,
        cuts: Sequence[tuple[float, float]] = (),
        start_s: float = 0.0,
    ) -> None:
        self.adapter = adapter
        self.now = start_s
        self._cuts = tuple(cuts)

    @property
    def cut(self) -> bool:
        """True while nothing is connected."""
        return any(start <= self.now < end for start, end in self._cuts)

    def next_cut(self) -> float:
        """When the next cut begins; infinity when none does."""
        later = (start for start, _ in self._cuts if start > self.now)
        return min(later, default=float("inf"))

    def pass_time(self, seconds: float) -> None:
        """Lets time pass without a link."""
        self.now += seconds

    def open(self, name: str = "simulated", baud: int | None = None) -> VirtualLink:
        """A new link. Raises PortMissing while the cable is cut."""
        if self.cut:
            raise PortMissing(f"{name} is not plugged in")
        return VirtualLink(self, name, baud)


class VirtualLink:
    """A link in virtual time; takes the place of a serial port.

    Args:
        cable: or an adapter, which gets a cable of its own.
        name: as a port would be named.
        baud: the computer's speed; another than the adapter's is not understood.
    """

    def __init__(
        self,
        cable: Cable | SimulatedAdapter,
        name: str = "simulated",
        baud: int | None = None,
    ) -> None:
        self._cable = cable if isinstance(cable, Cable) else Cable(cable)
        self._name = name
        self._baud = baud
        self._open = True

    @property
    def name(self) -> str:
        """The port as the person knows it."""
        return self._name

    @property
    def baud(self) -> int | None:
        """The computer's speed; None takes the adapter's."""
        return self._baud

    def set_baud(self, baud: int) -> None:
        """Changes the computer's speed."""
        self._baud = baud

    @property
    def cable(self) -> Cable:
        """What the link hangs on."""
        return self._cable

    def _check(self) -> None:
        if not self._open or self._cable.cut:
            self._cable.adapter.hang_up(self._cable.now)
            self._open = False
            raise LinkLost(f"{self._name} went away")

    @property
    def _understood(self) -> bool:
        return self._baud in (None, self._cable.adapter.link.baud)

    def write(self, request: Permitted) -> None:
        """Sends a permitted request. Raises LinkLost, GateRefused."""
        data = wire(request)
        self._check()
        if self._understood:
            self._cable.adapter.receive(data, self._cable.now)

    def read(self, timeout: float) -> bytes:
        """What has arrived, moving the clock by up to `timeout`. Raises LinkLost."""
        self._check()
        cable = self._cable
        end = min(cable.now + timeout, cable.next_cut())
        due = cable.adapter.next_due if self._understood else None
        if due is None or due > end:
            cable.now = end
            if cable.cut:
                self._check()
            return b""
        cable.now = max(cable.now, due)
        return cable.adapter.take(cable.now)

    def now(self) -> float:
        """The virtual clock. Unit: seconds."""
        return self._cable.now

    def close(self) -> None:
        """Closes; what the adapter was doing is dropped."""
        if self._open:
            self._open = False
            self._cable.adapter.hang_up(self._cable.now)
