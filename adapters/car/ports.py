"""Where the simulated adapter can be reached: a TCP port or a pseudo terminal.

A port hands the server what the computer sent and takes what the adapter says. Only one
computer at a time: a second one is told so and hung up on.
"""

from __future__ import annotations

import contextlib
import errno
import os
import selectors
import socket
import sys
import time
from typing import Protocol

from bankwise.adapters.errors import LinkError, PortBusy

_MOST = 4096
_REFUSAL = b"IN USE\r"


class Port(Protocol):
    """A way in for one computer."""

    @property
    def address(self) -> str:
        """What to give a program as its port."""
        ...

    @property
    def connected(self) -> bool:
        """True while a computer is there; always true where that cannot be seen."""
        ...

    def wait(self, timeout: float) -> tuple[bytes, bool]:
        """Waits up to `timeout` seconds for bytes.

        Returns the bytes, and True when the computer hung up.
        """
        ...

    def send(self, data: bytes) -> None:
        """Sends to the computer; bytes for nobody are lost."""
        ...

    def hang_up(self) -> None:
        """Drops the computer."""
        ...

    def absent(self, gone: bool) -> None:
        """Takes the whole port away, or puts it back. Raises LinkError."""
        ...

    def close(self) -> None:
        """Closes the port."""
        ...


class TcpPort:
    """A listening TCP port that serves one client at a time.

    Args:
        listen: `host:port`; port 0 takes any free one.

    Raises:
        PortBusy: when something listens there already.
        LinkError: when the address cannot be used.
    """

    def __init__(self, listen: str) -> None:
        self._host, port = split_address(listen)
        # An epoll selector would round every wait up to a millisecond.
        self._selector = selectors.SelectSelector()
        self._client: socket.socket | None = None
        self._listener = self._listen(port)
        self._port = int(self._listener.getsockname()[1])

    def _listen(self, port: int) -> socket.socket:
        try:
            listener = socket.create_server((self._host, port))
        except OSError as error:
            where = f"{self._host}:{port}"
            if error.errno == errno.EADDRINUSE:
                raise PortBusy(f"{where} is in use by another program") from error
            raise LinkError(f"cannot listen at {where}: {error.strerror}") from error
        listener.setblocking(False)
        self._selector.register(listener, selectors.EVENT_READ)
        return listener

    @property
    def address(self) -> str:
        """As pyserial takes it."""
        return f"socket://{self._host}:{self._port}"

    @property
    def connected(self) -> bool:
        """True while a client is connected."""
        return self._client is not None

    def wait(self, timeout: float) -> tuple[bytes, bool]:
        """As `Port.wait`; accepts or refuses clients meanwhile."""
        data, gone = b"", False
        if not self._selector.get_map():
            # Windows refuses to select on nothing.
            time.sleep(max(timeout, 0.0))
            return data, gone
        for key, _ in self._selector.select(max(timeout, 0.0)):
            if key.fileobj is self._listener:
                self._accept()
            else:
                data, gone = self._receive()
        return data, gone

    def _accept(self) -> None:
        try:
            client, _ = self._listener.accept()
        except OSError:
            return
        if self._client is not None:
            with client, contextlib.suppress(OSError):
                client.sendall(_REFUSAL)
            return
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._selector.register(client, selectors.EVENT_READ)
        self._client = client

    def _receive(self) -> tuple[bytes, bool]:
        if self._client is None:
            return b"", False
        try:
            data = self._client.recv(_MOST)
        except BlockingIOError:
            return b"", False
        except OSError:
            data = b""
        if not data:
            self.hang_up()
            return b"", True
        return data, False

    def send(self, data: bytes) -> None:
        """Sends to the client. A client that does not read loses bytes."""
        if self._client is not None:
            with contextlib.suppress(OSError):
                self._client.send(data)

    def hang_up(self) -> None:
        """Closes the client's connection."""
        if self._client is not None:
            self._selector.unregister(self._client)
            self._client.close()
            self._client = None

    def absent(self, gone: bool) -> None:
        """Stops listening, or listens again at the same port. Raises LinkError."""
        listening = self._listener.fileno() >= 0
        if gone and listening:
            self.hang_up()
            self._selector.unregister(self._listener)
            self._listener.close()
        elif not gone and not listening:
            self._listener = self._listen(self._port)

    def close(self) -> None:
        """Stops listening."""
        self.absent(True)
        self._selector.close()


class PtyPort:
    """A pseudo terminal; Linux and macOS.

    Args:
        baud: only a computer that set this speed is understood, as on a serial line;
            None lets any speed pass.

    Raises:
        LinkError: on a system without pseudo terminals.
    """

    def __init__(self, baud: int | None = None) -> None:
        if sys.platform == "win32":
            raise LinkError("this system has no pseudo terminals: use --listen")
        import tty

        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self._selector = selectors.SelectSelector()
        self._selector.register(self._master, selectors.EVENT_READ)
        self._touched = self._silent = False
        self._baud = baud

    @property
    def address(self) -> str:
        """The path of the terminal."""
        if sys.platform == "win32":
            raise LinkError("this system has no pseudo terminals")
        return os.ttyname(self._slave)

    @property
    def connected(self) -> bool:
        """True once bytes have come: a terminal does not tell who opened it."""
        return self._touched

    def wait(self, timeout: float) -> tuple[bytes, bool]:
        """As `Port.wait`; a terminal never hangs up."""
        if not self._selector.select(max(timeout, 0.0)):
            return b"", False
        try:
            data = os.read(self._master, _MOST)
        except OSError:
            return b"", False
        self._touched = True
        return (data if self._understood else b""), False

    @property
    def _understood(self) -> bool:
        if self._silent or sys.platform == "win32":
            return False
        if self._baud is None:
            return True
        import termios

        speed = termios.tcgetattr(self._slave)[5]
        return bool(speed == getattr(termios, f"B{self._baud}", None))

    def send(self, data: bytes) -> None:
        """Sends; bytes that nobody reads are lost when the buffer is full."""
        if self._understood:
            with contextlib.suppress(OSError):
                os.write(self._master, data)

    def hang_up(self) -> None:
        """Does nothing: the terminal stays."""

    def absent(self, gone: bool) -> None:
        """Is silent while gone: the path of a terminal cannot be kept otherwise."""
        self._silent = gone

    def close(self) -> None:
        """Closes the terminal: a program on it sees its port go away."""
        self._selector.close()
        os.close(self._master)
        os.close(self._slave)


def split_address(listen: str) -> tuple[str, int]:
    """Host and port of `host:port`.

    Raises:
        LinkError: when it is not of that form.
    """
    host, _, port = listen.rpartition(":")
    if not host or not port.isdigit() or int(port) > 0xFFFF:
        raise LinkError(f"{listen!r} is not of the form HOST:PORT")
    return host, int(port)
