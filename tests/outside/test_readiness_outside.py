"""Monitor status against python-OBD's own decoder, which nobody here wrote.

Source: obd.decoders.status of python-OBD, from the package registry; the published
worked example `83 07 65 21` stands in the tests of the decoder itself.
"""

from __future__ import annotations

import importlib
from types import SimpleNamespace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from bankwise.adapters.readiness import monitor_status

decoders: Any = importlib.import_module("obd.decoders")

THEIRS = {
    "misfire": "MISFIRE_MONITORING",
    "fuel system": "FUEL_SYSTEM_MONITORING",
    "components": "COMPONENT_MONITORING",
    "catalyst": "CATALYST_MONITORING",
    "heated catalyst": "HEATED_CATALYST_MONITORING",
    "evaporative system": "EVAPORATIVE_SYSTEM_MONITORING",
    "secondary air": "SECONDARY_AIR_SYSTEM_MONITORING",
    "oxygen sensors": "OXYGEN_SENSOR_MONITORING",
    "oxygen sensor heaters": "OXYGEN_SENSOR_HEATER_MONITORING",
    "EGR or cam timing": "EGR_VVT_SYSTEM_MONITORING",
}


def _theirs(data: bytes) -> Any:
    return decoders.status([SimpleNamespace(data=b"\x41\x01" + data)])


@given(st.binary(min_size=4, max_size=4))
def test_lamp_count_and_monitors_agree(data: bytes) -> None:
    """Any four bytes of a petrol car give the same lamp, count and self-tests."""
    data = bytes((data[0], data[1] & ~0x08, data[2], data[3]))
    ours, theirs = monitor_status(data), _theirs(data)
    assert ours is not None
    assert (ours.lamp, ours.count) == (theirs.MIL, theirs.DTC_count)
    known = {monitor.name: monitor.complete for monitor in ours.monitors}
    for name, attribute in THEIRS.items():
        test = getattr(theirs, attribute)
        assert (name in known) == test.available, name
        assert not test.available or known[name] == test.complete, name


def test_the_worked_example_agrees() -> None:
    """Lamp on, three codes; catalyst and oxygen sensor open, evap and heater done."""
    theirs = _theirs(bytes.fromhex("83076521"))
    assert (theirs.MIL, theirs.DTC_count) == (True, 3)
    ours = monitor_status(bytes.fromhex("83076521"))
    assert ours is not None
    assert ours.open == ("catalyst", "oxygen sensors")
