"""Direct CAN: a simulated car as ISO-TP peer on a virtual bus, the same records."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from random import Random
from typing import Any

import pytest

can = pytest.importorskip("can")
isotp = pytest.importorskip("isotp")

from bankwise.adapters.adapter import Adapter  # noqa: E402 - after the extras
from bankwise.adapters.can_link import NAME, CanLink, open_bus  # noqa: E402
from bankwise.adapters.car.information import UnitNames  # noqa: E402
from bankwise.adapters.car.unit import ControlUnit, Manners  # noqa: E402
from bankwise.adapters.cycle import PollCycle  # noqa: E402
from bankwise.adapters.decode import Decoder  # noqa: E402
from bankwise.adapters.errors import GateRefused, LinkError, LinkLost  # noqa: E402
from bankwise.adapters.recorder import new_header  # noqa: E402
from bankwise.adapters.records import Record  # noqa: E402

VIN = "1M8GDM9AXKP042788"


class StillCar:
    """A car that idles."""

    readings = {  # noqa: RUF012 - read only
        "rpm": 775.0, "ect_c": 83.0, "o2_b1s1_v": 0.45, "o2_b2s1_v": 0.1,
        "stft_b1_pct": -25.0, "stft_b2_pct": 25.0, "ltft_b1_pct": 0.0,
        "fuel_status_b1": 2.0, "fuel_status_b2": 2.0, "maf_gps": 4.5,
    }  # fmt: skip
    key_on = True
    engine_running = True

    def advance(self, t: float) -> None:
        """Time changes nothing."""


class Peer:
    """A control unit on the bus whose messages can-isotp cuts and sends.

    It lives in the link's time: `look` is called whenever that has passed.
    """

    def __init__(self, channel: str, bits: int, manners: Manners | None = None) -> None:
        self.channel = channel
        self.bus = can.Bus(interface="virtual", channel=channel)
        self.unit = ControlUnit(StillCar(), UnitNames(vin=VIN), manners=manners)
        self.bits = bits
        self.seen: list[tuple[int, bytes]] = []
        self._inbox: deque[Any] = deque()
        self._due: deque[tuple[float, bytes]] = deque()
        mode = isotp.AddressingMode
        if bits == 11:
            address = isotp.Address(mode.Normal_11bits, rxid=0x7E0, txid=0x7E8)
        else:
            address = isotp.Address(
                mode.Normal_29bits, rxid=0x18DA10F1, txid=0x18DAF110
            )
        self.stack = isotp.TransportLayerLogic(
            rxfn=self._receive,
            txfn=self._send,
            address=address,
            # can-isotp alone goes by the real clock here, and must never lose patience.
            params={"tx_padding": 0, "stmin": 0, "rx_flowcontrol_timeout": 600_000},
        )

    def _receive(self, timeout: float) -> Any:
        return self._inbox.popleft() if self._inbox else None

    def _send(self, frame: Any) -> None:
        self.bus.send(
            can.Message(
                arbitration_id=frame.arbitration_id,
                is_extended_id=frame.is_extended_id,
                data=frame.data,
            )
        )

    def look(self, now: float) -> None:
        """Takes what is on the bus, and says what is due by now."""
        while (message := self.bus.recv(0)) is not None:
            self._take(message, now)
        while self._due and self._due[0][0] <= now:
            self.stack.send(self._due.popleft()[1])
        self.stack.process()

    def _take(self, message: Any, now: float) -> None:
        self.seen.append((message.arbitration_id, bytes(message.data)))
        if message.arbitration_id in (0x7DF, 0x18DB33F1):
            if message.is_extended_id != (self.bits == 29):
                return
            for reply in self.unit.replies(
                bytes(message.data[1 : 1 + message.data[0]])
            ):
                now += reply.later_s
                self._due.append((now, reply.payload))
        else:
            self._inbox.append(
                isotp.CanMessage(
                    arbitration_id=message.arbitration_id,
                    data=bytes(message.data),
                    extended_id=message.is_extended_id,
                )
            )

    def end(self) -> None:
        """Leaves the bus."""
        self.bus.shutdown()


class TimedBus:
    """A virtual bus of python-can on which time passes only while one waits."""

    STEP_S = 0.0005

    def __init__(self, channel: str, peer: Peer | None = None) -> None:
        self.bus = can.Bus(interface="virtual", channel=channel)
        self.peer = peer
        self.t = 0.0
        self.slept_s = 0.0

    def clock(self) -> float:
        """The time on this bus."""
        return self.t

    def send(self, message: Any, timeout: float | None = None) -> None:
        """Onto the bus; the computer may then fall asleep for `slept_s`."""
        self.bus.send(message, timeout)
        self.pass_time(self.slept_s)

    def recv(self, timeout: float) -> Any:
        """The next message, or None when `timeout` has passed."""
        end = self.t + timeout
        while (message := self.bus.recv(0)) is None and self.t < end:
            self.pass_time(min(self.STEP_S, end - self.t))
            # A sum of steps never quite arrives.
            self.t = end if end - self.t < 1e-9 else self.t
        return message

    def pass_time(self, seconds: float) -> None:
        """Lets the peer live so long."""
        end = self.t + seconds
        while self.t < end:
            self.t = min(self.t + self.STEP_S, end)
            if self.peer is not None:
                self.peer.look(self.t)

    def shutdown(self) -> None:
        """Leaves the bus."""
        self.bus.shutdown()


@pytest.fixture(name="peer", params=[11, 29])
def _peer(request: pytest.FixtureRequest) -> Iterator[Peer]:
    """A control unit with short or long identifiers on a bus of its own."""
    peer = Peer(f"bankwise-{request.node.name}", request.param)
    yield peer
    peer.end()


def link_to(peer: Peer, slept_s: float = 0.0) -> CanLink:
    """A link onto the peer's bus, in virtual time."""
    bus = TimedBus(peer.channel, peer)
    bus.slept_s = slept_s
    return CanLink(bus, clock=bus.clock)


