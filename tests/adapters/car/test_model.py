"""The whole car against what real ones do, and against published examples."""

from __future__ import annotations

from itertools import pairwise
from random import Random
from statistics import fmean, median

import pytest

from bankwise.adapters.car.drive import DRIVES, Do, Drive, Leg
from bankwise.adapters.car.identity import random_identity
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec
from bankwise.signals.catalogue import SIGNALS

IDENTITY = random_identity(Random(1))
CRUISE = Drive(
    "test",
    "a cruise",
    (Leg(Do.KEY_ON, 2), Leg(Do.START, 1.2), Leg(Do.IDLE, 30), Leg(Do.GO, 400, 70)),
)


def _series(car: Car, start: float, end: float, *names: str) -> dict[str, list[float]]:
    """Readings and truths at 20 Hz."""
    out: dict[str, list[float]] = {name: [] for name in names}
    car.advance(start)
    for k in range(int((end - start) * 20)):
        car.advance(start + k / 20)
        seen = {**car.truth, **car.readings}
        for name in names:
            out[name].append(seen[name])
    return out


def _total(car: Car, start: float, end: float) -> tuple[float, float]:
    seen = _series(
        car, start, end, "stft_b1_pct", "ltft_b1_pct", "stft_b2_pct", "ltft_b2_pct"
    )
    return (
        fmean(seen["stft_b1_pct"]) + fmean(seen["ltft_b1_pct"]),
        fmean(seen["stft_b2_pct"]) + fmean(seen["ltft_b2_pct"]),
    )


def test_one_seed_gives_one_drive_however_often_one_looks() -> None:
    """Advancing in odd chunks, or reading often, changes nothing."""
    spec = CarSpec.random(Random(9), banks=2)
    whole = Car(spec, (), DRIVES["mixed"], 9, 70.0)
    parts = Car(spec, (), DRIVES["mixed"], 9, 70.0)
    whole.advance(90.0)
    rng = Random(1)
    t = 0.0
    while t < 90.0:
        t = min(t + rng.uniform(0.0, 0.7), 90.0)
        parts.advance(t)
        assert parts.readings
    assert whole.readings == parts.readings
    assert whole.truth == parts.truth
    other = Car(spec, (), DRIVES["mixed"], 10, 70.0)
    other.advance(90.0)
    assert other.readings != whole.readings


@pytest.mark.parametrize("wideband", [False, True])
@pytest.mark.parametrize("mass_air", [False, True])
@pytest.mark.parametrize("banks", [1, 2])
def test_a_car_reports_what_it_has(banks: int, mass_air: bool, wideband: bool) -> None:
    """Names are the catalogue's, and only those of sensors that are fitted."""
    spec = CarSpec.random(Random(2), banks=banks, mass_air=mass_air, wideband=wideband)
    car = Car(spec, (), DRIVES["mixed"], 2, 70.0)
    car.advance(20.0)
    seen = car.readings
    assert set(seen) <= set(SIGNALS)
    assert ("maf_gps" in seen) is mass_air
    assert ("map_kpa" in seen) is not mass_air
    assert ("lambda_b1s1" in seen) is wideband
    assert ("o2_b1s1_v" in seen) is not wideband
    assert ("o2_b2s2_v" in seen) is (banks == 2)
    assert ("stft_b2_pct" in seen) is (banks == 2)


def test_a_forty_sixty_split_trims_twenty_each_way() -> None:
    """The published example: 60/40 gives +20 and -20 on metered air. Source: T1."""
    spec = CarSpec(identity=IDENTITY, purge_share=0.0)
    car = Car(spec, (), CRUISE, 3, 85.0)
    car.defects.breathing_loss[0] = 1.0 / 3.0
    starved, other = _total(car, 240.0, 330.0)
    assert starved == pytest.approx(-20.0, abs=1.5)
    assert other == pytest.approx(20.0, abs=1.5)


def test_by_pressure_only_the_starved_bank_subtracts() -> None:
    """Without a meter the other bank stays near zero. Source: common practice."""
    spec = CarSpec(identity=IDENTITY, mass_air=False, purge_share=0.0)
    car = Car(spec, (), CRUISE, 3, 85.0)
    car.defects.breathing_loss[0] = 0.2
    starved, other = _total(car, 240.0, 330.0)
    assert starved == pytest.approx(-20.0, abs=2.0)
    assert abs(other) < 2.0


