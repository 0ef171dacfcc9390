"""Links: bytes to an adapter and back, through any port that pyserial opens.

A link writes only what the gate permitted. It has its own clock, so that a simulated
car can be driven in virtual time by the same code. Every error of the operating system
and of pyserial is mapped in one place, `_mapped`.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final, Protocol

import serial

from bankwise.adapters.errors import (
    LinkError,
    LinkLost,
    PortBusy,
    PortDenied,
    PortMissing,
)
from bankwise.adapters.gate import Permitted, wire

BAUDS: Final = (38400, 115200, 500000, 230400, 9600)
"""Speeds tried in turn, the likeliest first. Our choice, after what adapters are
usually set to."""

POLL_S: Final = 0.05
"""Longest single wait, so that a stop is obeyed at once. Our choice."""

_WRITE_S: Final = 1.0
"""A port that takes no bytes for this long is gone. Our choice."""

_MOST_BYTES: Final = 4096


class Link(Protocol):
    """A way to an adapter."""

    @property
    def name(self) -> str:
        """The port as the person knows it."""
        ...

    def write(self, request: Permitted) -> None:
        """Sends a permitted request. Raises LinkError, GateRefused."""
        ...

    def read(self, timeout: float) -> bytes:
        """What has arrived, waiting up to `timeout` seconds for the first byte.

        Empty when nothing came. Raises LinkError when the link is gone.
        """
        ...

    def now(self) -> float:
        """The link's clock, monotonic. Unit: seconds."""
        ...

    def close(self) -> None:
        """Closes; may be called twice, never raises."""
        ...


_BY_ERRNO: Final[dict[int, tuple[type[LinkError], str]]] = {
    errno.ENOENT: (PortMissing, "there is no {port}"),
    errno.ENODEV: (PortMissing, "{port} is not plugged in"),
    errno.ENXIO: (PortMissing, "{port} is not plugged in"),
    errno.EHOSTUNREACH: (PortMissing, "{port} cannot be reached"),
    errno.EHOSTDOWN: (PortMissing, "{port} cannot be reached"),
    errno.ENETUNREACH: (PortMissing, "{port} cannot be reached"),
    errno.ECONNREFUSED: (PortMissing, "nothing listens at {port}"),
    errno.EACCES: (
        PortDenied,
        "no permission to open {port}; on Linux join the group that owns it, "
        "often dialout, and log in again",
    ),
    errno.EISDIR: (PortMissing, "{port} is a folder, not a port"),
    errno.ENOTTY: (PortMissing, "{port} is no serial port"),
    errno.EPERM: (PortDenied, "no permission to open {port}"),
    errno.EBUSY: (PortBusy, "{port} is in use by another program"),
    errno.EAGAIN: (PortBusy, "{port} is in use by another program"),
}

_BY_WORDS: Final[tuple[tuple[str, type[LinkError], str], ...]] = (
    ("could not exclusively lock", PortBusy, "{port} is in use by another program"),
    ("access is denied", PortBusy, "{port} is in use by another program"),
    ("permissionerror", PortDenied, "no permission to open {port}"),
    ("connection refused", PortMissing, "nothing listens at {port}"),
    ("timed out", PortMissing, "{port} does not answer"),
    ("name or service not known", PortMissing, "there is no host for {port}"),
    ("nodename nor servname", PortMissing, "there is no host for {port}"),
    ("getaddrinfo failed", PortMissing, "there is no host for {port}"),
    ("temporary failure in name resolution", PortMissing, "no host for {port}"),
    ("cannot find the file", PortMissing, "there is no {port}"),
    ("no such file", PortMissing, "there is no {port}"),
    ("inappropriate ioctl", PortMissing, "{port} is no serial port"),
    ("'<=' not supported", PortMissing, "{port} lacks its number: {port}:35000, say"),
    ("'debug|info|warning|error'", PortMissing, "{port} is no socket://HOST:NUMBER"),
    ("not known", PortMissing, "{port}: no kind of port begins so"),
)


