"""The unit's memory over several drives."""

from __future__ import annotations

from random import Random

import pytest

from bankwise.adapters.car.checks import heater_amperes
from bankwise.adapters.car.drive import Do, Drive, Leg
from bankwise.adapters.car.evidence import Monitor, TestResult
from bankwise.adapters.car.measured import MEASURED, Measured
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


HEATERS, FUEL = (0x41, 0x42, 0x45, 0x46), (0x81, 0x82)
LONG_IDLE = Drive("test", "idle", (*TRIP[:2], Leg(Do.IDLE, 400)))


def _rows(car: Car) -> dict[int, TestResult]:
    return {row.monitor: row for row in car.monitors.tests}


def _passes(row: TestResult) -> bool:
    return row.low <= row.value <= row.high


def test_heaters_and_fuel_systems_have_results_once_judged() -> None:
    """Each appears when its own monitor has run, and passes on a healthy car."""
    spec = CarSpec.random(Random(7), banks=2, wideband=False, mass_air=True)
    car = Car(spec, (), LONG_IDLE, 7, 85.0)
    car.advance(15.0)
    assert not set(_rows(car)) & {*HEATERS, *FUEL}
    car.advance(30.0)
    assert set(HEATERS) <= set(_rows(car))
    assert not set(_rows(car)) & set(FUEL)
    car.advance(200.0)
    rows = _rows(car)
    assert {*HEATERS, *FUEL} <= set(rows)
    assert all(_passes(rows[number]) for number in (*HEATERS, *FUEL))


def test_one_bank_has_no_results_of_another() -> None:
    """A car with one bank names no monitor of a second."""
    spec = CarSpec.random(Random(7), banks=1, wideband=False, mass_air=True)
    car = Car(spec, (), LONG_IDLE, 7, 85.0)
    car.advance(200.0)
    assert {0x41, 0x42, 0x81} <= set(_rows(car))
    assert not set(_rows(car)) & {0x45, 0x46, 0x82}


@pytest.mark.parametrize(
    ("fault", "code", "monitor"),
    [
        ("cold-heater", "P0135", 0x41),
        ("cold-heater@2:0", "P0155", 0x45),
        ("rear-cold-heater", "P0141", 0x42),
        ("rear-cold-heater@2", "P0161", 0x46),
        ("injectors-lean:1", "P0171", 0x81),
        ("injectors-lean@2:1", "P0174", 0x82),
        ("injectors-rich@2:1", "P0175", 0x82),
        ("injectors-rich:1", "P0172", 0x81),
    ],
)
def test_a_code_and_its_result_agree(fault: str, code: str, monitor: int) -> None:
    """The result of the faulty part fails, and that of no other heater or bank."""
    car = _car(fault, trips=1)
    car.advance(TRIP_S - 6.0)
    assert code in car.monitors.pending
    rows = _rows(car)
    failed = {n for n in (*HEATERS, *FUEL) if n in rows and not _passes(rows[n])}
    assert failed == {monitor}


def test_heater_current_falls_as_the_heater_warms() -> None:
    """Resistance grows with heat: some ten watts are left of the first inrush."""
    spec = CarSpec.random(Random(7), banks=2, wideband=False, mass_air=True)
    car = Car(spec, (), LONG_IDLE, 7, 15.0)
    car.advance(5.0)
    first = heater_amperes(car, 0, rear=False)
    car.advance(200.0)
    last = heater_amperes(car, 0, rear=False)
    assert first > 1.3 * last
    assert 8.0 < last * car.module_v < 22.0


def test_a_result_ends_with_the_drive_and_stands_with_the_engine_off() -> None:
    """Key on, engine off keeps what was measured; a new drive begins without."""
    car = _car("rear-cold-heater", trips=2)
    car.advance(TRIP_S - 6.0)
    assert not _passes(_rows(car)[0x42])
    car.advance(TRIP_S + 3.0)
    assert 0x42 not in _rows(car)
    car.monitors.clear()
    assert not set(_rows(car)) & {*HEATERS, *FUEL}


@pytest.mark.parametrize("row", MEASURED)
@pytest.mark.parametrize("beyond", [1e-6, 0.3, 0.999])
def test_no_rounding_brings_a_failure_inside_its_limits(
    row: Measured, beyond: float
) -> None:
    """A value beyond a limit by less than a bit is still told as beyond."""
    assert row.raw((row.low - row.zero - beyond) * row.bit) == row.low - 1
    assert row.raw((row.low - row.zero + 0.4) * row.bit) == row.low
    if row.high < 0xFFFF:
        assert row.raw((row.high - row.zero + beyond) * row.bit) == row.high + 1
