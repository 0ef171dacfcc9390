"""A link straight to a CAN bus, without an adapter; needs the extra `[can]`.

It takes the adapter's place: the same requests in, the same lines out, so start-up,
polling and recording know no difference and a session holds the same exchanges. What
goes onto the bus is a permitted request to 7DF, 7E0-7E7 or their 29-bit relatives, and
the flow control frame that a long answer waits for; nothing else.

python-can is under the LGPL-3.0; it is imported only here and only when asked for.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from typing import Any, Final
from urllib.parse import parse_qsl, urlsplit

from bankwise.adapters.errors import LinkError, LinkLost
from bankwise.adapters.gate import Permitted, wire

SCHEME: Final = "can://"
NAME: Final = "CANDIRECT v1.0"
"""What it answers when an adapter is asked its name."""
ANSWER_S: Final = 0.15
"""Longest wait for a first answer. Source: ISO 15765-4, from memory: a unit answers
within 50 ms; three times that leaves room for a busy computer."""
PENDING_S: Final = 5.0
"""Longest wait after "answer follows". Source: ISO 14229-2, from memory."""
BETWEEN_S: Final = 0.06
"""Silence after which no further unit answers. Source: as `ANSWER_S`."""
MOST_LATE: Final = 256
"""Frames looked through after the time for an answer is up. Our choice: a computer that
stood still finds the answer waiting, and a full bus does not hold it up for ever."""
LISTEN_S: Final = 0.3
"""How long the bus is only listened to before anything is sent. Our choice."""
BITRATE: Final = 500_000

_FUNCTIONAL: Final = {11: 0x7DF, 29: 0x18DB33F1}
_FILL: Final = 0x00
_SINGLE: Final = 7
_PROMPT: Final = b"\r>"


def _is_answer(arbitration: int, bits: int) -> bool:
    if bits == 11:
        return 0x7E8 <= arbitration <= 0x7EF
    return arbitration & 0x1FFFFF00 == 0x18DAF100


def _asks(arbitration: int, bits: int) -> int:
    """Where flow control for an answer of this identifier goes."""
    if bits == 11:
        return arbitration - 8
    return 0x18DA00F1 | (arbitration & 0xFF) << 8


def open_bus(url: str) -> Any:
    """Opens `can://INTERFACE/CHANNEL?bitrate=500000`. Raises LinkError."""
    try:
        import can
    except ImportError as error:
        raise LinkError(
            "direct CAN needs an extra: pip install 'bankwise[can]'"
        ) from error
    parts = urlsplit(url)
    options = dict(parse_qsl(parts.query))
    try:
        bitrate = int(options.get("bitrate", BITRATE))
        channel = parts.path.lstrip("/") or options.get("channel", "")
        return can.Bus(interface=parts.netloc, channel=channel, bitrate=bitrate)
    # python-can's back-ends raise their makers' own errors; none of them is ours.
    except Exception as error:
        words = " ".join(str(error).split()) or type(error).__name__
        raise LinkError(f"{url} cannot be opened: {words}") from error


class CanLink:
    """A CAN bus that answers like an adapter."""

    def __init__(
        self, bus: Any, name: str = "can", clock: Callable[[], float] = time.monotonic
    ) -> None:
        """Takes an open python-can bus and listens before it will send.

        Args:
            bus: the bus; its `recv` waits by `clock`.
            name: what the person calls it.
            clock: monotonic. Unit: seconds.

        Raises:
            LinkError: when the bus shows errors, as it does at the wrong bit rate.
        """
        self._bus = bus
        self._name = name
        self.now = clock
        self._bits = 11
        self._fixed = False
        self._out: deque[bytes] = deque()
        self._busy = False
        self._wanted: int | None = None
        self._lines = 0
        self._deadline = 0.0
        self._tried: list[int] = []
        self._payload = b""
        self._to: int | None = None
        self._open = True
        self._listen()

    @property
    def name(self) -> str:
        """The bus as the person knows it."""
        return self._name

    def close(self) -> None:
        """Lets go of the bus."""
        if self._open:
            self._open = False
            self._bus.shutdown()

    def write(self, request: Permitted) -> None:
        """Takes a permitted request. Raises LinkLost, GateRefused."""
        text = wire(request).decode("ascii").strip()
        self._check()
        if not text:
            if self._busy:
                self._finish("STOPPED")
            return
        self._drop_stale()
        if text.startswith("AT"):
            self._out.append(self._command(text[2:]).encode() + b"\r" + _PROMPT)
            return
        digit = int(text[-1], 16) if len(text) % 2 else None
        payload = bytes.fromhex(text[:-1] if digit is not None else text)
        if len(payload) > _SINGLE:
            self._out.append(b"?\r" + _PROMPT)
            return
        self._wanted = digit
        self._lines = 0
        self._payload = payload
        self._tried = []
        self._busy = True
        self._ask()

    def read(self, timeout: float) -> bytes:
        """What has arrived, as `Link.read`. Raises LinkLost."""
        self._check()
        end = self.now() + timeout
        while not self._out:
            now = self.now()
            if not self._busy:
                self._idle(end)
                return b""
            if now >= self._deadline:
                if not self._late():
                    self._silence()
                continue
            if now >= end:
                return b""
            message = self._receive(min(end, self._deadline) - now)
            if message is not None:
                self._take(message)
        data = b"".join(self._out)
        self._out.clear()
        return data

    # --- the adapter's part ------------------------------------------------------

    def _command(self, text: str) -> str:
        if text == "I" or text in ("Z", "WS"):
            return NAME
        if text.startswith("TP"):
            number = text[-1]
            self._fixed = number != "0"
            self._bits = 29 if number in "79" else 11
            return "OK" if number in "06789" else "?"
        if text == "DPN":
            return ("" if self._fixed else "A") + ("6" if self._bits == 11 else "7")
        if text.startswith("SH"):
            header = int(text[2:], 16)
            self._to = None if header in _FUNCTIONAL.values() else header
            return "OK"
        known = ("E", "L", "S0", "S1", "H1", "AT", "ST", "PC", "CAF1", "AL", "NL", "M0")
        return "OK" if text.startswith(known) else "?"

    # --- the bus's part ------------------------------------------------------------

    def _check(self) -> None:
        if not self._open:
            raise LinkLost(f"{self._name} went away")

    def _receive(self, seconds: float) -> Any:
        try:
            return self._bus.recv(max(0.0, seconds))
        except Exception as error:  # the back-end's own
            raise LinkLost(f"{self._name} went away") from error

    def _listen(self) -> None:
        end = self.now() + LISTEN_S
        while (left := end - self.now()) > 0:
            message = self._receive(left)
            if message is not None and message.is_error_frame:
                self.close()
                raise LinkError(
                    f"{self._name} shows bus errors: is the bit rate right?"
                )

    def _idle(self, end: float) -> None:
        """Lets time pass while nobody was asked; what the bus says is not for us."""
        while (left := end - self.now()) > 0:
            self._receive(left)

    def _late(self) -> bool:
        """Takes an answer that waits already when its time is up; False without one."""
        for _ in range(MOST_LATE):
            message = self._receive(0.0)
            if message is None:
                return False
            before = self._deadline
            self._take(message)
            if self._out or self._deadline > before:
                return True
        return False

    def _drop_stale(self) -> None:
        while self._receive(0.0) is not None:
            pass

    def _ask(self) -> None:
        self._tried.append(self._bits)
        to = self._to if self._to is not None else _FUNCTIONAL[self._bits]
        data = bytes([len(self._payload)]) + self._payload
        self._send(to, data)
        self._deadline = self.now() + ANSWER_S

    def _send(self, to: int, data: bytes) -> None:
        import can

        message = can.Message(
            arbitration_id=to,
            is_extended_id=to > 0x7FF,
            data=data.ljust(8, bytes([_FILL])),
        )
        try:
            self._bus.send(message, timeout=0.1)
        except Exception as error:  # the back-end's own
            self._finish("CAN ERROR")
            raise LinkLost(f"{self._name} takes no frames") from error

    def _take(self, message: Any) -> None:
        bits = 29 if message.is_extended_id else 11
        if message.is_error_frame or message.is_remote_frame or bits != self._bits:
            return
        if not _is_answer(message.arbitration_id, bits) or not message.data:
            return
        data = bytes(message.data)
        header = f"{message.arbitration_id:03X}" if bits == 11 else (
            f"{message.arbitration_id:08X}"
        )  # fmt: skip
        self._out.append(f"{header}{data.hex().upper()}\r".encode())
        self._lines += 1
        now = self.now()
        self._deadline = max(self._deadline, now + BETWEEN_S)
        if data[0] >> 4 == 1:
            self._send(_asks(message.arbitration_id, bits), b"\x30\x00\x00")
            self._deadline = now + ANSWER_S
        if data[1:2] == b"\x7f" and data[3:4] == b"\x78":
            self._deadline = now + PENDING_S
            self._lines -= 1
        if self._wanted is not None and self._lines >= self._wanted:
            self._finish("")

    def _silence(self) -> None:
        if self._lines:
            self._finish("")
        elif not self._fixed and self._to is None and len(self._tried) < 2:
            self._bits = 40 - self._bits
            self._ask()
        else:
            self._bits = self._tried[0]
            self._finish("NO DATA")

    def _finish(self, word: str) -> None:
        self._busy = False
        self._out.append((f"{word}\r" if word else "").encode() + _PROMPT)
