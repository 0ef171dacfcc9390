"""Cars drawn at random within physical ranges.

Nothing that watches the cars can so be fitted to one of them. Every range is our
choice, from common practice, unless a source stands beside it.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

from bankwise.adapters.car.identity import random_identity
from bankwise.adapters.car.spec import CarSpec, ControlSpec, SensorSpec
from bankwise.adapters.pids import Layout

_CAN_PROTOCOLS = ("6", "7", "8", "9")
_OLD_PROTOCOLS = ("1", "2", "3", "4", "5")

OPTIONAL = (
    "abs_load_pct", "ambient_c", "cat_b1s1_c", "cat_b2s1_c", "evidence",
    "fuel_level_pct", "lambda_cmd", "module_v", "oil_c", "pedal_pct", "purge_pct",
    "run_s", "throttle_cmd_pct", "throttle_rel_pct",
)  # fmt: skip
"""Signals that a unit may or may not report. `evidence`: the distance and warm-ups
since codes were cleared, and the distance and time with the lamp on."""


def _tolerance(rng: Random, spread: float) -> float:
    """A part's deviation; what is beyond two spreads is not sold."""
    return max(min(rng.gauss(0.0, spread), 2.0 * spread), -2.0 * spread)


def _sensor(rng: Random, bias_v: float) -> SensorSpec:
    to_rich_s = rng.uniform(0.035, 0.065)
    return SensorSpec(
        lean_to_rich_s=to_rich_s,
        # A good sensor is about as quick both ways. Source: S3's range around it.
        rich_to_lean_s=to_rich_s / rng.uniform(0.9, 1.5),
        bias_v=bias_v,
        rich_v=rng.uniform(0.84, 0.94),
        lean_v=rng.uniform(0.02, 0.11),
        steepness=rng.uniform(700.0, 1300.0),
        heat_s=rng.uniform(7.0, 18.0),
        gain=1.0 + _tolerance(rng, 0.004),
        offset_v=_tolerance(rng, 0.006),
    )


def _control(rng: Random, wideband: bool) -> ControlSpec:
    rows = rng.randint(1, 3)
    columns = rng.randint(1, 3)
    return ControlSpec(
        jump_pct=rng.uniform(2.3, 3.6),
        ramp_pct_s=rng.uniform(1.8, 4.5),
        wide_p=rng.uniform(8.0, 24.0),
        wide_i=rng.uniform(15.0, 45.0),
        wide_wobble_pct=rng.choice((0.0, rng.uniform(0.5, 2.0))),
        short_limit_pct=rng.choice((20.0, 25.0, 25.0, 30.0)),
        long_limit_pct=rng.choice((16.0, 20.0, 25.0, 25.0, 30.0)),
        learn_s=rng.uniform(12.0, 45.0),
        rpm_edges=tuple(rng.uniform(1050.0, 1250.0) + 1100.0 * i for i in range(rows)),
        load_edges=tuple(rng.uniform(0.26, 0.34) + 0.22 * i for i in range(columns)),
        multiplicative=rng.random() < 0.5,
        closed_ect_c=rng.uniform(0.0, 35.0),
        closed_delay_s=rng.uniform(8.0, 35.0),
        learn_ect_c=rng.uniform(65.0, 78.0),
        power_lambda=rng.uniform(0.85, 0.91),
        power_pedal=rng.uniform(0.65, 0.85),
        power_closed=wideband and rng.random() < 0.5,
        cut_rpm=rng.uniform(1300.0, 1800.0),
        cut_delay_s=rng.uniform(0.3, 1.0),
        rear_trim=rng.random() < 0.8,
        dead_sensor_s=rng.uniform(40.0, 150.0),
        stuck_sensor_s=rng.choice((float("inf"), rng.uniform(150.0, 400.0))),
        default_long=rng.random() < 0.4,
        borrows=rng.random() < 0.15,
        shown_tau_s=rng.uniform(0.02, 0.5),
    )