def link_error(error: Exception, port: str, opened: bool) -> LinkError:
    """The error of this folder for one of pyserial's or the operating system's.

    Args:
        error: what was raised.
        port: the port as the person knows it.
        opened: whether the port had been open; then it was lost.
    """
    if opened:
        return LinkLost(f"{port} went away")
    number = getattr(error, "errno", None)
    if number in _BY_ERRNO:
        kind, words = _BY_ERRNO[number]
        return kind(words.format(port=port))
    told = str(error).lower()
    for part, kind, words in _BY_WORDS:
        if part in told:
            return kind(words.format(port=port))
    reason = " ".join(str(error).split()) or type(error).__name__
    return LinkError(f"{port} cannot be opened: {reason}")


@contextmanager
def _mapped(port: str, opened: bool) -> Iterator[None]:
    """Turns whatever pyserial and the system raise into this folder's errors."""
    try:
        yield
    # termios.error is not an OSError, a bad URL is a ValueError, a port closed under a
    # read raises TypeError or AttributeError inside pyserial, and what a kind of port
    # does not support is a NotImplementedError.
    except (OSError, ValueError, TypeError, AttributeError, RuntimeError) as error:
        raise link_error(error, port, opened) from error
    except Exception as error:
        if type(error).__module__ == "termios":
            raise link_error(error, port, opened) from error
        raise


class PortLink:
    """A serial port, a pseudo terminal, or any URL that pyserial knows.

    `socket://host:port` and `rfc2217://host:port` are such URLs.
    """

    def __init__(self, url: str, baud: int = BAUDS[0]) -> None:
        """Opens the port. Raises LinkError of a kind that says why it cannot."""
        self._url = url
        self._is_url = "://" in url
        with _mapped(url, opened=False):
            self._port: Any = serial.serial_for_url(
                url,
                baudrate=baud,
                timeout=POLL_S,
                # pyserial's RFC 2217 client knows no time limit for writing.
                write_timeout=None if url.startswith("rfc2217:") else _WRITE_S,
                exclusive=True if os.name == "posix" and not self._is_url else None,
            )
        self._open = True

    @property
    def name(self) -> str:
        """The port's name or URL."""
        return self._url

    @property
    def baud(self) -> int | None:
        """The speed of a serial port; None where speed means nothing."""
        if self._url.startswith("socket://"):
            return None
        return int(self._port.baudrate)

    def set_baud(self, baud: int) -> None:
        """Changes the speed. Raises LinkError when the port cannot go that fast."""
        with _mapped(self._url, opened=False):
            self._port.baudrate = baud

    def write(self, request: Permitted) -> None:
        """Sends a permitted request. Raises LinkLost, GateRefused."""
        data = wire(request)
        with _mapped(self._url, opened=True):
            self._port.write(data)

    def read(self, timeout: float) -> bytes:
        """What has arrived, as `Link.read`. Raises LinkLost."""
        # pyserial's own timeout is fixed: setting it reconfigures a port.
        end = time.monotonic() + timeout
        with _mapped(self._url, opened=True):
            while True:
                first: bytes = self._port.read(1)
                if first:
                    return first + self._rest()
                if time.monotonic() >= end:
                    return b""

    def _rest(self) -> bytes:
        if self._url.startswith("socket://"):
            # Over TCP pyserial cannot say how much waits; a poll without waiting does.
            self._port.timeout = 0
            try:
                more = bytes(self._port.read(_MOST_BYTES))
            finally:
                self._port.timeout = POLL_S
            return more
        waiting = min(int(self._port.in_waiting), _MOST_BYTES)
        return bytes(self._port.read(waiting)) if waiting else b""

    def now(self) -> float:
        """The machine's monotonic clock. Unit: seconds."""
        return time.monotonic()

    def close(self) -> None:
        """Closes the port; whatever it raises no longer matters."""
        if not self._open:
            return
        self._open = False
        try:
            with _mapped(self._url, opened=True):
                self._port.close()
        except LinkError:
            pass
