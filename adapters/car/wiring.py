"""Puts a car together: its control units, their bus and the adapter in the socket."""

from __future__ import annotations

from bankwise.adapters.car.bus import CarBus, Unit
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.evidence import (
    EMPTY,
    Evidence,
    Fixed,
    Monitor,
    Remembers,
)
from bankwise.adapters.car.framing import PROTOCOLS, TRANSMISSION
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.maker_values import data, maker_values
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.quirks import QUIET, Quirks, Trouble
from bankwise.adapters.car.spec import CarSpec
from bankwise.adapters.car.timing import LinkTiming
from bankwise.adapters.car.uds_unit import UdsUnit
from bankwise.adapters.car.unit import CarState, ControlUnit, Manners

TRANSMISSION_SIGNALS = frozenset({"speed_kmh"})
TRANSMISSION_MEMORY = Fixed(supported=frozenset({Monitor.COMPONENTS}))
"""A transmission unit watches its own circuits, and no catalyst."""
"""What the transmission unit reports beside its monitor status. Source: our choice."""


def engine_unit(
    car: CarState,
    spec: CarSpec,
    evidence: Evidence | None = None,
    manners: Manners | None = None,
) -> ControlUnit:
    """The engine's control unit. `evidence`: its memory; by default the car's own."""
    who = spec.identity
    names = UnitNames(
        who.vin, who.calibration_ids, who.verification_numbers, who.unit_name
    )
    memory = evidence or EMPTY
    if evidence is None and isinstance(car, Remembers):
        memory = car.monitors
    return ControlUnit(
        car,
        names,
        can=PROTOCOLS[spec.protocol].can,
        layout=spec.layout,
        evidence=memory,
        manners=manners,
        maker=(
            (lambda service, number: data(service, number, maker_values(car)))
            if isinstance(car, Car)
            else None
        ),
    )


def transmission_unit(
    car: CarState, spec: CarSpec, evidence: Evidence | None = None
) -> ControlUnit:
    """A transmission unit beside the engine's; by default it remembers nothing."""
    names = UnitNames(
        calibrations=(f"TC{spec.identity.vin[-6:]}",),
        verifications=(int(spec.identity.vin[-6:], 36) & 0xFFFFFFFF,),
        name="TCM-TransmisCtrl",
    )
    return ControlUnit(
        car,
        names,
        TRANSMISSION,
        can=PROTOCOLS[spec.protocol].can,
        layout=spec.layout,
        evidence=evidence or TRANSMISSION_MEMORY,
        signals=TRANSMISSION_SIGNALS,
    )


def units_of(
    car: CarState, spec: CarSpec, *, transmission: bool = False, uds: bool = False
) -> tuple[Unit, ...]:
    """The control units that report emission data.

    Args:
        car: what moves.
        spec: what it is.
        transmission: with a unit beside the engine's.
        uds: they speak SAE J1979-2, on CAN only.

    Raises:
        ValueError: when J1979-2 is asked for without CAN.
    """
    units = [engine_unit(car, spec)]
    if transmission:
        units.append(transmission_unit(car, spec))
    if not uds:
        return tuple(units)
    if not PROTOCOLS[spec.protocol].can:
        raise ValueError("SAE J1979-2 needs CAN")
    return tuple(UdsUnit(unit) for unit in units)


def plug_in(
    car: CarState,
    spec: CarSpec,
    *,
    seed: int = 0,
    transmission: bool = False,
    uds: bool = False,
    link: LinkTiming | None = None,
    quirks: Quirks | None = None,
    trouble: Trouble = QUIET,
) -> SimulatedAdapter:
    """An adapter in the socket of a car.

    Args:
        car: what moves.
        spec: what it is.
        seed: of the units' answer times.
        transmission: a second unit answers as well.
        uds: the units speak SAE J1979-2.
        link: the computer's side.
        quirks: how the adapter behaves.
        trouble: what goes wrong, and when.

    Raises:
        ValueError: when J1979-2 is asked for without CAN.
    """
    units = units_of(car, spec, transmission=transmission, uds=uds)
    bus = CarBus(car, units, PROTOCOLS[spec.protocol], seed)
    return SimulatedAdapter(bus, link, quirks, trouble)
