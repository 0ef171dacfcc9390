"""What is wrong with a car right now, as plain numbers that the physics reads.

All zeros, ones and Nones is a car without a fault. Lists have one place a bank.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class Wiring:
    """One sensor's defects.

    Attributes:
        open: the signal wire is open or the plug is off.
        forced_v: level that somebody or a short holds the signal wire at.
        pull_down, pull_up: share by which the signal is dragged to either end.
        shift: lambda error of a wide-band, as a share; positive reads lean.
        slow_lean_to_rich, slow_rich_to_lean: factors on its lags.
        swing: factor on its swing.
        flat_v: level that a dead element sits at.
        heater: share of heater power left.
    """

    open: bool = False
    forced_v: float | None = None
    pull_down: float = 0.0
    pull_up: float = 0.0
    shift: float = 0.0
    slow_lean_to_rich: float = 1.0
    slow_rich_to_lean: float = 1.0
    swing: float = 1.0
    flat_v: float | None = None
    heater: float = 1.0


def _zeros() -> list[float]:
    return [0.0, 0.0]


def _ones() -> list[float]:
    return [1.0, 1.0]


def _plugs() -> list[Wiring]:
    return [Wiring(), Wiring()]


@dataclass(slots=True)
class Defects:
    """Everything that can be wrong, by place.

    Attributes:
        leak_gps: choked flow of a leak into the plenum at sea level.
        runner_leak_gps: the same into one bank's runners.
        breathing_loss: share of its air that a bank loses at every flow (late cam).
        exhaust_choke: share lost at full flow, growing with flow (restriction).
        maf_loss, maf_loss_flow: share under-read everywhere, and per 100 g/s.
        map_gain: factor on the pressure reading.
        supply_loss: share of rail pressure lost at full fuel flow.
        pressure_gain: factor on all fuel, from rail pressure.
        injector_gain: factor on one bank's fuel.
        drip_gps: fuel that a leaking injector adds, running or cut.
        purge_stuck: purge valve's opening that cannot close, 0 to 1.
        misfire: share of a bank's combustions that fail.
        exhaust_leak: share of fresh air at the front sensor at no flow.
        crossed: the two front sensors are swapped.
        storage: factor on a catalyst's oxygen storage.
        thermostat: opening that cannot close, 0 to 1.
        charge_v: volts added to the charging voltage.
        propane: share of fuel added by hand, per bank.
        front, rear: the sensors' own defects.
    """

    leak_gps: float = 0.0
    runner_leak_gps: list[float] = field(default_factory=_zeros)
    breathing_loss: list[float] = field(default_factory=_zeros)
    exhaust_choke: list[float] = field(default_factory=_zeros)
    maf_loss: float = 0.0
    maf_loss_flow: float = 0.0
    map_gain: float = 1.0
    supply_loss: float = 0.0
    pressure_gain: float = 1.0
    injector_gain: list[float] = field(default_factory=_ones)
    drip_gps: list[float] = field(default_factory=_zeros)
    purge_stuck: float = 0.0
    misfire: list[float] = field(default_factory=_zeros)
    exhaust_leak: list[float] = field(default_factory=_zeros)
    crossed: bool = False
    storage: list[float] = field(default_factory=_ones)
    thermostat: float = 0.0
    charge_v: float = 0.0
    propane: list[float] = field(default_factory=_zeros)
    front: list[Wiring] = field(default_factory=_plugs)
    rear: list[Wiring] = field(default_factory=_plugs)