@pytest.mark.parametrize("seed", range(6))
def test_a_healthy_car_looks_healthy(seed: int) -> None:
    """Trims small, front switching at 0.5-3 Hz over 0.6 V, rear high and calm."""
    spec = CarSpec.random(Random(seed), banks=2, wideband=False)
    car = Car(spec, (), CRUISE, seed, 85.0)
    seen = _series(
        car, 150.0, 300.0, "o2_b1s1_v", "o2_b1s2_v", "stft_b1_pct", "ltft_b1_pct"
    )
    volts = seen["o2_b1s1_v"]
    assert max(volts) - min(volts) > 0.6
    ups = sum(a < 0.45 <= b for a, b in pairwise(volts))
    assert 0.5 < ups / 150.0 < 3.0
    assert 0.55 < median(seen["o2_b1s2_v"]) < 0.85
    assert abs(fmean(seen["stft_b1_pct"]) + fmean(seen["ltft_b1_pct"])) < 8.0


@pytest.mark.parametrize("wideband", [False, True])
def test_a_front_sensor_that_reads_lean_floods_its_own_bank_only(
    wideband: bool,
) -> None:
    """Trims at their end, truly rich, rear rich; the other bank is untouched."""
    spec = CarSpec.random(Random(4), banks=2, wideband=wideband)
    car = Car(spec, ("front-sensor-reads-lean@2",), CRUISE, 4, 85.0)
    car.defects.front[1].heater = 1.0
    seen = _series(car, 100.0, 140.0, "lambda_b2", "o2_b2s2_v", "lambda_b1")
    added = car.engine.banks[1].control.factor
    assert added > 1.3
    assert median(seen["lambda_b2"]) < 0.8
    assert median(seen["o2_b2s2_v"]) > 0.8
    assert median(seen["lambda_b1"]) == pytest.approx(1.0, abs=0.02)


def test_closed_throttle_cuts_fuel_and_wide_open_enriches() -> None:
    """Status 04 in both; lambda beyond 2 in the cut and about 0.88 wide open."""
    spec = CarSpec.random(Random(6), banks=2, wideband=False, stoich=14.64)
    legs = (
        Leg(Do.KEY_ON, 2), Leg(Do.START, 1.2), Leg(Do.IDLE, 40), Leg(Do.GO, 40, 60),
        Leg(Do.PULL, 6, 160), Leg(Do.COAST, 8),
    )  # fmt: skip
    car = Car(spec, (), Drive("test", "a pull", legs), 6, 85.0)
    pull = _series(car, 87.0, 88.5, "lambda_b1", "fuel_status_b1", "o2_b1s1_v")
    assert set(pull["fuel_status_b1"]) == {4.0}
    assert median(pull["lambda_b1"]) == pytest.approx(
        spec.control.power_lambda, abs=0.05
    )
    assert min(pull["o2_b1s1_v"]) > 0.75
    cut = _series(car, 92.0, 94.0, "lambda_b1", "fuel_status_b1", "o2_b1s1_v")
    assert set(cut["fuel_status_b1"]) == {4.0}
    assert min(cut["lambda_b1"]) > 2.0
    assert max(cut["o2_b1s1_v"]) < 0.2


def test_pumping_the_throttle_goes_rich_then_lean() -> None:
    """A snap takes a healthy front sensor above 0.7 V, the closing below 0.2 V."""
    spec = CarSpec.random(Random(8), banks=2, wideband=False)
    legs = (Leg(Do.KEY_ON, 2), Leg(Do.START, 1.2), Leg(Do.IDLE, 90), Leg(Do.SNAP, 4))
    car = Car(spec, (), Drive("test", "a snap", legs), 8, 85.0)
    volts = _series(car, 93.2, 97.0, "o2_b1s1_v")["o2_b1s1_v"]
    rich = next(k for k, v in enumerate(volts) if v > 0.7)
    assert any(v < 0.2 for v in volts[rich:])
    assert rich < 40


def test_cold_engine_is_open_loop_then_closes() -> None:
    """Status 01 first, both banks at 02 within the printed time. Source: S16."""
    spec = CarSpec.random(Random(3), banks=2, ambient_c=12.0)
    car = Car(spec, (), DRIVES["warm-up"], 3)
    car.advance(8.5)
    assert car.readings["fuel_status_b1"] == 1.0
    assert car.readings["ect_c"] < 16.0
    car.advance(126.0)
    assert car.readings["fuel_status_b1"] == 2.0
    assert car.readings["fuel_status_b2"] == 2.0


def test_an_old_fault_is_already_learned() -> None:
    """With a settled fault the long-term trim carries it from the first minute."""
    spec = CarSpec.random(Random(5), banks=2, mass_air=True)
    car = Car(spec, ("low-fuel-pressure",), DRIVES["mixed"], 5, 80.0, settled=True)
    car.advance(45.0)
    assert car.readings["ltft_b1_pct"] > 8.0
