"""Byte layouts that several services share: bitmaps, codes, monitors, test results."""

from __future__ import annotations

from collections.abc import Set

from bankwise.adapters.car.evidence import Evidence, Monitor, TestResult

BLOCK = 0x20
"""Numbers that one support bitmap covers."""

_SIGNED_FROM = 0x80
"""Scalings from here on are signed. Source: from memory of SAE J1979."""

_LOWEST = 0x80
"""Component bit of a lowest limit, before CAN. Source: from memory of SAE J1979."""


def bitmap(number: int, supported: Set[int]) -> bytes:
    """Which of the next 32 numbers are supported; empty when none and number > 0.

    The last bit says that the next bitmap has something to say.
    """
    bits = 0
    for i in range(1, BLOCK + 1):
        after = any(n > number + BLOCK for n in supported) and i == BLOCK
        bits |= (number + i in supported or after) << (BLOCK - i)
    return bits.to_bytes(4, "big") if bits or number == 0 else b""


def code_bytes(code: str) -> bytes:
    """The two bytes of a trouble code, such as 01 71 for P0171.

    Source: SAE J2012; 4123 is C0123, 9234 B1234, D16B U116B.

    Raises:
        ValueError: when the text is not a code.
    """
    system = "PCBU".index(code[0])
    return (system << 14 | int(code[1], 4) << 12 | int(code[2:5], 16)).to_bytes(
        2, "big"
    )


def result_bytes(row: TestResult) -> bytes:
    """One test result as service 06 sends it on CAN."""
    words = (row.value, row.low, row.high)
    head = bytes((row.monitor, row.test, row.scaling))
    return head + b"".join((word & 0xFFFF).to_bytes(2, "big") for word in words)


def older_results(row: TestResult) -> list[bytes]:
    """One test result as service 06 sends it before CAN: a message for each limit.

    Test id, component with the limit's side in its top bit (set: lowest), value, limit.
    The ids were the maker's own then; ours are those of CAN. Source: from memory of
    SAE J1979.
    """
    signed = row.scaling >= _SIGNED_FROM
    least, most = (-0x8000, 0x7FFF) if signed else (0, 0xFFFF)
    sides = [(_LOWEST, row.low)] * (row.low != least)
    sides += [(0, row.high)] * (row.high != most or not sides)
    return [
        bytes((row.monitor, row.test & 0x7F | side))
        + b"".join((word & 0xFFFF).to_bytes(2, "big") for word in (row.value, limit))
        for side, limit in sides
    ]


def monitor_status(evidence: Evidence, *, this_drive: bool) -> bytes:
    """The four bytes of PID 01 (since clear) or PID 41 (this driving cycle).

    Source: from memory of SAE J1979.
    """
    opened = evidence.open_this_drive if this_drive else evidence.open_since_clear
    first = 0 if this_drive else len(evidence.stored) | evidence.lamp << 7
    has = _monitor_bits(evidence.supported)
    lacks = _monitor_bits(opened & evidence.supported)
    continuous = (has & 7) | (lacks & 7) << 4
    return bytes((first, continuous, has >> 8, lacks >> 8))


def _monitor_bits(monitors: frozenset[Monitor]) -> int:
    return sum(1 << monitor.value for monitor in monitors)
