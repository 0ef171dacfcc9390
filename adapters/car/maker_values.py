"""Maker-specific values of the simulated car: cam positions and oil pressure.

It answers the identifiers of the shipped example file, an invented maker's, and no
other. In a reduced mode it parks its cam control: desired and actual are then zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from bankwise.adapters.definition_file import read_definitions
from bankwise.adapters.definitions import Definitions

if TYPE_CHECKING:
    from bankwise.adapters.car.model import Car

EXAMPLE = Path(__file__).parent.parent / "example_definitions.toml"
"""The shipped definition file."""

_MOST_ADVANCE_DEG = 28.0
_LATE_DEG_PER_LOSS = 70.0
"""How late a cam is for the air its bank loses. Unit: °. Source: our choice."""
_LOOP_FAULT = 8


@cache
def example() -> Definitions:
    """The values of the shipped definition file."""
    return read_definitions(EXAMPLE)


def maker_values(car: Car) -> dict[str, float]:
    """Maker-specific values by the names of the example file."""
    rpm = car.vehicle.rpm
    running = car.engine.strategy.running
    speed = min(max((rpm - 800.0) / 2200.0, 0.0), 1.0)
    wanted = _MOST_ADVANCE_DEG * speed * (1.0 - 0.6 * min(car.engine.load, 1.0))
    parked = not running or any(
        bank.control.status == _LOOP_FAULT for bank in car.engine.banks
    )
    values = {"oil_pressure_kpa": min(80.0 + 0.12 * rpm, 450.0) if running else 0.0}
    for b in range(car.spec.banks):
        late = _LATE_DEG_PER_LOSS * car.defects.breathing_loss[b]
        desired = 0.0 if parked else wanted
        values[f"cam_desired_b{b + 1}_deg"] = desired
        values[f"cam_actual_b{b + 1}_deg"] = 0.0 if parked else desired - late
    return values


def data(service: int, number: int, values: Mapping[str, float]) -> bytes:
    """The data bytes of one identifier; empty when the car does not know it."""
    found = bytearray()
    for row in example().rows:
        if (row.service, row.id) != (service, number) or row.name not in values:
            continue
        piece = row.encode(values[row.name])
        found.extend(bytes(max(len(piece) - len(found), 0)))
        found[row.start : row.start + row.length] = piece[row.start :]
    return bytes(found)
