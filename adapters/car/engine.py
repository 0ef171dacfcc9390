"""The engine with its control unit: air, fuel, exhaust, sensors and control in step."""

from __future__ import annotations

from random import Random

from bankwise.adapters.car.airflow import Intake
from bankwise.adapters.car.bank import Bank, burn
from bankwise.adapters.car.closed_loop import control_banks
from bankwise.adapters.car.coolant import Coolant
from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.exhaust import leak_share
from bankwise.adapters.car.fuel import supply
from bankwise.adapters.car.spec import UNIT_STOICH, CarSpec
from bankwise.adapters.car.strategy import Strategy

_NOISE = 4093
"""Length of the noise table; a prime, so that strided walks do not line up."""

_PURGE_GPS_L = 4.0
"""Choked flow of an open purge valve per litre and share. Source: our choice."""

_STUCK_VAPOUR = 5.0
"""Richness that a saturated canister adds. Source: our choice."""

_FULL_FUEL_GPS_L = 4.1
"""Fuel flow at full power per litre. Source: the gas law at 6000 rpm."""


class Engine:
    """Engine and control unit.

    Attributes:
        defects: what is wrong now.
        fuel_gps: fuel of all banks. `load`: believed air over that at wide open.
        key_on: the unit is powered.
    """

    def __init__(
        self, spec: CarSpec, defects: Defects, rng: Random, start_c: float
    ) -> None:
        self.spec = spec
        self.defects = defects
        self.intake = Intake(spec)
        self.strategy = Strategy(spec)
        self.coolant = Coolant(spec, start_c)
        self.banks = tuple(
            Bank(spec, b, rng.gauss(0.0, 1.0)) for b in range(spec.banks)
        )
        if start_c > spec.ambient_c + 15.0:
            for bank in self.banks:
                bank.pipe.preheat(start_c + 60.0)
                bank.catalyst.bed_c = start_c + 200.0
        self.fuel_gps = 0.0
        self.load = 0.0
        self.key_on = True
        self._noise = [rng.gauss(0.0, 1.0) for _ in range(_NOISE)]
        self._at = 0

    def key_off(self) -> None:
        """The unit loses power: what is learned stays, the rest begins again."""
        self.key_on = False
        self.strategy.restart()
        for bank in self.banks:
            bank.restart()

    def step(
        self, dt: float, rpm: float, kmh: float, pedal: float, cranking: bool
    ) -> float:
        """Advance by `dt` seconds and give the torque at the crankshaft. Unit: Nm."""
        spec = self.spec
        strategy = self.strategy
        turning = rpm > 60.0
        if turning or cranking:
            strategy.step(dt, pedal, rpm, kmh, self.coolant.celsius, self.load)
        purge = strategy.purge
        purge = max(purge, self.defects.purge_stuck)
        purge_gps = purge * spec.purge_share * _PURGE_GPS_L * spec.displacement_l
        self.intake.step(dt, rpm, strategy.opening, purge_gps, self.defects)
        self._load(rpm)
        self._at = (self._at + 7) % (_NOISE - 8)
        work = self._burn(dt, rpm, turning)
        for b, bank in enumerate(self.banks):
            self._sense(dt, b, bank)
        if strategy.running and self.key_on:
            control_banks(self, dt, rpm)
        self.coolant.step(dt, self.fuel_gps, kmh, self.defects.thermostat)
        return work

    def _load(self, rpm: float) -> None:
        intake = self.intake
        full = intake.efficiency(rpm) * self.spec.displacement_l * rpm * 9.9e-3
        total = 0.0
        for gps in intake.believed_gps:
            total += gps
        load = total / (full * intake.baro_kpa / 101.325 + 1e-3)
        self.load = load if load < 1.0 else 1.0

    def _burn(self, dt: float, rpm: float, turning: bool) -> float:
        spec = self.spec
        defects = self.defects
        strategy = self.strategy
        intake = self.intake
        pressure = supply(
            self.fuel_gps, _FULL_FUEL_GPS_L * spec.displacement_l, defects
        )
        ect = self.coolant.celsius
        cold = (70.0 - ect) / 70.0 if ect < 70.0 else 0.0
        fuelled = turning and self.key_on and not strategy.cut
        vapour = 0.0
        if turning:
            richness = spec.vapour + (_STUCK_VAPOUR if defects.purge_stuck else 0.0)
            vapour = intake.purge_gps / spec.banks * richness / UNIT_STOICH
        rich = strategy.transient / strategy.lambda_cmd
        steady = strategy.fuelled_s > 1.0 and strategy.run_s > 2.0
        noise = self._noise
        at = self._at
        fuel_gps = 0.0
        air_gps = 0.0
        work = 0.0
        rough = 0.03
        for b, bank in enumerate(self.banks):
            air = intake.bank_gps[b]
            fuel = bank.fuel
            demand = rich * bank.control.factor if fuelled else 0.0
            fuel.step(
                dt, intake.believed_gps[b], demand, air, vapour, pressure, cold, defects
            )
            done, failed = burn(fuel.phi)
            if not steady:
                failed = 0.0  # fuel just coming or going is no misfire
            forced = defects.misfire[b]
            if forced and fuelled:
                failed += forced * (1.0 - failed)
                done *= 1.0 - forced
            bank.misfire = failed
            if failed:
                rough += failed
                bank.misfires += failed * rpm / 120.0 * spec.cylinders / spec.banks * dt
            phi = fuel.phi * (1.0 + 0.006 * noise[at + b]) if turning else 0.0
            gas = air + fuel.injected_gps
            bank.pipe.step(dt, rpm, gas, phi, failed, strategy.late_c)
            fuel_gps += fuel.injected_gps
            air_gps += air
            work += air * done
        self.fuel_gps = fuel_gps
        return work * strategy.spark * (1.0 + rough * noise[at + 6])

    def _sense(self, dt: float, b: int, bank: Bank) -> None:
        defects = self.defects
        noise = self._noise
        at = self._at
        pipe = bank.pipe
        air = self.intake.bank_gps[b]
        fuel = bank.fuel.injected_gps
        gas = air + fuel
        local = pipe.phi
        mixed = local
        if defects.exhaust_leak[b]:
            drawn = leak_share(defects.exhaust_leak[b], gas)
            local *= 1.0 - drawn
            mixed *= 1.0 - 0.3 * drawn
        heating = 1.0 if self.strategy.running else 0.0
        reader = bank
        index = b
        if defects.crossed:
            index = len(self.banks) - 1 - b
            reader = self.banks[index]
        wiring = defects.front[index]
        power = heating * wiring.heater
        wide = reader.front_wide
        if wide is not None:
            wide.tip.step(dt, pipe.gas_c, gas, power)
            wide.step(dt, local, noise[at + 2 + b], wiring)
        else:
            narrow = reader.front_switching
            narrow.tip.step(dt, pipe.gas_c, gas, power)
            narrow.step(dt, local, noise[at + 2 + b], wiring)
        catalyst = bank.catalyst
        catalyst.step(
            dt, mixed, air, pipe.gas_c, bank.misfire, fuel, defects.storage[b]
        )
        rear = bank.rear
        wiring = defects.rear[b]
        rear.tip.step(dt, 0.8 * catalyst.gas_c, gas, heating * wiring.heater)
        rear.step(dt, catalyst.phi, noise[at + 4 + b], wiring)
