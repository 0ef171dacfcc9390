"""The unit's memory over several drives."""

from __future__ import annotations

from random import Random

import pytest

from bankwise.adapters.car.drive import Do, Drive, Leg
from bankwise.adapters.car.evidence import Monitor
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec

TRIP = (
    Leg(Do.KEY_ON, 2), Leg(Do.START, 1.2), Leg(Do.IDLE, 40), Leg(Do.GO, 110, 70),
    Leg(Do.STOP, 8), Leg(Do.IDLE, 10), Leg(Do.KEY_OFF, 5),
)  # fmt: skip
TRIP_S = sum(leg.seconds for leg in TRIP)


def _car(*faults: str, wideband: bool = False, trips: int = 5) -> Car:
    spec = CarSpec.random(Random(7), banks=2, wideband=wideband, mass_air=True)
    return Car(spec, faults, Drive("test", "trips", TRIP * trips), 7, 85.0)


def test_a_healthy_car_sets_nothing_and_completes_its_monitors() -> None:
    """After some trips: no code, no lamp, catalyst and sensors judged."""
    car = _car()
    car.advance(TRIP_S - 8.0)
    assert car.monitors.pending == []
    assert Monitor.CATALYST not in car.monitors.open_this_drive
    assert Monitor.OXYGEN_HEATER not in car.monitors.open_this_drive
    car.advance(3 * TRIP_S)
    assert car.monitors.stored == []
    assert not car.monitors.lamp


def test_a_code_is_pending_first_and_stored_on_the_next_trip() -> None:
    """Two trips, then the lamp; the freeze frame is of the first. Source: R2."""
    car = _car("front-sensor-reads-lean@2")
    car.advance(TRIP_S - 6.0)
    memory = car.monitors
    assert "P0174" in memory.pending
    assert "P0171" not in memory.pending
    assert memory.stored == []
    frame = next(f for f in memory.freeze_frames if f.code == "P0174")
    assert frame.readings["rpm"] > 400.0
    assert frame.readings["stft_b2_pct"] + frame.readings["ltft_b2_pct"] > 20.0
    car.advance(2 * TRIP_S - 6.0)
    assert "P0174" in memory.stored
    assert memory.lamp
    assert "P0174" in memory.permanent


def test_a_fault_that_is_gone_takes_its_pending_code_along() -> None:
    """A trip that ran and passed clears the pending code."""
    car = _car("front-sensor-reads-lean@2")
    car.advance(TRIP_S - 2.0)
    assert "P0174" in car.monitors.pending
    car.defects.front[1].pull_down = 0.0
    car.engine.banks[1].control.cells.clear()
    car.advance(2 * TRIP_S + 1.0)
    assert "P0174" not in car.monitors.pending
    assert car.monitors.stored == []


def test_clearing_keeps_permanent_codes_and_opens_the_monitors() -> None:
    """Codes, frames, counters and trims go; permanent stays. Source: R6."""
    car = _car("front-sensor-reads-lean@2")
    car.advance(2 * TRIP_S - 2.0)
    memory = car.monitors
    memory.clear()
    assert (memory.stored, memory.pending, memory.freeze_frames) == ([], [], [])
    assert "P0174" in memory.permanent
    assert Monitor.CATALYST in memory.open_since_clear
    assert memory.warmups == 0.0
    assert set(car.engine.banks[1].control.cells.values) == {0.0}


@pytest.mark.parametrize(
    ("fault", "wideband", "code"),
    [
        ("front-sensor-unplugged", False, "P0134"),
        ("front-sensor-reads-lean", True, "P2195"),
        ("front-sensor-aged:0.8", False, "P0133"),
        ("cold-heater", False, "P0135"),
        ("rear-cold-heater@2", True, "P0161"),
        ("worn-catalyst:0.9", False, "P0420"),
        ("bank-breathes-less@2:0.5", False, "P0018"),
        ("misfire:0.6", False, "P0300"),
    ],
)
def test_each_fault_sets_its_code(fault: str, wideband: bool, code: str) -> None:
    """Within one trip the right code is pending."""
    car = _car(fault, wideband=wideband)
    car.advance(TRIP_S - 6.0)
    assert code in car.monitors.pending


def test_test_results_come_from_measurements() -> None:
    """An aged sensor fails its response test with the time it was measured at."""
    slow, good = _car("front-sensor-aged:0.8"), _car()
    results = []
    for car in (slow, good):
        car.advance(TRIP_S - 6.0)
        rows = {(row.monitor, row.test): row for row in car.monitors.tests}
        results.append(rows[0x01, 0x06])
    assert results[0].value > results[0].high
    assert results[1].low < results[1].value < results[1].high


def test_a_rear_sensor_has_no_result_before_its_test_has_run() -> None:
    """Without a fuel cut in this drive nothing is reported, least of all a failure."""
    idle = (Leg(Do.KEY_ON, 2), Leg(Do.START, 1.2), Leg(Do.IDLE, 120))
    spec = CarSpec.random(Random(7), banks=2, wideband=False, mass_air=True)
    car = Car(spec, (), Drive("test", "idle", idle), 7, 85.0)
    car.advance(100.0)
    assert car.engine.banks[0].control.rear_high_v > 0.5
    assert not [row for row in car.monitors.tests if row.monitor in (0x02, 0x06)]
    driven = _car()
    driven.advance(3 * TRIP_S)
    rear = [row for row in driven.monitors.tests if row.monitor in (0x02, 0x06)]
    assert all(row.low <= row.value <= row.high for row in rear)


def test_an_old_fault_has_its_code_confirmed() -> None:
    """A settled fault begins with the lamp on."""
    spec = CarSpec.random(Random(7), banks=2, wideband=False, mass_air=True)
    drive = Drive("test", "one trip", TRIP)
    car = Car(spec, ("front-sensor-reads-lean@2",), drive, 7, 85.0, settled=True)
    assert "P0174" in car.monitors.stored
    assert car.monitors.lamp
    assert car.monitors.lamp_km > 0.0
