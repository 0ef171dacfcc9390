"""Bluetooth Low Energy against a fake GATT layer: discovery, chunks, loss."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from bankwise.adapters.ble import BleLink, serial_pair
from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.framing import PROTOCOLS
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.timing import LINKS
from bankwise.adapters.car.unit import ControlUnit
from bankwise.adapters.errors import (
    GateRefused,
    LinkError,
    LinkLost,
    PortDenied,
    PortMissing,
)
from bankwise.adapters.live import Live
from bankwise.adapters.source import LinkState


def characteristic(uuid: str, *properties: str) -> SimpleNamespace:
    """A characteristic as bleak describes it."""
    return SimpleNamespace(uuid=uuid, properties=list(properties))


def service(uuid: str, *characteristics: SimpleNamespace) -> SimpleNamespace:
    """A service as bleak describes it."""
    return SimpleNamespace(uuid=uuid, characteristics=characteristics)


BATTERY = service(
    "0000180f-0000-1000-8000-00805f9b34fb",
    characteristic("level", "read", "notify", "write"),
)
LINE = service(
    "0000fff0-0000-1000-8000-00805f9b34fb",
    characteristic("says", "notify"),
    characteristic("takes", "write", "write-without-response"),
)
SLOW_LINE = service(
    "e7810a71-73ae-499d-8c15-faa9aef0c3f2", characteristic("both", "indicate", "write")
)


@pytest.mark.parametrize(
    ("services", "expected"),
    [
        ([BATTERY, LINE], ("says", "takes", False)),
        ([BATTERY, SLOW_LINE], ("both", "both", True)),
        ([SLOW_LINE, LINE], ("says", "takes", False)),
        ([BATTERY], None),
        ([service("aaaa", characteristic("reads", "read"))], None),
        ([service("aaaa", characteristic("only says", "notify"))], None),
    ],
)
def test_serial_line_is_found_by_what_it_can_do(
    services: list[SimpleNamespace], expected: tuple[str, str, bool] | None
) -> None:
    """Properties decide, standard services never, quick writes are preferred."""
    pair = serial_pair(services)
    if expected is None:
        assert pair is None
        return
    assert pair is not None
    assert (pair.notify.uuid, pair.write.uuid, pair.confirmed) == expected


class StillCar:
    """A car that idles."""

    readings = {"rpm": 775.0, "o2_b1s1_v": 0.45}  # noqa: RUF012 - read only
    key_on = True
    engine_running = True

    def advance(self, t: float) -> None:
        """Time changes nothing."""


class Client:
    """A GATT client with a simulated adapter at its other end."""

    mtu_size = 23

    def __init__(self, gone: Callable[[Any], None], services: list[Any]) -> None:
        unit = ControlUnit(StillCar(), UnitNames(vin="1M8GDM9AXKP042788"))
        bus = CarBus(StillCar(), [unit], PROTOCOLS["6"], seed=1)
        self.adapter = SimulatedAdapter(bus, LINKS["usb-500000"])
        self.services = services
        self.chunks: list[tuple[bytes, bool]] = []
        self.gone = gone
        self.connected = False
        self._notify: Callable[[Any, bytearray], None] | None = None
        self._task: asyncio.Task[None] | None = None

    async def connect(self) -> None:
        """Connects."""
        self.connected = True

    async def disconnect(self) -> None:
        """Disconnects."""
        self.connected = False
        if self._task is not None:
            self._task.cancel()

    async def start_notify(
        self, _: Any, callback: Callable[[Any, bytearray], None]
    ) -> None:
        """Hands over what the adapter says, twenty bytes at a time."""
        self._notify = callback
        self._task = asyncio.ensure_future(self._speak())

    async def write_gatt_char(self, _: Any, data: bytes, *, response: bool) -> None:
        """Takes what is sent."""
        self.chunks.append((data, response))
        self.adapter.receive(data, time.monotonic())

    async def _speak(self) -> None:
        while True:
            data = self.adapter.take(time.monotonic())
            for at in range(0, len(data), 20):
                assert self._notify is not None
                self._notify(None, bytearray(data[at : at + 20]))
            await asyncio.sleep(0.002)


def link_and_client(services: list[Any]) -> tuple[BleLink, Client]:
    """A connected link and its other end."""
    made: list[Client] = []

    def make(_: str, gone: Callable[[Any], None]) -> Client:
        made.append(Client(gone, services))
        return made[-1]

    return BleLink("ble://AA:BB", make), made[-1]


def test_live_drive_over_ble() -> None:
    """A drive over Bluetooth Low Energy is a drive like any other."""
    clients: list[Client] = []

    def open_link() -> BleLink:
        link, client = link_and_client([BATTERY, LINE])
        clients.append(client)
        return link

    before = set(threading.enumerate())
    live = Live("ble://AA:BB", None, open_link=open_link)
    live.start()
    try:
        end = time.monotonic() + 60.0
        while live.state is not LinkState.UP and time.monotonic() < end:
            time.sleep(0.01)
        assert live.state is LinkState.UP
        assert live.header is not None
        assert live.header.vehicle["vin"] == "1M8GDM9AXKP042788"
    finally:
        live.stop()
    (client,) = clients
    assert not client.connected
    assert all(len(data) <= 20 and not confirmed for data, confirmed in client.chunks)
    left = set(threading.enumerate()) - before
    assert not [thread for thread in left if thread.name == "bankwise-ble"]


def test_lost_connection_is_lost() -> None:
    """When the system says that the connection ended, reading and writing say so."""
    link, client = link_and_client([LINE])
    assert link.read(0.01) == b""
    client.gone(client)
    with pytest.raises(LinkLost, match="went away"):
        link.read(0.01)
    link.close()
    link.close()


def test_gate_stands_before_the_air() -> None:
    """Raw bytes are refused and nothing is sent."""
    link, client = link_and_client([LINE])
    with pytest.raises(GateRefused):
        link.write(b"04\r")  # type: ignore[arg-type]
    assert client.chunks == []
    link.close()


def test_device_without_a_line_says_so() -> None:
    """A device that offers no serial line is refused in words."""
    with pytest.raises(LinkError, match="no serial line"):
        link_and_client([BATTERY])


@pytest.mark.parametrize(
    ("error", "kind"),
    [
        (RuntimeError("Device with address AA:BB was not found."), PortMissing),
        (TimeoutError(), PortMissing),
        (OSError("permission denied"), PortDenied),
        (RuntimeError("something else"), LinkError),
    ],
)
def test_foreign_errors_are_mapped(error: Exception, kind: type[LinkError]) -> None:
    """What the Bluetooth layer raises becomes one of ours."""

    class Failing(Client):
        async def connect(self) -> None:
            raise error

    with pytest.raises(LinkError) as caught:
        BleLink("ble://AA:BB", lambda _, gone: Failing(gone, []))
    assert type(caught.value) is kind