@pytest.mark.parametrize("slept_s", [0.0, 0.4], ids=["awake", "starved"])
def test_drive_over_bare_can_is_like_any_other(peer: Peer, slept_s: float) -> None:
    """Start-up, six PIDs a request and values: the poll cycle knows no difference.

    Not even where the computer stands still after every frame that it sends, longer
    than an answer takes: the answer waits, and is found.
    """
    cycle = PollCycle(link_to(peer, slept_s), jitter=Random(1))
    records: list[Record] = []
    while cycle.now() < (20.0 if slept_s else 3.0):
        records += cycle.step()
    cycle.adapter.link.close()
    assert cycle.found.name == NAME
    assert cycle.found.protocol == ("6" if peer.bits == 11 else "7")
    assert cycle.found.vin == VIN
    decoder = Decoder(new_header("2026-01-01T00:00:00Z", cycle.found))
    decoder.feed(records)
    for name, column in decoder.columns.measured.items():
        assert abs(column.v - StillCar.readings[name]).max() <= 0.5, name
    assert len(decoder.columns["o2_b2s1_v"]) > 10


def test_only_requests_and_flow_control_reach_the_bus(peer: Peer) -> None:
    """Every frame on the bus is a permitted read or a flow control frame."""
    cycle = PollCycle(link_to(peer), jitter=Random(1))
    while cycle.now() < 1.5:
        cycle.step()
    cycle.adapter.link.close()
    assert peer.seen
    for arbitration, data in peer.seen:
        if arbitration in (0x7DF, 0x18DB33F1):
            assert data[1] in (0x01, 0x03, 0x07, 0x09, 0x0A, 0x22)
        else:
            assert arbitration in (0x7E0, 0x18DA10F1)
            assert data[:3] == b"\x30\x00\x00"


def test_announced_answer_is_waited_for() -> None:
    """After 7F xx 78 the link waits on and the answer comes in the same exchange."""
    peer = Peer("bankwise-pending", 11, Manners(pending_s={0x09: 0.4}))
    adapter = Adapter(link_to(peer))
    adapter.ask("ATTP6")
    asked = adapter.ask("0902", 3.0)
    adapter.link.close()
    peer.end()
    assert asked.exchange.a[0].startswith("7E8037F0978")
    assert asked.exchange.a[1].startswith("7E81014490201")


def test_silent_bus_is_no_data() -> None:
    """Nobody on the bus gives the adapter's own word for silence."""
    bus = TimedBus("bankwise-empty")
    link = CanLink(bus, clock=bus.clock)
    adapter = Adapter(link)
    assert adapter.ask("0100").exchange.e == "NO DATA"
    assert adapter.ask("ATQQ").exchange.e == "?"
    assert adapter.resync()
    link.close()
    with pytest.raises(LinkLost):
        link.read(0.0)


def test_gate_stands_before_the_bus() -> None:
    """Raw bytes never reach the bus."""
    watcher = can.Bus(interface="virtual", channel="bankwise-gate")
    bus = TimedBus("bankwise-gate")
    link = CanLink(bus, clock=bus.clock)
    with pytest.raises(GateRefused):
        link.write(b"04\r")  # type: ignore[arg-type]
    assert watcher.recv(0.05) is None
    link.close()
    watcher.shutdown()


def test_bus_errors_stop_before_anything_is_sent() -> None:
    """At the wrong bit rate the bus shows errors, and nothing is sent."""

    class Noisy:
        closed = False

        def recv(self, _: float) -> Any:
            return can.Message(is_error_frame=True)

        def shutdown(self) -> None:
            self.closed = True

    noisy = Noisy()
    with pytest.raises(LinkError, match="bit rate"):
        CanLink(noisy, "can0")
    assert noisy.closed


@pytest.mark.parametrize(
    "url",
    [
        "can://nonsense/can0",
        "can://socketcan/there-is-none",
        "can://virtual/x?bitrate=a",
    ],
)
def test_bad_bus_names_give_one_plain_line(url: str) -> None:
    """What python-can raises becomes one line of ours."""
    with pytest.raises(LinkError, match="cannot be opened") as caught:
        open_bus(url)
    assert "\n" not in str(caught.value)
