"""Requests for current data and their answers: sizes, frames, splitting, support.

An answer is split only when every PID in it was asked for and its lengths add up; a
truncated or foreign answer gives None, never a value.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Final

from bankwise.adapters.pids import PIDS

SERVICE: Final = 0x01
ANSWER: Final = 0x41
MOST_PIDS: Final = 6
"""PIDs in one request on CAN. Source: SAE J1979, from memory; ADAPTER.md 2."""
SINGLE_FRAME: Final = 7
"""Payload bytes of a CAN frame on its own. Source: ISO 15765-2."""
MOST_DIGIT: Final = 15
"""The largest number one hexadecimal digit holds."""
RANGES: Final = tuple(range(0x00, 0xC0, 0x20))
"""PIDs that tell which of the next 32 are supported, as far as this table goes."""


def request(pids: Iterable[int], digit: int | None = None) -> str:
    """The text of a request, with the number of frames to expect when given."""
    text = "01" + "".join(f"{pid:02X}" for pid in pids)
    return text if digit is None else f"{text}{digit:X}"


def payload_bytes(pids: Iterable[int]) -> int:
    """Length of the answer that carries these PIDs, from the service byte on."""
    return 1 + sum(1 + PIDS[pid].length for pid in pids)


def can_frames(length: int) -> int:
    """CAN frames that a payload takes. Source: ISO 15765-2: 6 bytes, then 7 each."""
    return 1 if length <= SINGLE_FRAME else 1 + -(-(length - 6) // 7)


def expected_digit(
    pids: Collection[int], units: Mapping[str, frozenset[int]], *, can: bool
) -> int | None:
    """The number of frames that all control units together answer with.

    None when it cannot be told, or one digit cannot hold it.
    """
    frames = 0
    for supported in units.values():
        mine = [pid for pid in pids if pid in supported]
        if mine:
            frames += can_frames(payload_bytes(mine)) if can else len(mine)
    return frames if 0 < frames <= MOST_DIGIT else None


def split(payload: bytes, asked: Collection[int]) -> dict[int, bytes] | None:
    """The data bytes by PID of one unit's answer, in answer order.

    None when the service, a PID or a length does not match what was asked. Fill bytes
    of zero after the last PID are allowed, as adapters and units pad answers.
    """
    if not payload or payload[0] != ANSWER:
        return None
    found: dict[int, bytes] = {}
    at = 1
    while at < len(payload):
        pid = payload[at]
        if pid not in asked or pid in found:
            rest = payload[at:]
            return found if found and not any(rest) and 0 not in asked else None
        data = payload[at + 1 : at + 1 + PIDS[pid].length]
        if len(data) != PIDS[pid].length:
            return None
        found[pid] = data
        at += 1 + len(data)
    return found or None


def bitmap(base: int, data: bytes) -> frozenset[int]:
    """PIDs that a support answer names. `data`: its four bytes, for `base`+1 … +32."""
    bits = int.from_bytes(data, "big")
    return frozenset(base + 32 - i for i in range(32) if bits >> i & 1)
