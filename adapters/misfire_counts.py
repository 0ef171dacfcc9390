"""Misfire counts of service 06 as signals: of all cylinders together and of each one.

A unit counts over the drive and gives the numbers whenever it is asked. They come with
each reading of the test results, not with the fast values, so such a column holds a few
samples. A lamp that flashes for a misfire cannot be asked for: PID 01 only tells that
the lamp is on.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from bankwise.adapters.monitor_results import Records, records_in, records_of

_ALL, _LAST = 0xA1, 0xAD
"""Monitor of all cylinders together and the last of one cylinder each.

Source: SAE J1979, as restated in python-OBD's table of monitors.
"""

_NAMES: Final = {0x0B: "misfire_average", 0x0C: "misfire_count"}
"""Signal by test: average of ten driving cycles; this or the last driving cycle."""

_COUNTS: Final = 0x24
"""Scaling "counts, one a bit": no other makes sense here. Source: SAE J1979."""

_ON_BOARD, _BY_IDENTIFIER, _TESTS_BLOCK = 0x46, 0x62, 0xF6


def is_misfire_request(request: str) -> bool:
    """Whether a request, in capitals and without spaces, asks for misfire counts."""
    return bool(_asked(request))


def misfire_counts(
    request: str, answers: Iterable[tuple[str, bytes]]
) -> dict[str, float]:
    """Counts by signal name; of two units that count, the lowest identifier's.

    Before CAN, monitors and tests were numbered by the maker, so nothing is taken.

    Args:
        request: as sent, in capitals and without spaces.
        answers: unit and payload of every good answer.
    """
    monitors = _asked(request)
    found: dict[str, float] = {}
    for unit, payload in sorted(answers):
        if len(unit) < 3:
            continue
        for monitor, (test, scaling, high, low, *_) in _records(payload):
            if monitor in monitors and scaling == _COUNTS and test in _NAMES:
                found.setdefault(_name(monitor, test), float(high << 8 | low))
    return found


def _asked(request: str) -> frozenset[int]:
    """Misfire monitors that a request names."""
    if request.startswith("06"):
        numbers = bytes.fromhex(request[2:])
    elif request.startswith("22F6") and len(request) == 6:
        numbers = bytes.fromhex(request[4:])
    else:
        return frozenset()
    return frozenset(number for number in numbers if _ALL <= number <= _LAST)


def _records(payload: bytes) -> Records:
    """Results in one answer; none when it is no such answer, or its length is wrong.

    By identifier the monitor stands once, ahead of all.
    """
    found = None
    if payload[:1] == bytes((_ON_BOARD,)):
        found = records_in(payload)
    elif payload[:2] == bytes((_BY_IDENTIFIER, _TESTS_BLOCK)) and payload[2:]:
        found = records_of(payload[2], payload[3:])
    return found or ()


def _name(monitor: int, test: int) -> str:
    cylinder = monitor - _ALL
    return f"{_NAMES[test]}_c{cylinder}" if cylinder else _NAMES[test]
