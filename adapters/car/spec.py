"""What a simulated car is made of: one frozen record of physical parameters.

A car is drawn at random within physical ranges, so that nothing that watches it can
be fitted to one car. Every range is our choice, from common practice, unless its field
names a source.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from random import Random
from typing import Any

from bankwise.adapters.car.identity import Identity, random_identity
from bankwise.adapters.pids import Layout

UNIT_STOICH = 14.64
"""Air to fuel by mass at lambda 1 that the unit believes in. Source: M:J1979."""

_CAN_PROTOCOLS = ("6", "7", "8", "9")
_OLD_PROTOCOLS = ("1", "2", "3", "4", "5")


@dataclass(frozen=True, slots=True)
class SensorSpec:
    """One oxygen sensor when new.

    Attributes:
        lean_to_rich_s, rich_to_lean_s: first-order lag in each direction.
        bias_v: level it reads while cold or open. Source: common practice, 0.43-0.45 V.
        rich_v, lean_v: ends of a switching sensor.
        steepness: of the voltage step around lambda 1.
        heat_s: time constant of warming with its heater.
        gain, offset_v: tolerance of a wide-band or of the unit's input.
    """

    lean_to_rich_s: float = 0.06
    rich_to_lean_s: float = 0.055
    bias_v: float = 0.445
    rich_v: float = 0.90
    lean_v: float = 0.06
    steepness: float = 900.0
    heat_s: float = 11.0
    gain: float = 1.0
    offset_v: float = 0.0


@dataclass(frozen=True, slots=True)
class ControlSpec:
    """How this control unit is calibrated.

    Attributes:
        jump_pct, ramp_pct_s: proportional and integral part at 2000 rpm.
        wide_p, wide_i: gains on the lambda error of a wide-band sensor.
        wide_wobble_pct: forced modulation of lambda by a wide-band control.
        short_limit_pct, long_limit_pct: ends of the trims.
        learn_s: time constant of long-term learning.
        rpm_edges, load_edges: borders of the learning cells.
        multiplicative: trims multiply instead of add.
        closed_ect_c, closed_delay_s: earliest closed loop.
        learn_ect_c: learning starts here.
        power_lambda, power_pedal: enrichment and where it begins.
        power_closed: a wide-band control stays in closed loop in enrichment.
        cut_rpm, cut_delay_s: fuel cut on a closed throttle.
        rear_trim: the rear sensor shifts the front's target.
        dead_sensor_s: silent sensor until the unit goes to open loop with fault.
        stuck_sensor_s: stuck sensor until the unit notices; infinite for never.
        default_long: a bank in fault drops its long-term trim instead of keeping it.
        shown_tau_s: smoothing of the short-term trim as shown to an adapter.
    """

    jump_pct: float = 2.5
    ramp_pct_s: float = 3.0
    wide_p: float = 18.0
    wide_i: float = 35.0
    wide_wobble_pct: float = 1.2
    short_limit_pct: float = 25.0
    long_limit_pct: float = 25.0
    learn_s: float = 25.0
    rpm_edges: tuple[float, ...] = (1100.0, 2200.0, 3400.0)
    load_edges: tuple[float, ...] = (0.30, 0.55)
    multiplicative: bool = False
    closed_ect_c: float = 20.0
    closed_delay_s: float = 20.0
    learn_ect_c: float = 70.0
    power_lambda: float = 0.88
    power_pedal: float = 0.75
    power_closed: bool = False
    cut_rpm: float = 1500.0
    cut_delay_s: float = 0.5
    rear_trim: bool = True
    dead_sensor_s: float = 60.0
    stuck_sensor_s: float = float("inf")
    default_long: bool = False
    shown_tau_s: float = 0.1


@dataclass(frozen=True, slots=True)
class CarSpec:
    """One car and the day it is driven on.

    Attributes:
        identity: invented name, VIN and calibration ids.
        banks: 1 or 2. `cylinders`, `displacement_l`: of the whole engine.
        mass_air: the unit meters air; otherwise it computes it from pressure.
        wideband: upstream sensors are wide-band.
        wide_report: what goes with lambda: `volts` (PID 24) or `ma` (PID 34).
        layout, protocol: how it is spoken to; the adapter's protocol number.
        ve_peak, ve_peak_rpm, ve_droop: volumetric efficiency over engine speed.
        residual_kpa: manifold pressure at which no fresh air enters.
        manifold_l, throttle_gps: volume, and choked flow of the open throttle.
        ve_error: tolerance of the unit's table per bank and of its pressure sensor.
        maf_gain, maf_lag_s: tolerance and lag of the air meter.
        stoich: true air to fuel by mass; 14.64 pure petrol, about 14.1 with E10.
        injector_gain: tolerance per bank. `film_share`, `film_s`: wall wetting left
            over by the unit's compensation.
        transient_gain: fuel added per share of load gained at once.
        purge_share, vapour: purge flow beside air, and its richness.
        pipe_l, rear_pipe_l: volume from valves to the front sensor, and on to the rear.
        storage_g, catalyst_kj_k: oxygen a bank's catalyst holds; its heat capacity.
        thermostat_c, engine_kj_k, radiator_w_k: cooling.
        mass_kg, drag, gears: the vehicle; engine rpm per km/h in each gear.
        idle_rpm, ambient_c, altitude_m, charge_v: settings of the day.
        closed_throttle_pct: throttle reading when closed.
        shows: optional signals that this unit reports.
    """

    identity: Identity
    banks: int = 2
    cylinders: int = 6
    displacement_l: float = 3.0
    mass_air: bool = True
    wideband: bool = False
    wide_report: str = "ma"
    layout: Layout = Layout.TWO_BANKS
    protocol: str = "6"
    ve_peak: float = 0.90
    ve_peak_rpm: float = 4200.0
    ve_droop: float = 0.22
    residual_kpa: float = 9.0
    manifold_l: float = 4.0
    throttle_gps: float = 260.0
    ve_error: tuple[float, float] = (0.0, 0.0)
    map_gain: float = 1.0
    maf_gain: float = 1.0
    maf_lag_s: float = 0.03
    stoich: float = UNIT_STOICH
    injector_gain: tuple[float, float] = (1.0, 1.0)
    film_share: float = 0.05
    film_s: float = 0.5
    transient_gain: float = 0.35
    purge_share: float = 0.02
    vapour: float = 1.2
    pipe_l: float = 0.9
    rear_pipe_l: float = 1.2
    storage_g: float = 0.8
    catalyst_kj_k: float = 0.4
    thermostat_c: float = 84.0
    engine_kj_k: float = 55.0
    radiator_w_k: float = 900.0
    mass_kg: float = 1650.0
    drag: float = 0.42
    gears: tuple[float, ...] = (125.0, 72.0, 48.0, 36.0, 28.5, 23.0)
    idle_rpm: float = 700.0
    ambient_c: float = 18.0
    altitude_m: float = 150.0
    charge_v: float = 14.1
    closed_throttle_pct: float = 13.0
    front: tuple[SensorSpec, SensorSpec] = (SensorSpec(), SensorSpec())
    rear: tuple[SensorSpec, SensorSpec] = (SensorSpec(), SensorSpec())
    control: ControlSpec = field(default_factory=ControlSpec)
    shows: frozenset[str] = frozenset(
        {"module_v", "lambda_cmd", "purge_pct", "cat_b1s1_c", "cat_b2s1_c", "ambient_c"}
    )

    @property
    def name(self) -> str:
        """The invented make and model."""
        return self.identity.name

    @property
    def vin(self) -> str:
        """Its VIN."""
        return self.identity.vin

    @property
    def baro_kpa(self) -> float:
        """Air pressure at its altitude. Source: standard atmosphere, from memory."""
        return float(101.325 * (1.0 - 2.25577e-5 * self.altitude_m) ** 5.25588)

    @staticmethod
    def random(rng: Random, **fixed: Any) -> CarSpec:
        """A car drawn within physical ranges; `fixed` fields are taken as given."""
        return random_spec(rng, **fixed)


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
    return SensorSpec(
        lean_to_rich_s=rng.uniform(0.030, 0.065),
        rich_to_lean_s=rng.uniform(0.030, 0.060),
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
