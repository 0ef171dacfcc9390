"""A stand-in car with fixed readings, and an adapter in its socket."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.evidence import EMPTY, Evidence
from bankwise.adapters.car.framing import PROTOCOLS, TRANSMISSION
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.quirks import QUIET, Quirks, Trouble
from bankwise.adapters.car.timing import LinkTiming
from bankwise.adapters.car.unit import ControlUnit, Manners

VIN = "1M8GDM9AXKP042788"


@dataclass
class StandIn:
    """A car that stands still: readings as given, time only noted."""

    readings: dict[str, float] = field(
        default_factory=lambda: {
            "rpm": 775.0,
            "speed_kmh": 0.0,
            "ect_c": 83.0,
            "maf_gps": 3.2,
            "module_v": 14.1,
            "stft_b1_pct": 0.0,
            "ltft_b1_pct": 9.375,
            "stft_b2_pct": -25.0,
            "fuel_status_b1": 2.0,
            "fuel_status_b2": 2.0,
            "o2_b1s1_v": 0.45,
            "o2_b1s1_trim_pct": 0.0,
            "o2_b1s2_v": 0.7,
            "o2_b2s1_v": 0.2,
            "o2_b2s1_trim_pct": -25.0,
        }
    )
    key_on: bool = True
    engine_running: bool = True
    t: float = 0.0

    def advance(self, t: float) -> None:
        """Notes the time and insists that it does not go back."""
        assert t >= self.t
        self.t = t


@dataclass
class Bench:
    """An adapter on a stand-in car, asked in virtual time."""

    car: StandIn
    adapter: SimulatedAdapter
    t: float = 0.0

    def ask(self, text: str, *, end: bytes = b"\r") -> bytes:
        """Sends a request and returns every byte that follows."""
        self.adapter.receive(text.encode("ascii") + end, self.t)
        said = b""
        while (due := self.adapter.next_due) is not None:
            self.t = due
            said += self.adapter.take(due)
        return said

    def seconds(self, text: str) -> float:
        """How long a request takes up to its last byte."""
        start = self.t
        self.ask(text)
        return self.t - start

    def quiet(self, *commands: str) -> None:
        """Sends commands that must be obeyed."""
        for text in commands:
            assert self.ask(text).endswith(b"OK\r\r>")


def build(
    number: str = "6",
    *,
    two_units: bool = False,
    evidence: Evidence = EMPTY,
    manners: Manners | None = None,
    quirks: Quirks | None = None,
    trouble: Trouble = QUIET,
    link: LinkTiming | None = None,
) -> Bench:
    """An adapter on a stand-in car that speaks the given protocol."""
    car = StandIn()
    protocol = PROTOCOLS[number]
    names = UnitNames(VIN, ("CAL-0001",), (0x1234ABCD,), "ECM-EngineControl")
    units = [
        ControlUnit(car, names, can=protocol.can, evidence=evidence, manners=manners)
    ]
    if two_units:
        units.append(
            ControlUnit(
                car,
                UnitNames(calibrations=("TCM-0001",)),
                TRANSMISSION,
                can=protocol.can,
                signals=frozenset({"speed_kmh"}),
            )
        )
    bus = CarBus(car, units, protocol, seed=1)
    return Bench(car, SimulatedAdapter(bus, link, quirks, trouble))


@pytest.fixture(name="bench")
def _bench() -> Callable[..., Bench]:
    return build


@pytest.fixture(name="car")
def _car() -> StandIn:
    return StandIn()
