"""Trouble codes out of answers: what each control unit said, or why nobody knows.

No answer is not "no codes", and neither is a refusal: a reading tells the three
apart. Code layout after SAE J2012 and J1979 as restated in public tables; the
three-byte layout of SAE J1979-2 is from memory and was not tried on a car.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bankwise.signals import trouble_codes

_LETTERS = "PCBU"
_PENDING_BIT, _CONFIRMED_BIT = 0x04, 0x08

_STATUS_LAYOUTS = {0x42: (6, 5), 0x55: (5, 4)}
"""First record byte and record length by report type."""

SERVICES = {"03": "stored", "07": "pending", "0A": "permanent"}
"""Which service reads which set of codes."""


def code_name(high: int, low: int) -> str:
    """The five characters of a two-byte code.

    Source: SAE J2012: two bits letter, two bits digit, three hexadecimal digits.
    """
    return f"{_LETTERS[high >> 6]}{high >> 4 & 3}{high & 0xF:X}{low:02X}"


def codes_in(payload: bytes, *, counted: bool) -> tuple[str, ...] | None:
    """The codes of one unit's answer to service 03, 07 or 0A.

    Args:
        payload: the answer from the service byte on.
        counted: True on CAN, where a count byte precedes the codes.

    Returns:
        The codes, or None when the length contradicts itself.
    """
    body = payload[1:]
    if counted:
        if not body or len(body) - 1 < 2 * body[0]:
            return None
        body = body[1 : 1 + 2 * body[0]]
    if len(body) % 2:
        return None
    pairs = zip(body[::2], body[1::2], strict=True)
    return tuple(code_name(high, low) for high, low in pairs if high or low)


@dataclass(frozen=True, slots=True)
class StatusCode:
    """A three-byte code of SAE J1979-2 with its status byte."""

    code: str
    status: int

    @property
    def pending(self) -> bool:
        """True when the pending bit of the status byte is set (ISO 14229)."""
        return bool(self.status & _PENDING_BIT)

    @property
    def confirmed(self) -> bool:
        """True when the confirmed bit of the status byte is set (ISO 14229)."""
        return bool(self.status & _CONFIRMED_BIT)


def status_codes_in(payload: bytes) -> tuple[StatusCode, ...] | None:
    """The codes of a `59 42` or `59 55` answer; None when the length is wrong.

    Records are severity, three code bytes and status after `59 42`; `59 55` carries
    three code bytes and status. From memory of ISO 14229 and SAE J1979-2.
    """
    layout = _STATUS_LAYOUTS.get(payload[1]) if len(payload) > 1 else None
    if layout is None:
        return None
    start, width = layout
    body = payload[start:]
    if len(body) % width:
        return None
    out = []
    for i in range(0, len(body), width):
        high, low, kind_of_failure, status = body[i + width - 4 : i + width]
        suffix = f"-{kind_of_failure:02X}" if kind_of_failure else ""
        out.append(StatusCode(code_name(high, low) + suffix, status))
    return tuple(out)


def grouped(codes: Sequence[str]) -> dict[tuple[str, str], tuple[str, ...]]:
    """Codes by (place, system), places in order: banks, sensors, then engine."""
    groups: dict[tuple[str, str], list[str]] = {}
    for code in codes:
        key = (trouble_codes.about(code), trouble_codes.system(code))
        groups.setdefault(key, []).append(code)
    order = sorted(groups, key=lambda key: (key[0] == "engine", key))
    return {key: tuple(groups[key]) for key in order}
