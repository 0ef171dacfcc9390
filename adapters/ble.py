"""A link to an adapter over Bluetooth Low Energy; needs the extra `[ble]`.

Such adapters offer a serial line as a pair of characteristics: one that notifies, one
that takes writes. There is no standard for it, so the pair is found by what its
characteristics can do, not by a list of numbers.

bleak runs in an event loop of its own thread; the link's side only waits on a queue.
"""

from __future__ import annotations

import asyncio
import queue
import threading
import time
from collections.abc import Callable, Coroutine, Iterable
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from bankwise.adapters.errors import LinkError, LinkLost, PortDenied, PortMissing
from bankwise.adapters.gate import Permitted, wire

SCHEME: Final = "ble://"
CONNECT_S: Final = 20.0
"""Longest wait for a connection. Our choice: advertisements may come seconds apart."""
_WRITE_S: Final = 2.0
_LEAST_MTU: Final = 23
"""Source: Bluetooth core specification, from memory: the smallest ATT MTU."""
_ATT_OVERHEAD: Final = 3
_STANDARD: Final = "-0000-1000-8000-00805f9b34fb"
"""Services of the Bluetooth SIG end like this; those numbered 18xx are never serial."""

MakeClient = Callable[[str, Callable[[Any], None]], Any]
"""Makes a client from an address and a callback for the end of the connection."""

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class SerialPair:
    """The characteristics that carry the serial line.

    Attributes:
        notify: hands over what the adapter says.
        write: takes what is sent.
        confirmed: whether writes wait for a confirmation.
    """

    notify: Any
    write: Any
    confirmed: bool


def _is_standard(uuid: str) -> bool:
    return uuid.lower().startswith("000018") and uuid.lower().endswith(_STANDARD)


def serial_pair(services: Iterable[Any]) -> SerialPair | None:
    """The pair of characteristics that works as a serial line, or None.

    Both must be in one service. Writes without confirmation are preferred, because each
    confirmation costs a connection interval.
    """
    best: tuple[int, SerialPair] | None = None
    for service in services:
        if _is_standard(str(service.uuid)):
            continue
        speaks = [c for c in service.characteristics if _can(c, "notify", "indicate")]
        for takes in service.characteristics:
            quick = _can(takes, "write-without-response")
            if not speaks or not (quick or _can(takes, "write")):
                continue
            # Two characteristics beside each other are a line; one that does both is
            # used by some adapters, but also by remote controls.
            others = [c for c in speaks if c is not takes]
            pair = SerialPair((others or speaks)[0], takes, confirmed=not quick)
            worth = 2 * bool(others) + quick
            if best is None or worth > best[0]:
                best = (worth, pair)
    return best[1] if best is not None else None


def _can(characteristic: Any, *wanted: str) -> bool:
    return any(word in characteristic.properties for word in wanted)


def _bleak_client(address: str, gone: Callable[[Any], None]) -> Any:
    try:
        from bleak import BleakClient
    except ImportError as error:
        raise LinkError(
            "Bluetooth Low Energy needs an extra: pip install 'bankwise[ble]'"
        ) from error
    return BleakClient(address, disconnected_callback=gone)


class BleLink:
    """A link over Bluetooth Low Energy, from outside like any other."""

    def __init__(self, url: str, make_client: MakeClient = _bleak_client) -> None:
        """Connects to `ble://ADDRESS`. Raises LinkError of a kind that says why not."""
        self._url = url
        self._gone = threading.Event()
        self._heard: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(
            target=self._loop.run_forever, name="bankwise-ble", daemon=True
        )
        self._closed = False
        self._client: Any = None
        self._pair: SerialPair | None = None
        self._room = _LEAST_MTU - _ATT_OVERHEAD
        self._thread.start()
        try:
            self._run(self._connect(url.removeprefix(SCHEME), make_client), CONNECT_S)
        except LinkError:
            self.close()
            raise

    @property
    def name(self) -> str:
        """The address as the person gave it."""
        return self._url

    def write(self, request: Permitted) -> None:
        """Sends a permitted request. Raises LinkLost, GateRefused."""
        data = wire(request)
        if self._gone.is_set() or self._closed:
            raise LinkLost(f"{self._url} went away")
        self._run(self._send(data), _WRITE_S)

    def read(self, timeout: float) -> bytes:
        """What has arrived, as `Link.read`. Raises LinkLost."""
        if self._closed:
            raise LinkLost(f"{self._url} went away")
        try:
            data = self._heard.get(timeout=max(timeout, 0.0))
        except queue.Empty:
            if self._gone.is_set():
                raise LinkLost(f"{self._url} went away") from None
            return b""
        while not self._heard.empty():
            data += self._heard.get()
        return data

    def now(self) -> float:
        """The machine's monotonic clock. Unit: seconds."""
        return time.monotonic()

    def close(self) -> None:
        """Disconnects; whatever goes wrong no longer matters."""
        if self._closed:
            return
        self._closed = True
        try:
            if self._client is not None:
                self._run(self._client.disconnect(), _WRITE_S)
        except LinkError:
            pass
        finally:
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join(_WRITE_S)
            if not self._thread.is_alive():
                self._loop.close()

    async def _connect(self, address: str, make_client: MakeClient) -> None:
        self._client = make_client(address, lambda _: self._gone.set())
        await self._client.connect()
        self._pair = serial_pair(self._client.services)
        if self._pair is None:
            raise LinkError(f"{self._url} offers no serial line")
        mtu = max(int(self._client.mtu_size), _LEAST_MTU)
        self._room = mtu - _ATT_OVERHEAD
        await self._client.start_notify(
            self._pair.notify, lambda _, data: self._heard.put(bytes(data))
        )

    async def _send(self, data: bytes) -> None:
        pair = self._pair
        assert pair is not None
        for at in range(0, len(data), self._room):
            await self._client.write_gatt_char(
                pair.write, data[at : at + self._room], response=pair.confirmed
            )

    def _run(self, work: Coroutine[Any, Any, _T], seconds: float) -> _T:
        """Runs a coroutine in the loop's thread; every foreign error is mapped."""
        future = asyncio.run_coroutine_threadsafe(work, self._loop)
        try:
            return future.result(seconds)
        except LinkError:
            raise
        except TimeoutError as error:
            future.cancel()
            raise self._error("does not answer", error) from error
        # bleak raises its own errors, those of the system's Bluetooth service, and
        # plain OSError and EOFError; all of them mean that this link does not work.
        except Exception as error:
            raise self._error(str(error) or type(error).__name__, error) from error

    def _error(self, told: str, error: Exception) -> LinkError:
        if self._pair is not None:
            return LinkLost(f"{self._url} went away")
        words = " ".join(told.split())
        if "not found" in words.lower() or isinstance(error, TimeoutError):
            return PortMissing(f"{self._url} is not there or not in reach")
        if "permission" in words.lower() or "not authorized" in words.lower():
            return PortDenied(f"no permission to use Bluetooth for {self._url}")
        return LinkError(f"{self._url} cannot be opened: {words}")
