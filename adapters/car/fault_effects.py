"""What each fault does to a car: numbers written into its defects.

Every effect takes the defects, the car, the index of the bank, a severity from 0, the
mildest that counts, to 1, and random numbers for what severity does not fix. Each range
is what such a fault does to a real car, from common practice unless said otherwise.
"""

from __future__ import annotations

from random import Random

from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.spec import CarSpec


def _between(low: float, high: float, severity: float) -> float:
    return low + (high - low) * severity


def nothing(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """Nothing is wrong."""


def front_lean(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The front sensor's signal is dragged, or shifted, lean."""
    if spec.wideband:
        d.front[b].shift = _between(0.34, 0.55, s)
    else:
        d.front[b].pull_down = _between(0.62, 0.98, s)


def front_rich(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The front sensor's signal is dragged, or shifted, rich."""
    if spec.wideband:
        d.front[b].shift = _between(-0.40, -0.70, s)
    else:
        d.front[b].pull_up = _between(0.72, 0.98, s)


def front_open(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The front sensor's signal wire is open."""
    d.front[b].open = True


def front_aged(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The front sensor is slow both ways and swings less."""
    d.front[b].slow_lean_to_rich = _between(4.5, 9.0, s)
    d.front[b].slow_rich_to_lean = _between(3.0, 7.0, s)
    d.front[b].swing = _between(0.95, 0.75, s)


def front_one_way(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The front sensor is slow towards rich only. Source: B4."""
    d.front[b].slow_lean_to_rich = _between(5.0, 12.0, s)
    d.front[b].slow_rich_to_lean = 0.9


def rear_dead(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The rear element rests near its bias."""
    d.rear[b].flat_v = rng.uniform(0.41, 0.49)


def rear_open(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The rear sensor's signal wire is open."""
    d.rear[b].open = True


def late_cam(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """A late cam costs the bank air at every flow."""
    d.breathing_loss[b] = _between(0.17, 0.33, s)


def choked(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """A restricted exhaust costs the bank air as flow grows."""
    d.breathing_loss[b] = _between(0.02, 0.05, s)
    d.exhaust_choke[b] = _between(0.45, 0.75, s)


def leak(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """Air leaks into the plenum."""
    d.leak_gps = spec.displacement_l * _between(0.15, 0.26, s)


def runner_leak(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """Air leaks into one bank's runners."""
    share = spec.displacement_l / spec.banks
    d.runner_leak_gps[b] = share * _between(0.16, 0.28, s)


def weak_supply(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """Fuel pressure falls as flow grows."""
    d.supply_loss = _between(0.85, 1.5, s)


def low_pressure(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """Fuel pressure is low at every flow."""
    d.pressure_gain = _between(0.86, 0.76, s)


def under_read(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The air meter under-reads, more so at high flow."""
    d.maf_loss = _between(0.11, 0.19, s)
    d.maf_loss_flow = _between(0.06, 0.15, s)


def over_read(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The air meter over-reads."""
    d.maf_loss = _between(-0.14, -0.26, s)


def map_under_read(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The manifold pressure sensor under-reads."""
    d.map_gain = _between(0.89, 0.82, s)


def common_rich(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """Fuel pressure is high, or a saturated canister feeds the engine."""
    if rng.random() < 0.5:
        d.pressure_gain = _between(1.14, 1.28, s)
    else:
        d.purge_stuck = _between(0.25, 0.6, s)


def thermostat(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The thermostat stays partly open."""
    d.thermostat = _between(0.12, 0.45, s)


def catalyst(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The catalyst has lost its oxygen store."""
    d.storage[b] = _between(0.02, 0.002, s)


def heater(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The front sensor's heater is dead or nearly so."""
    d.front[b].heater = _between(0.10, 0.0, s)


def rear_heater(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The rear sensor's heater is dead."""
    d.rear[b].heater = 0.0


def drip(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """An injector drips, running or not."""
    idle_fuel = 0.075 * spec.displacement_l / spec.banks
    d.drip_gps[b] = idle_fuel * _between(0.36, 0.55, s)


def injectors_lean(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """One bank's injectors flow too little."""
    d.injector_gain[b] = _between(0.87, 0.77, s)


def injectors_rich(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """One bank's injectors flow too much."""
    d.injector_gain[b] = _between(1.14, 1.28, s)


def exhaust_leak(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """Pulses draw air in ahead of the front sensor."""
    d.exhaust_leak[b] = _between(0.16, 0.28, s)


def misfire(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """A share of one bank's combustions fails."""
    d.misfire[b] = _between(0.05, 0.18, s)


def crossed(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    """The front sensors' plugs are swapped."""
    d.crossed = True
