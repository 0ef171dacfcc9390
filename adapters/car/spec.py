"""What a simulated car is made of: one frozen record of physical parameters.

The defaults are a middling V6; `drawing.random_spec` draws others.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Any

from bankwise.adapters.car.identity import Identity
from bankwise.adapters.pids import Layout

UNIT_STOICH = 14.64
"""Air to fuel by mass at lambda 1 that the unit believes in. Source: M:J1979."""


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
        borrows: a bank in fault is steered by the other bank's sensor.
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
    borrows: bool = False
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
        from bankwise.adapters.car.drawing import random_spec

        return random_spec(rng, **fixed)
