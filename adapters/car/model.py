"""The simulated car: driver, engine, unit and sensors stepped together.

Everything moves in fixed steps, so the result does not depend on how often somebody
looks, and one seed always gives one drive.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

from bankwise.adapters.car.airflow import Intake
from bankwise.adapters.car.bank import Bank, burn
from bankwise.adapters.car.control import OPEN_COLD, OPEN_DRIVING, OPEN_FAULT
from bankwise.adapters.car.coolant import Coolant
from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.drive import DRIVES, Drive
from bankwise.adapters.car.driver import Driver
from bankwise.adapters.car.exhaust import leak_share
from bankwise.adapters.car.faults import Fault, fault_named
from bankwise.adapters.car.fuel import supply
from bankwise.adapters.car.learning import cell_of
from bankwise.adapters.car.readings import believed, true_state
from bankwise.adapters.car.spec import UNIT_STOICH, CarSpec
from bankwise.adapters.car.strategy import Strategy
from bankwise.adapters.car.vehicle import Vehicle

STEP_S = 0.02
"""Fixed step. Unit: seconds."""

_DRIVER_STEPS = 5
_PAST = DRIVES["mixed"]
_NOISE = 4093
"""Length of the noise table; a prime, so that strided walks do not line up."""


class Car:
    """A car being driven.

    Args:
        spec: what it is made of.
        faults: what is wrong: records, or ids with `@2` for bank 2.
        drive: what the driver does.
        seed: fixes everything random.
        start_ect_c: coolant at the start; None for a cold engine.
        settled: the fault is old: the trims are learned before the drive begins.

    Attributes:
        t: simulated time. Unit: seconds.
        defects: what is wrong now; the hands-on actions write here too.
    """

    def __init__(
        self,
        spec: CarSpec,
        faults: Sequence[str | Fault],
        drive: Drive,
        seed: int,
        start_ect_c: float | None = None,
        *,
        settled: bool = False,
    ) -> None:
        rng = Random(seed)
        self.spec = spec
        self.t = 0.0
        self._steps = 0
        self.faults = tuple(
            fault_named(fault) if isinstance(fault, str) else fault for fault in faults
        )
        self.defects = Defects()
        self.severities = tuple(f.write(self.defects, spec, rng) for f in self.faults)
        self.driver = Driver(drive)
        self.vehicle = Vehicle(spec)
        self.intake = Intake(spec)
        self.strategy = Strategy(spec)
        start = spec.ambient_c if start_ect_c is None else start_ect_c
        self.coolant = Coolant(spec, start)
        self.banks = tuple(
            Bank(spec, b, rng.gauss(0.0, 1.0)) for b in range(spec.banks)
        )
        if start > spec.ambient_c + 15.0:
            for bank in self.banks:
                bank.pipe.preheat(start + 60.0)
                bank.catalyst.bed_c = start + 90.0
        self.fuel_gps = 0.0
        self.load = 0.0
        self.module_v = 12.4
        self.odometer_km = float(rng.randrange(20_000, 220_000))
        self.fuel_level_pct = rng.uniform(25.0, 95.0)
        self._noise = [rng.gauss(0.0, 1.0) for _ in range(_NOISE)]
        self._at = 0
        self._full_fuel = spec.displacement_l * 4.1
        if settled:
            self._learn_before(seed)

    @property
    def key_on(self) -> bool:
        """The unit is powered."""
        return self.driver.key_on

    @property
    def engine_running(self) -> bool:
        """The engine turns by itself."""
        return self.strategy.running

    @property
    def readings(self) -> dict[str, float]:
        """What the unit believes, by catalogue name, for what this car has."""
        return believed(self)

    @property
    def truth(self) -> dict[str, float]:
        """What is really so; for tests."""
        return true_state(self)

    def advance(self, t: float) -> None:
        """Integrate up to time `t`, in whole steps."""
        last = int(t / STEP_S + 1e-6)
        while self._steps < last:
            self._step()
            self._steps += 1
        self.t = self._steps * STEP_S

    def _learn_before(self, seed: int) -> None:
        """Drive the same car with the same faults, and keep only what it learned."""
        past = Car(self.spec, (), _PAST, seed, 85.0)
        past.defects = self.defects
        past.advance(_PAST.seconds)
        for bank, before in zip(self.banks, past.banks, strict=True):
            bank.control.cells = before.control.cells

    def _step(self) -> None:
        dt = STEP_S
        vehicle = self.vehicle
        driver = self.driver
        if self._steps % _DRIVER_STEPS == 0:
            was_on = driver.key_on
            driver.step(dt * _DRIVER_STEPS, self._steps * dt, vehicle.rpm, vehicle.kmh)
            if was_on and not driver.key_on:
                self._key_off()
        strategy = self.strategy
        intake = self.intake
        rpm = vehicle.rpm
        turning = rpm > 60.0
        if turning or driver.cranking:
            strategy.step(
                dt, driver.pedal, rpm, vehicle.kmh, self.coolant.celsius, self.load
            )
        purge = strategy.purge
        purge = max(purge, self.defects.purge_stuck)
        purge_gps = purge * self.spec.purge_share * 4.0 * self.spec.displacement_l
        intake.step(dt, rpm, strategy.opening, purge_gps, self.defects)
        torque = self._burn(dt, rpm, turning)
        if driver.cranking and rpm < 200.0:
            vehicle.crank(dt)
        elif not driver.key_on or (rpm < 300.0 and not driver.cranking):
            vehicle.stop(dt)
        elif turning:
            grade = driver.grade
            vehicle.step(dt, torque, driver.pedal, driver.brake, grade, driver.in_gear)
        self.coolant.step(dt, self.fuel_gps, vehicle.kmh, self.defects.thermostat)
        wanted = 12.35
        if strategy.running:
            wanted = self.spec.charge_v + self.defects.charge_v
        elif driver.cranking:
            wanted = 9.9
        self.module_v += (wanted - self.module_v) * dt / 0.2
        self.odometer_km += vehicle.kmh * dt / 3600.0
        warm_c = self.spec.ambient_c + 4.0 + 12.0 / (1.0 + vehicle.kmh / 20.0)
        intake.iat_c += (warm_c - intake.iat_c) * dt / 90.0

    def _key_off(self) -> None:
        self.strategy.restart()
        for bank in self.banks:
            bank.restart()

    def _burn(self, dt: float, rpm: float, turning: bool) -> float:
        """Fuel, combustion, exhaust and control of every bank; gives the torque."""
        spec = self.spec
        defects = self.defects
        strategy = self.strategy
        intake = self.intake
        banks = self.banks
        driver = self.driver
        pressure = supply(self.fuel_gps, self._full_fuel, defects)
        ect = self.coolant.celsius
        cold = (70.0 - ect) / 70.0 if ect < 70.0 else 0.0
        fuelled = turning and driver.key_on and not strategy.cut
        richness = spec.vapour if defects.purge_stuck == 0.0 else spec.vapour + 5.0
        vapour = intake.purge_gps / spec.banks * richness / UNIT_STOICH
        rich = 1.0 / strategy.lambda_cmd
        full = intake.efficiency(rpm) * spec.displacement_l * rpm * 9.9e-3 + 1e-3
        total = 0.0
        for gps in intake.believed_gps:
            total += gps
        load = total / (full * intake.baro_kpa / 101.325)
        self.load = load if load < 1.0 else 1.0
        noise = self._noise
        at = (self._at + 7) % (_NOISE - 8)
        self._at = at
        fuel_gps = 0.0
        air_gps = 0.0
        work = 0.0
        for b, bank in enumerate(banks):
            air = intake.bank_gps[b]
            fuel = bank.fuel
            demand = rich * bank.control.factor if fuelled else 0.0
            fuel.step(
                dt,
                intake.believed_gps[b],
                demand,
                air,
                vapour if turning else 0.0,
                pressure,
                cold,
                defects,
            )
            done, failed = burn(fuel.phi)
            forced = defects.misfire[b]
            if forced and fuelled:
                failed = failed + forced * (1.0 - failed)
                done *= 1.0 - forced
            bank.misfire = failed
            if failed:
                bank.misfires += failed * rpm / 120.0 * spec.cylinders / spec.banks * dt
            gas = air + fuel.injected_gps
            phi = fuel.phi * (1.0 + 0.006 * noise[at + b]) if turning else 0.0
            bank.pipe.step(dt, rpm, gas, phi, failed)
            fuel_gps += fuel.injected_gps
            air_gps += air
            work += air * done
        self.fuel_gps = fuel_gps
        for b, bank in enumerate(banks):
            self._sense(dt, b, bank, at)
        if strategy.running and driver.key_on:
            self._control(dt, rpm)
        if not turning or air_gps <= 0.0:
            return 0.0
        uneven = strategy.spark * (1.0 + 0.03 * noise[at + 6])
        return self.vehicle.torque_nm(air_gps, work / air_gps, intake.map_kpa, uneven)

    def _sense(self, dt: float, b: int, bank: Bank, at: int) -> None:
        defects = self.defects
        noise = self._noise
        pipe = bank.pipe
        gas = self.intake.bank_gps[b] + bank.fuel.injected_gps
        local = pipe.phi
        mixed = local
        if defects.exhaust_leak[b]:
            drawn = leak_share(defects.exhaust_leak[b], gas)
            local *= 1.0 - drawn
            mixed *= 1.0 - 0.3 * drawn
        bank.seen = local
        heating = 1.0 if self.strategy.running else 0.0
        reader = self.banks[len(self.banks) - 1 - b] if defects.crossed else bank
        index = len(self.banks) - 1 - b if defects.crossed else b
        wiring = defects.front[index]
        sensor = reader.front_wide
        if sensor is not None:
            sensor.tip.step(dt, pipe.gas_c, gas, heating * wiring.heater)
            sensor.step(dt, local, noise[at + 2 + b], wiring)
        else:
            narrow = reader.front_switching
            narrow.tip.step(dt, pipe.gas_c, gas, heating * wiring.heater)
            narrow.step(dt, local, noise[at + 2 + b], wiring)
        bank.catalyst.step(
            dt,
            mixed,
            self.intake.bank_gps[b],
            pipe.gas_c,
            bank.misfire,
            bank.fuel.injected_gps,
            defects.storage[b],
        )
        rear = bank.rear
        wiring = defects.rear[b]
        rear.tip.step(dt, 0.8 * bank.catalyst.gas_c, gas, heating * wiring.heater)
        rear.step(dt, bank.catalyst.phi, noise[at + 4 + b], wiring)

    def _control(self, dt: float, rpm: float) -> None:
        spec = self.spec
        control = spec.control
        strategy = self.strategy
        ect = self.coolant.celsius
        cell = cell_of(control, rpm, self.load, strategy.idling)
        cold = (20.0 - ect) / 20.0 if ect < 20.0 else 0.0
        warm = ect > control.closed_ect_c or strategy.run_s > 300.0
        allowed = warm and strategy.run_s > control.closed_delay_s * (1.0 + cold)
        learning = ect > control.learn_ect_c and strategy.settled_s > 3.0
        driving = (
            strategy.cut
            or strategy.refill_s > 0.0
            or (strategy.power and not control.power_closed)
        )
        for b, bank in enumerate(self.banks):
            law = bank.control
            bank.note_ready(dt, spec.front[b].bias_v, control.dead_sensor_s + 30.0)
            law.use_cell(cell)
            if law.fault:
                law.open_loop(OPEN_FAULT, dt)
                continue
            if not (allowed and bank.ready):
                law.open_loop(OPEN_COLD, dt)
                continue
            if driving:
                law.open_loop(OPEN_DRIVING, dt)
                continue
            wide = bank.front_wide
            if wide is None:
                law.switching(dt, bank.front_switching.volts, rpm)
            else:
                alive = wide.tip.active > 0.5 and not self.defects.front[b].open
                law.wide(dt, wide.lam, strategy.lambda_cmd, alive)
            if learning:
                law.learn(dt, cell)
                if control.rear_trim and bank.rear.tip.active > 0.9:
                    law.rear(dt, bank.rear.volts)
