"""Every fault is whole, and does to a car what it says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import Random
from statistics import median

import pytest

from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.drive import Do, Drive, Leg
from bankwise.adapters.car.faults import FAULTS, UnknownFault, fault_named
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec

EXPLANATIONS = frozenset({
    "sensor-reads-lean", "sensor-reads-rich", "sensor-open-circuit", "sensor-aged",
    "sensor-heater", "rear-sensor-faulty", "bank-breathes-less", "bank-unmetered-air",
    "common-unmetered-air", "fuel-supply-weak", "airflow-under-read",
    "airflow-over-read", "common-rich-source", "bank-injectors-lean",
    "bank-injectors-rich", "exhaust-leak", "misfire", "catalyst-worn",
    "thermostat-open", "sensors-crossed",
})  # fmt: skip

LEGS = (
    Leg(Do.KEY_ON, 2), Leg(Do.START, 1.2), Leg(Do.IDLE, 50), Leg(Do.HOLD, 30, 2500),
    Leg(Do.IDLE, 20), Leg(Do.GO, 90, 75), Leg(Do.STOP, 10), Leg(Do.IDLE, 40),
)  # fmt: skip
DRIVE = Drive("test", "idle, 2500 rpm, cruise, idle", LEGS)

Figures = dict[str, float]


def _drive(fault: str, wideband: bool = False, mass_air: bool = True) -> Figures:
    spec = CarSpec.random(
        Random(12), banks=2, wideband=wideband, mass_air=mass_air, stoich=14.64
    )
    car = Car(spec, (fault,), DRIVE, 12, 85.0)
    rows: dict[str, list[dict[str, float]]] = {"idle": [], "cruise": []}
    for part, start, end in (("cruise", 150.0, 190.0), ("idle", 215.0, 240.0)):
        car.advance(start)
        for k in range(int((end - start) * 10)):
            car.advance(start + 0.1 * k)
            rows[part].append({**car.truth, **car.readings})
    found: Figures = {"ect_c": car.readings["ect_c"]}
    for part, seen in rows.items():
        for b in (1, 2):
            found[f"{part}_{b}"] = median(
                row[f"stft_b{b}_pct"] + row[f"ltft_b{b}_pct"] for row in seen
            )
            found[f"{part}_rear_{b}"] = median(row[f"o2_b{b}s2_v"] for row in seen)
            found[f"{part}_lambda_{b}"] = median(row[f"lambda_b{b}"] for row in seen)
            found[f"{part}_status_{b}"] = median(
                row[f"fuel_status_b{b}"] for row in seen
            )
    return found


def test_every_fault_names_a_known_explanation_and_a_flag() -> None:
    """Ids are their keys; all but healthy know what should be said of them."""
    for id_, fault in FAULTS.items():
        assert id_ == fault.id
        assert fault.title
        if id_ == "healthy":
            assert fault.explanation is None
        else:
            assert fault.explanation in EXPLANATIONS
            assert fault.flag
    assert {f.explanation for f in FAULTS.values() if f.explanation} == EXPLANATIONS


def test_every_fault_changes_something_at_any_severity() -> None:
    """Mildest and worst both differ from a car without a fault, and from each other."""
    for fault in FAULTS.values():
        if fault.id == "healthy":
            continue
        kinds = [
            CarSpec.random(Random(1), banks=2, wideband=w, mass_air=m)
            for w in (False, True)
            for m in (False, True)
        ]
        for spec in filter(fault.fits, kinds):
            mild, worst = Defects(), Defects()
            fault.at(0.0).write(mild, spec, Random(1))
            fault.at(1.0).write(worst, spec, Random(1))
            assert mild != Defects()
            assert worst != Defects()


def test_names_carry_bank_and_severity() -> None:
    """`id@2:0.5` is bank 2 at half severity; anything else is refused."""
    fault = fault_named("leaking-injector@2:0.5")
    assert (fault.bank, fault.severity, fault.about) == (2, 0.5, "B2")
    for wrong in ("no-such", "misfire@3", "misfire:2", "misfire:x"):
        with pytest.raises(UnknownFault):
            fault_named(wrong)


SHOWS: dict[str, Callable[[Figures], bool]] = {
    "healthy": lambda f: all(
        abs(f[f"{part}_{b}"]) < 8.0 for part in ("idle", "cruise") for b in (1, 2)
    ),
    "front-sensor-reads-lean": lambda f: (
        f["idle_1"] > 25.0 and f["idle_rear_1"] > 0.75 and abs(f["idle_2"]) < 8.0
    ),
    "front-sensor-reads-rich": lambda f: f["idle_1"] < -25.0 and f["idle_rear_1"] < 0.2,
    "front-sensor-unplugged": lambda f: (
        f["idle_status_1"] in (8.0, 16.0) and f["idle_status_2"] == 2.0
    ),
    "unmetered-air": lambda f: f["idle_1"] > 12.0 and f["cruise_1"] < 0.5 * f["idle_1"],
    "unmetered-air-one-bank": lambda f: (
        f["idle_1"] > f["idle_2"] + 9.0
        and f["cruise_1"] - f["cruise_2"] < 0.6 * (f["idle_1"] - f["idle_2"])
    ),
    "weak-fuel-supply": lambda f: f["cruise_1"] > f["idle_1"] + 4.0,
    "low-fuel-pressure": lambda f: f["idle_1"] > 8.0 and f["cruise_1"] > 8.0,
    "airflow-under-read": lambda f: f["idle_1"] > 8.0 and f["cruise_2"] > 8.0,
    "airflow-over-read": lambda f: f["idle_1"] < -8.0 and f["cruise_2"] < -8.0,
    "bank-breathes-less": lambda f: f["cruise_1"] < -5.0 and f["cruise_2"] > 5.0,
    "bank-exhaust-choked": lambda f: (
        f["cruise_2"] - f["cruise_1"] > f["idle_2"] - f["idle_1"] + 2.0
    ),
    "injectors-lean": lambda f: f["idle_1"] > 10.0 and abs(f["idle_2"]) < 8.0,
    "injectors-rich": lambda f: f["idle_1"] < -8.0 and abs(f["idle_2"]) < 8.0,
    "leaking-injector": lambda f: f["idle_1"] < -20.0 and f["cruise_1"] > f["idle_1"],
    "exhaust-leak": lambda f: (
        f["idle_1"] > 7.0 and f["idle_lambda_1"] < 0.95 and f["idle_rear_1"] > 0.75
    ),
    "misfire": lambda f: f["cruise_1"] > 2.5 and f["cruise_lambda_1"] < 0.98,
    "crossed-sensors": lambda f: abs(f["idle_1"] - f["idle_2"]) > 40.0,
    "thermostat-open": lambda f: f["ect_c"] < 75.0,
    "rear-sensor-dead": lambda f: 0.38 < f["cruise_rear_1"] < 0.52,
    "rear-sensor-unplugged": lambda f: 0.38 < f["cruise_rear_1"] < 0.52,
}
"""What each fault shows in trims, rear voltage, true mixture or status."""


@pytest.mark.parametrize("fault", SHOWS)
def test_a_fault_shows_as_common_practice_says(fault: str) -> None:
    """On a V6 that meters its air with switching sensors."""
    assert SHOWS[fault](_drive(fault)), _drive(fault)


def test_a_leak_does_not_trouble_a_unit_that_goes_by_pressure() -> None:
    """It idles higher and trims stay. Source: T5."""
    figures = _drive("unmetered-air", mass_air=False)
    assert abs(figures["idle_1"]) < 8.0


def test_a_unit_may_steer_a_faulty_bank_by_the_other() -> None:
    """Closed loop with a fault, status 10 hexadecimal, and the other bank's trim."""
    spec = CarSpec.random(Random(12), banks=2, wideband=False)
    spec = replace(spec, control=replace(spec.control, borrows=True))
    car = Car(spec, ("front-sensor-unplugged",), DRIVE, 12, 85.0)
    statuses = set()
    for k in range(150, 190):
        car.advance(float(k))
        statuses.add(car.readings["fuel_status_b1"])
    assert 16.0 in statuses
    assert car.readings["stft_b1_pct"] == pytest.approx(
        car.readings["stft_b2_pct"], abs=1.0
    )


def test_two_faults_can_be_together() -> None:
    """Each writes its own defects."""
    spec = CarSpec.random(Random(12), banks=2, wideband=False, mass_air=True)
    car = Car(spec, ("bank-breathes-less", "front-sensor-aged@2"), DRIVE, 1, 85.0)
    assert car.defects.breathing_loss[0] > 0.1
    assert car.defects.front[1].slow_lean_to_rich > 3.0
    assert len(car.severities) == 2
