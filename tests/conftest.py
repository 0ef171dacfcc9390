"""A parked car with something to remember, for tests of codes at every level."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest
from hypothesis import settings

from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.evidence import FreezeFrame, Monitor, TestResult
from bankwise.adapters.car.framing import ENGINE, PROTOCOLS, TRANSMISSION
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.uds_unit import UdsUnit
from bankwise.adapters.car.unit import ControlUnit

# The same examples in every run, however slow the machine: what a change breaks is seen
# with that change. `pytest --hypothesis-profile=searching` looks for other ones.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile("searching", deadline=None)
settings.load_profile("repeatable")

VIN = "1M8GDM9AXKP042788"


@dataclass
class StandingCar:
    """A car at rest whose readings a test may change."""

    readings: dict[str, float] = field(
        default_factory=lambda: {"rpm": 0.0, "speed_kmh": 0.0, "ect_c": 60.0}
    )
    key_on: bool = True
    engine_running: bool = False

    def advance(self, t: float) -> None:
        """Nothing changes by itself."""


@dataclass
class Memory:
    """A control unit's memory that clears as the law says: permanent codes stay."""

    lamp: bool = True
    stored: tuple[str, ...] = ("P0174", "P0155")
    pending: tuple[str, ...] = ("P0174", "P0300")
    permanent: tuple[str, ...] = ("P0155",)
    freeze_frames: tuple[FreezeFrame, ...] = (
        FreezeFrame("P0174", {"rpm": 2100.0, "load_pct": 38.0, "ect_c": 88.0}),
    )
    supported: frozenset[Monitor] = frozenset({Monitor.CATALYST, Monitor.MISFIRE})
    open_since_clear: frozenset[Monitor] = frozenset()
    open_this_drive: frozenset[Monitor] = frozenset({Monitor.CATALYST})
    tests: tuple[TestResult, ...] = (TestResult(0x01, 0x05, 0x10, 40, 0, 100),)
    ratios: tuple[int, ...] = ()

    def clear(self) -> None:
        """Forgets all but the permanent codes."""
        self.lamp = False
        self.stored = self.pending = ()
        self.freeze_frames = ()
        self.tests = ()
        self.open_since_clear = self.supported


@dataclass
class Parked:
    """A standing car, its units' memories, and the adapter in its socket."""

    car: StandingCar = field(default_factory=StandingCar)
    memory: Memory = field(default_factory=Memory)
    others: list[Memory] = field(default_factory=list)
    protocol: str = "6"
    uds: bool = False

    def other(self, *stored: str) -> None:
        """Adds a transmission unit with these stored codes."""
        self.others.append(Memory(stored=stored, pending=(), permanent=()))

    def adapter(self) -> SimulatedAdapter:
        """The adapter, plugged in."""
        spoken = PROTOCOLS[self.protocol]
        units = [
            ControlUnit(
                self.car,
                UnitNames(vin="" if place else VIN),
                TRANSMISSION if place else ENGINE,
                can=spoken.can,
                evidence=memory,
            )
            for place, memory in enumerate([self.memory, *self.others])
        ]
        spoken_units = [UdsUnit(unit) for unit in units] if self.uds else units
        return SimulatedAdapter(CarBus(self.car, spoken_units, spoken))


@pytest.fixture(name="parked")
def _parked() -> Parked:
    return Parked()
