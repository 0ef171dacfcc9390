"""What a control unit remembers: codes, freeze frame, monitors, test results, counters.

The unit answers from any object of this shape; the simulated car's monitors are one.
`Fixed` is a memory that never changes, for units that have nothing to say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol, runtime_checkable


class Monitor(Enum):
    """The readiness monitors of a spark-ignition engine; the value is the bit.

    Bits 0-2 are the continuous monitors of byte B of PID 01, the rest, less 8, the
    bits of bytes C and D. Source: from memory of SAE J1979, PID 01.
    """

    MISFIRE = 0
    FUEL_SYSTEM = 1
    COMPONENTS = 2
    CATALYST = 8
    HEATED_CATALYST = 9
    EVAPORATIVE = 10
    SECONDARY_AIR = 11
    PARTICLE_FILTER = 12
    OXYGEN_SENSOR = 13
    OXYGEN_HEATER = 14
    EGR_VVT = 15


@dataclass(frozen=True, slots=True)
class TestResult:
    """One on-board test result of service 06.

    Attributes:
        monitor: monitor id (MID), such as 01 for B1S1 or 21 for the B1 catalyst.
        test: test id (TID).
        scaling: unit-and-scaling id.
        value, low, high: raw 16-bit numbers in that scaling.
    """

    __test__ = False

    monitor: int
    test: int
    scaling: int
    value: int
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class FreezeFrame:
    """Readings at the moment a code was set."""

    code: str
    readings: Mapping[str, float]


class Evidence(Protocol):
    """The memory of one control unit. Codes are texts such as `P0171`."""

    @property
    def lamp(self) -> bool:
        """True while the malfunction lamp is commanded on."""
        ...

    @property
    def stored(self) -> Sequence[str]:
        """Confirmed codes."""
        ...

    @property
    def pending(self) -> Sequence[str]:
        """Codes of this or the last driving cycle."""
        ...

    @property
    def permanent(self) -> Sequence[str]:
        """Codes that clearing does not remove."""
        ...

    @property
    def freeze_frames(self) -> Sequence[FreezeFrame]:
        """Kept frames; index 0 is the one the law asks for."""
        ...

    @property
    def supported(self) -> frozenset[Monitor]:
        """Monitors this car has."""
        ...

    @property
    def open_since_clear(self) -> frozenset[Monitor]:
        """Monitors not complete since codes were cleared."""
        ...

    @property
    def open_this_drive(self) -> frozenset[Monitor]:
        """Monitors not complete this driving cycle."""
        ...

    @property
    def tests(self) -> Sequence[TestResult]:
        """On-board test results."""
        ...

    @property
    def ratios(self) -> Sequence[int]:
        """In-use performance counters in the order of service 09, item 08."""
        ...

    def clear(self) -> None:
        """Clears what service 04 clears."""
        ...


@runtime_checkable
class Remembers(Protocol):
    """A car whose engine unit has a memory."""

    @property
    def monitors(self) -> Evidence:
        """That memory."""
        ...


_NONE_OPEN: frozenset[Monitor] = frozenset()

USUAL_MONITORS = frozenset(
    {
        Monitor.MISFIRE,
        Monitor.FUEL_SYSTEM,
        Monitor.COMPONENTS,
        Monitor.CATALYST,
        Monitor.EVAPORATIVE,
        Monitor.OXYGEN_SENSOR,
        Monitor.OXYGEN_HEATER,
    }
)
"""Monitors of an ordinary petrol car. Source: our choice."""


@dataclass(frozen=True, slots=True)
class Fixed:
    """A memory that never changes; clearing it has no effect."""

    lamp: bool = False
    stored: Sequence[str] = ()
    pending: Sequence[str] = ()
    permanent: Sequence[str] = ()
    freeze_frames: Sequence[FreezeFrame] = ()
    supported: frozenset[Monitor] = _NONE_OPEN
    open_since_clear: frozenset[Monitor] = _NONE_OPEN
    open_this_drive: frozenset[Monitor] = _NONE_OPEN
    tests: Sequence[TestResult] = ()
    ratios: Sequence[int] = field(default=())

    def clear(self) -> None:
        """Does nothing: there is nothing to clear."""


EMPTY = Fixed(supported=USUAL_MONITORS)
"""A healthy engine's memory: no codes, every monitor complete."""