def random_spec(rng: Random, **fixed: Any) -> CarSpec:
    """A car drawn within physical ranges, the same for the same random numbers.

    Args:
        rng: where the numbers come from.
        fixed: fields of `CarSpec` that are taken as given.
    """
    banks = int(fixed.get("banks", rng.choice((1, 2, 2))))
    wideband = bool(fixed.get("wideband", rng.random() < 0.5))
    mass_air = bool(fixed.get("mass_air", rng.random() < 0.6))
    cylinders = rng.choice((3, 4, 4, 5) if banks == 1 else (6, 6, 8))
    litres = float(fixed.get("displacement_l", cylinders * rng.uniform(0.38, 0.62)))
    bias_v = rng.uniform(0.42, 0.47)
    old = rng.random() < 0.2 and not wideband
    top = rng.uniform(21.0, 27.0)
    spread = rng.uniform(1.0, 1.12)
    spec = CarSpec(
        identity=random_identity(rng),
        banks=banks,
        cylinders=cylinders,
        displacement_l=litres,
        mass_air=mass_air,
        wideband=wideband,
        wide_report=rng.choice(("ma", "volts")),
        layout=rng.choice((Layout.TWO_BANKS, Layout.FOUR_BANKS)),
        protocol=rng.choice(_OLD_PROTOCOLS if old else _CAN_PROTOCOLS),
        ve_peak=rng.uniform(0.82, 0.97),
        ve_peak_rpm=rng.uniform(3400.0, 5000.0),
        ve_droop=rng.uniform(0.12, 0.30),
        residual_kpa=rng.uniform(6.0, 11.0),
        manifold_l=litres * rng.uniform(1.0, 1.7),
        throttle_gps=litres * rng.uniform(75.0, 110.0),
        ve_error=(_tolerance(rng, 0.015), _tolerance(rng, 0.015)),
        map_gain=1.0 + _tolerance(rng, 0.006),
        maf_gain=1.0 + _tolerance(rng, 0.015),
        maf_lag_s=rng.uniform(0.015, 0.06),
        stoich=rng.choice((14.64, rng.uniform(14.05, 14.3))),
        injector_gain=(1.0 + _tolerance(rng, 0.012), 1.0 + _tolerance(rng, 0.012)),
        film_share=rng.uniform(0.02, 0.07),
        film_s=rng.uniform(0.3, 0.8),
        transient_gain=rng.uniform(0.2, 0.45),
        purge_share=rng.uniform(0.005, 0.03),
        vapour=rng.uniform(0.2, 1.8),
        pipe_l=rng.uniform(0.5, 1.3),
        rear_pipe_l=rng.uniform(0.8, 1.8),
        storage_g=rng.uniform(0.5, 1.4),
        catalyst_kj_k=rng.uniform(0.25, 0.55),
        thermostat_c=rng.uniform(80.0, 92.0),
        engine_kj_k=litres * rng.uniform(15.0, 22.0) + 10.0,
        radiator_w_k=litres * rng.uniform(260.0, 380.0),
        mass_kg=1050.0 + 200.0 * litres + rng.uniform(-100.0, 250.0),
        drag=rng.uniform(0.33, 0.50),
        gears=tuple(top * spread * r for r in (5.3, 3.05, 2.05, 1.52, 1.2, 1.0)),
        idle_rpm=rng.uniform(620.0, 820.0),
        ambient_c=rng.uniform(-8.0, 33.0),
        altitude_m=rng.choice((rng.uniform(0.0, 400.0), rng.uniform(0.0, 1800.0))),
        charge_v=rng.uniform(13.6, 14.5),
        closed_throttle_pct=rng.uniform(8.0, 18.0),
        front=(_sensor(rng, bias_v), _sensor(rng, bias_v)),
        rear=(_sensor(rng, bias_v), _sensor(rng, bias_v)),
        control=_control(rng, wideband),
        shows=frozenset(name for name in OPTIONAL if rng.random() < 0.7),
    )
    return replace(spec, **fixed)
