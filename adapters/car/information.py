"""Service 09: what a unit calls itself, and its in-use counters.

Source: from memory of SAE J1979: VIN 02, calibration ids 04 of sixteen characters,
verification numbers 06 of four bytes, counters 08 of two bytes, name 0A of twenty.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

_ITEM_SIZE = {0x02: 17, 0x04: 16, 0x06: 4, 0x08: 2, 0x0A: 20}
_LEGACY_PIECE = 4


@dataclass(frozen=True, slots=True)
class UnitNames:
    """Names of one control unit; what is empty is not supported.

    Attributes:
        vin: vehicle identification number; usually only the engine unit has it.
        calibrations: calibration ids, sixteen characters at most.
        verifications: one verification number per calibration id.
        name: such as `ECM-EngineControl`, twenty characters at most.
    """

    vin: str = ""
    calibrations: tuple[str, ...] = ()
    verifications: tuple[int, ...] = ()
    name: str = ""


def items(names: UnitNames, ratios: Sequence[int]) -> dict[int, tuple[bytes, ...]]:
    """The data items a unit has, by item number, each of its fixed size."""
    acronym, _, rest = names.name.partition("-")
    name = f"{acronym:\0<4}-{rest}" if names.name else ""
    rows: dict[int, Sequence[bytes]] = {
        0x02: [names.vin.encode("ascii")] if names.vin else [],
        0x04: [text.encode("ascii") for text in names.calibrations],
        0x06: [number.to_bytes(4, "big") for number in names.verifications],
        0x08: [count.to_bytes(2, "big") for count in ratios],
        0x0A: [name.encode("ascii")] if name else [],
    }
    return {
        number: tuple(_sized(item, _ITEM_SIZE[number]) for item in found)
        for number, found in rows.items()
        if found
    }


def _sized(item: bytes, size: int) -> bytes:
    return item[:size].ljust(size, b"\0")


def _support(numbers: set[int]) -> bytes:
    bits = sum(1 << (32 - number) for number in numbers)
    return bits.to_bytes(4, "big")


def messages(number: int, found: Mapping[int, tuple[bytes, ...]]) -> list[bytes]:
    """The message of one item on CAN: item, count of data items, data."""
    head = bytes((0x49, number))
    if number == 0:
        return [head + _support(set(found))]
    if number not in found:
        return []
    rows = found[number]
    return [head + bytes((len(rows),)) + b"".join(rows)]


def legacy_messages(number: int, found: Mapping[int, tuple[bytes, ...]]) -> list[bytes]:
    """The messages of one item on the older protocols: four bytes each, numbered.

    The odd item before each (01 before 02, and so on) gives the number of messages.
    """
    head = bytes((0x49, number))
    if number == 0:
        counts = {n - 1 for n in found}
        return [head + b"\x01" + _support(set(found) | counts)]
    if number + 1 in found and number % 2:
        return [head + bytes((len(_pieces(found[number + 1])),))]
    if number not in found:
        return []
    pieces = _pieces(found[number])
    return [head + bytes((i,)) + piece for i, piece in enumerate(pieces, start=1)]


def _pieces(rows: tuple[bytes, ...]) -> list[bytes]:
    data = b"".join(rows)
    data = data.rjust(-(-len(data) // _LEGACY_PIECE) * _LEGACY_PIECE, b"\0")
    return [data[i : i + _LEGACY_PIECE] for i in range(0, len(data), _LEGACY_PIECE)]
