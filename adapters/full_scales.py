"""Full scales that a car announces with PIDs 4F and 50: other than the usual ones.

A unit whose wide-band sensor, manifold pressure or airflow needs more than the usual
range says so, and then the same bytes mean more. A zero stands for the usual scale.

Source: SAE J1979 PIDs 4F (highest λ, sensor volts, sensor milliamperes, manifold
pressure in 10 kPa) and 50 (highest airflow in 10 g/s), from memory; not tried on a car.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

USUAL: Final[Mapping[tuple[int, int], tuple[float, float]]] = {
    (0x4F, 0): (2.0, 1.0),
    (0x4F, 1): (8.0, 1.0),
    (0x4F, 2): (128.0, 1.0),
    (0x4F, 3): (255.0, 10.0),
    (0x50, 0): (655.35, 10.0),
}
"""By PID and data byte: the usual full scale, and what one count of the byte is."""

_WIDE = frozenset((*range(0x24, 0x2C), *range(0x34, 0x3C), 0x44))
_BY_PLACE: Final = (
    ("lambda_", _WIDE, (0x4F, 0)),
    ("o2_", frozenset(range(0x24, 0x2C)), (0x4F, 1)),
    ("o2_", frozenset(range(0x34, 0x3C)), (0x4F, 2)),
    ("map_kpa", frozenset({0x0B}), (0x4F, 3)),
    ("maf_gps", frozenset({0x10}), (0x50, 0)),
)
"""Which values they change: beginning of the signal's name, PIDs, full scale."""

Factors = dict[tuple[int, int], float]
"""By PID and data byte of the announcement: how much more a value means."""


def factors(data: Mapping[int, bytes]) -> Factors:
    """The factors that one answer announces; empty when it announces none.

    Args:
        data: data bytes by PID.
    """
    found: Factors = {}
    for (pid, at), (usual, count) in USUAL.items():
        told = data.get(pid, b"")
        if len(told) > at:
            found[pid, at] = told[at] * count / usual if told[at] else 1.0
    return found


def factor(known: Mapping[tuple[int, int], float], pid: int, signal: str) -> float:
    """By how much a decoded value of a signal is to be multiplied."""
    for start, pids, scale in _BY_PLACE:
        if pid in pids and signal.startswith(start):
            return known.get(scale, 1.0)
    return 1.0
