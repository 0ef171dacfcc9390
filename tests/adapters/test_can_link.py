"""Direct CAN: a simulated car as ISO-TP peer on a virtual bus, the same records."""

from __future__ import annotations

import threading
import time
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


class Peer(threading.Thread):
    """A control unit on the bus whose messages can-isotp cuts and sends."""

    def __init__(self, channel: str, bits: int, manners: Manners | None = None) -> None:
        super().__init__(daemon=True)
        self.bus = can.Bus(interface="virtual", channel=channel)
        self.unit = ControlUnit(StillCar(), UnitNames(vin=VIN), manners=manners)
        self.bits = bits
        self.seen: list[tuple[int, bytes]] = []
        self._ended = threading.Event()
        self._inbox: deque[Any] = deque()
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
            params={"tx_padding": 0, "stmin": 0},
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

    def run(self) -> None:
        """Answers until ended."""
        functional = 0x7DF if self.bits == 11 else 0x18DB33F1
        while not self._ended.is_set():
            message = self.bus.recv(0.002)
            if message is not None:
                self.seen.append((message.arbitration_id, bytes(message.data)))
                if message.arbitration_id == functional:
                    length = message.data[0]
                    self._answer(bytes(message.data[1 : 1 + length]))
                else:
                    self._inbox.append(
                        isotp.CanMessage(
                            arbitration_id=message.arbitration_id,
                            data=bytes(message.data),
                            extended_id=message.is_extended_id,
                        )
                    )
            self.stack.process()

    def _answer(self, request: bytes) -> None:
        for reply in self.unit.replies(request):
            time.sleep(reply.later_s)
            self.stack.send(reply.payload)
            self.stack.process()

    def end(self) -> None:
        """Ends the thread and leaves the bus."""
        self._ended.set()
        self.join(2.0)
        self.bus.shutdown()


@pytest.fixture(name="peer", params=[11, 29])
def _peer(request: pytest.FixtureRequest) -> Iterator[Peer]:
    """A control unit with short or long identifiers on a bus of its own."""
    peer = Peer(f"bankwise-{request.node.name}", request.param)
    peer.start()
    yield peer
    peer.end()


def link_to(peer: Peer) -> CanLink:
    """A link onto the peer's bus."""
    return CanLink(can.Bus(interface="virtual", channel=peer.bus.channel_info
                           .removeprefix("Virtual bus channel ")))  # fmt: skip


def test_drive_over_bare_can_is_like_any_other(peer: Peer) -> None:
    """Start-up, six PIDs a request and values: the poll cycle knows no difference."""
    cycle = PollCycle(link_to(peer), jitter=Random(1))
    records: list[Record] = []
    while cycle.now() < 3.0:
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
    peer.start()
    adapter = Adapter(link_to(peer))
    adapter.ask("ATTP6")
    asked = adapter.ask("0902", 3.0)
    adapter.link.close()
    peer.end()
    assert asked.exchange.a[0].startswith("7E8037F0978")
    assert asked.exchange.a[1].startswith("7E81014490201")


def test_silent_bus_is_no_data() -> None:
    """Nobody on the bus gives the adapter's own word for silence."""
    link = CanLink(can.Bus(interface="virtual", channel="bankwise-empty"))
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
    link = CanLink(can.Bus(interface="virtual", channel="bankwise-gate"))
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
