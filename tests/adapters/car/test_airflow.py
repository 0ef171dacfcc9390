"""The intake: gas law, leaks, and how a bank that breathes less shares the air."""

from __future__ import annotations

from random import Random

import pytest

from bankwise.adapters.car.airflow import GAS, Intake, orifice
from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.identity import random_identity
from bankwise.adapters.car.spec import CarSpec

SPEC = CarSpec(identity=random_identity(Random(1)), altitude_m=0.0)
STEP_S = 0.02


def _settled(spec: CarSpec, rpm: float, opening: float, defects: Defects) -> Intake:
    intake = Intake(spec)
    for _ in range(400):
        intake.step(STEP_S, rpm, opening, 0.0, defects)
    return intake


def test_orifice_is_choked_below_half_pressure_and_shut_without_a_difference() -> None:
    """Flow is full below the critical ratio, falls above it and ends at 1."""
    assert orifice(0.3) == 1.0
    assert orifice(0.5) == 1.0
    assert 0.0 < orifice(0.9) < orifice(0.7) < 1.0
    assert orifice(1.0) == 0.0


def test_full_throttle_flow_follows_the_gas_law() -> None:
    """At wide open the true flow is efficiency x density x swept volume."""
    rpm = 4200.0
    intake = _settled(SPEC, rpm, 1.0, Defects())
    kelvin = intake.iat_c + 273.15
    density = (intake.map_kpa - SPEC.residual_kpa) / (GAS * kelvin)
    swept_l_s = SPEC.displacement_l * rpm / 120.0
    assert sum(intake.bank_gps) == pytest.approx(
        SPEC.ve_peak * density * swept_l_s, rel=1e-3
    )
    assert intake.map_kpa > 90.0


def test_what_the_meter_reads_is_what_the_cylinders_take_when_steady() -> None:
    """Without leaks and tolerances, meter, cylinders and belief agree."""
    intake = _settled(SPEC, 2000.0, 0.06, Defects())
    assert intake.maf_gps == pytest.approx(sum(intake.bank_gps), rel=5e-3)
    assert intake.believed_gps[0] == pytest.approx(intake.bank_gps[0], rel=5e-3)


def test_a_plenum_leak_hides_from_the_meter_but_not_from_the_pressure() -> None:
    """A metering unit misses a leak; a unit that computes from pressure sees it."""
    metered = _settled(SPEC, 800.0, 0.012, Defects(leak_gps=0.6))
    assert sum(metered.believed_gps) < 0.9 * sum(metered.bank_gps)
    plain = CarSpec(identity=SPEC.identity, altitude_m=0.0, mass_air=False)
    computed = _settled(plain, 800.0, 0.012, Defects(leak_gps=0.6))
    assert sum(computed.believed_gps) == pytest.approx(sum(computed.bank_gps), rel=2e-2)


def test_a_leak_matters_less_as_flow_grows() -> None:
    """The missed share falls from idle to load."""
    missed = []
    for rpm, opening in ((750.0, 0.012), (2000.0, 0.06), (3500.0, 0.4)):
        intake = _settled(SPEC, rpm, opening, Defects(leak_gps=0.6))
        missed.append(1.0 - sum(intake.believed_gps) / sum(intake.bank_gps))
    assert missed[0] > 2.0 * missed[1] > 2.0 * missed[2]


def test_a_bank_that_loses_a_third_takes_forty_of_a_hundred() -> None:
    """The published split: 40 and 60 of the air, each believed to be 50. Source: T1."""
    defects = Defects(breathing_loss=[1.0 / 3.0, 0.0])
    intake = _settled(SPEC, 2500.0, 0.1, defects)
    share = intake.bank_gps[0] / sum(intake.bank_gps)
    assert share == pytest.approx(0.4, abs=1e-3)
    assert intake.believed_gps[0] == intake.believed_gps[1]


def test_a_restriction_grows_with_flow() -> None:
    """A choked exhaust costs little at idle and much at full load."""
    shares = []
    for rpm, opening in ((750.0, 0.012), (4500.0, 1.0)):
        intake = _settled(SPEC, rpm, opening, Defects(exhaust_choke=[0.5, 0.0]))
        shares.append(intake.bank_gps[0] / sum(intake.bank_gps))
    assert shares[1] < shares[0] - 0.05
