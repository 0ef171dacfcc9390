"""Requests for current data and the size of their answers: bytes, frames, support.

Two ways to ask for the same numbers: service 01 with PIDs, and service 22 with the
identifiers F400 to F4FF of SAE J1979-2, which carry the same data with the same scaling
(from memory of that standard; not tried on a car).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from bankwise.adapters.pids import PIDS

SINGLE_FRAME: Final = 7
"""Payload bytes of a CAN frame on its own. Source: ISO 15765-2."""
MOST_DIGIT: Final = 15
"""The largest number one hexadecimal digit holds."""
RANGES: Final = tuple(range(0x00, 0xC0, 0x20))
"""PIDs that tell which of the next 32 are supported, as far as this table goes."""


@dataclass(frozen=True, slots=True)
class Way:
    """A way to ask for current data.

    Attributes:
        service: the request's service byte, two digits.
        block: what stands before each PID, as sent.
        most: identifiers in one request of one CAN frame.
    """

    service: str
    block: str
    most: int

    @property
    def width(self) -> int:
        """Bytes of an identifier."""
        return 1 + len(self.block) // 2

    def request(self, pids: Iterable[int], digit: int | None = None) -> str:
        """The text of a request, with the number of frames to expect when given."""
        text = self.service + "".join(f"{self.block}{pid:02X}" for pid in pids)
        return text if digit is None else f"{text}{digit:X}"

    def payload_bytes(self, pids: Iterable[int]) -> int:
        """Length of the answer that carries these, from the service byte on."""
        return 1 + sum(self.width + PIDS[pid].length for pid in pids)

    def answered(self, pid: int) -> bytes:
        """How an answer about one PID begins."""
        service = int(self.service, 16) | 0x40
        return bytes([service]) + bytes.fromhex(f"{self.block}{pid:02X}")


PLAIN: Final = Way("01", "", 6)
"""Service 01. Source: SAE J1979, from memory: six PIDs a request on CAN."""
BY_IDENTIFIER: Final = Way("22", "F4", 3)
"""Service 22. Three identifiers fill a request of one frame."""


def can_frames(length: int) -> int:
    """CAN frames that a payload takes. Source: ISO 15765-2: 6 bytes, then 7 each."""
    return 1 if length <= SINGLE_FRAME else 1 + -(-(length - 6) // 7)


def expected_digit(
    pids: Collection[int],
    units: Mapping[str, frozenset[int]],
    *,
    can: bool,
    way: Way = PLAIN,
) -> int | None:
    """The number of frames that all control units together answer with.

    None when it cannot be told, or one digit cannot hold it.
    """
    frames = 0
    for supported in units.values():
        mine = [pid for pid in pids if pid in supported]
        if mine:
            frames += can_frames(way.payload_bytes(mine)) if can else len(mine)
    return frames if 0 < frames <= MOST_DIGIT else None


def bitmap(base: int, data: bytes) -> frozenset[int]:
    """PIDs that a support answer names. `data`: its four bytes, for `base`+1 … +32."""
    bits = int.from_bytes(data, "big")
    return frozenset(base + 32 - i for i in range(32) if bits >> i & 1)
