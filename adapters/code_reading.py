"""Trouble codes out of answers: what each control unit said, or why nobody knows.

No answer is not "no codes", and neither is a refusal: a reading tells the three
apart. Code layout after SAE J2012 and J1979 as restated in public tables; the
three-byte layout of SAE J1979-2 is from memory and was not tried on a car.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from bankwise.signals import trouble_codes

_LETTERS = "PCBU"
_PENDING_BIT, _CONFIRMED_BIT = 0x04, 0x08

_FIRST_RECORD = {0x42: 6, 0x55: 5}
"""Where the records begin, by report type. Source: as udsoncan reads them."""
_RECORD = 5

_REPORT = 0x59
"""First byte of an answer to service 19."""

REPORTS = {
    "stored": "194233081E",
    "pending": "194233041E",
    "permanent": "195533",
}
"""Which request reads which set of codes of a SAE J1979-2 car: group 33, by status mask
(confirmed 08, pending 04), every severity. Source: from memory of SAE J1979-2."""

SERVICES = {"03": "stored", "07": "pending", "0A": "permanent"}
"""Which service reads which set of codes."""


def code_name(high: int, low: int) -> str:
    """The five characters of a two-byte code.

    Source: SAE J2012: two bits letter, two bits digit, three hexadecimal digits.
    """
    return f"{_LETTERS[high >> 6]}{high >> 4 & 3}{high & 0xF:X}{low:02X}"


def three_byte_name(three: bytes) -> str:
    """The name of a code of three bytes: `P0171`, or `P0171-1A` with a failure type.

    Source: SAE J2012-DA, from memory: the third byte is the failure type, 00 none.
    """
    high, low, failure = three
    return code_name(high, low) + (f"-{failure:02X}" if failure else "")


def three_bytes_of(code: str) -> bytes:
    """The three bytes of a code's name; the inverse of `three_byte_name`.

    Raises:
        ValueError: when the text is no code.
    """
    base, _, failure = code.partition("-")
    high = _LETTERS.index(base[0]) << 6 | int(base[1], 4) << 4 | int(base[2], 16)
    return bytes((high, int(base[3:5], 16), int(failure or "0", 16)))


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

    Records are severity, three code bytes and status, after `59 42`, group, two masks
    and format, or `59 55`, group, one mask and format. Source: as udsoncan reads ISO
    14229-1; not tried on a car.
    """
    start = _FIRST_RECORD.get(payload[1]) if len(payload) > 1 else None
    if start is None or payload[0] != _REPORT or len(payload) < start:
        return None
    body = payload[start:]
    if len(body) % _RECORD:
        return None
    out = []
    for i in range(0, len(body), _RECORD):
        three, status = body[i + 1 : i + 4], body[i + 4]
        out.append(StatusCode(three_byte_name(three), status))
    return tuple(out)


_BELONGS: dict[str, Callable[[StatusCode], bool]] = {
    "stored": lambda code: code.confirmed,
    "pending": lambda code: code.pending,
    "permanent": lambda _: True,
}


def codes_of_report(payload: bytes, when: str) -> tuple[StatusCode, ...] | None:
    """The codes of an answer that belong to a set by their own status byte.

    A unit that does not heed the mask it was asked with must not put a pending code
    among the stored ones.

    Args:
        payload: from the service byte `59` on.
        when: stored, pending or permanent.

    Returns:
        The codes, or None when the length contradicts itself.
    """
    codes = status_codes_in(payload)
    if codes is None:
        return None
    return tuple(code for code in codes if _BELONGS[when](code))


def grouped(codes: Sequence[str]) -> dict[tuple[str, str], tuple[str, ...]]:
    """Codes by (place, system), places in order: banks, sensors, then engine."""
    groups: dict[tuple[str, str], list[str]] = {}
    for code in codes:
        key = (trouble_codes.about(code), trouble_codes.system(code))
        groups.setdefault(key, []).append(code)
    order = sorted(groups, key=lambda key: (key[0] == "engine", key))
    return {key: tuple(groups[key]) for key in order}
