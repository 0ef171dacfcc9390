"""The simulated car: driver, engine, unit and sensors stepped together.

Everything moves in fixed steps, so the result does not depend on how often somebody
looks, and one seed always gives one drive.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.drive import DRIVES, Drive
from bankwise.adapters.car.driver import Driver
from bankwise.adapters.car.engine import Engine
from bankwise.adapters.car.faults import Fault, fault_named
from bankwise.adapters.car.monitors import Monitors
from bankwise.adapters.car.readings import believed, true_state
from bankwise.adapters.car.spec import CarSpec
from bankwise.adapters.car.touch import touch
from bankwise.adapters.car.vehicle import Vehicle

STEP_S = 0.02
"""Fixed step. Unit: seconds."""

_DRIVER_STEPS = 5
_MONITOR_STEPS = 10
_PAST = DRIVES["mixed"]
_PAST_ECT_C = 85.0


class Car:
    """A car being driven.

    Args:
        spec: what it is made of.
        faults: what is wrong: records, or ids with `@2` for bank 2.
        drive: what the driver does.
        seed: fixes everything random.
        start_ect_c: coolant at the start; None for a cold engine.
        settled: the fault is old: the same car was driven with it before, so that trims
            are learned and codes may be set.

    Attributes:
        t: simulated time. Unit: seconds.
        defects: what is wrong now; the hands-on actions write here too.
        monitors: what the unit remembers: codes, freeze frames, readiness, tests.
        module_v, odometer_km, fuel_level_pct: of the car.

    Raises:
        UnknownFault: for a fault id that does not exist.
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
        self.faults = tuple(
            fault_named(fault) if isinstance(fault, str) else fault for fault in faults
        )
        self.defects = Defects()
        self.severities = tuple(f.write(self.defects, spec, rng) for f in self.faults)
        self.t = 0.0
        self._steps = 0
        self.driver = Driver(drive, rng.uniform(0.0, 60.0))
        self.vehicle = Vehicle(spec)
        start = spec.ambient_c if start_ect_c is None else start_ect_c
        self.engine = Engine(spec, self.defects, rng, start)
        self.module_v = 12.4
        self.odometer_km = float(rng.randrange(20_000, 220_000))
        self.fuel_level_pct = rng.uniform(25.0, 95.0)
        self.monitors = Monitors(self)
        if settled:
            self._take_over(seed)

    @property
    def key_on(self) -> bool:
        """The unit is powered."""
        return self.driver.key_on

    @property
    def engine_running(self) -> bool:
        """The engine turns by itself."""
        return self.engine.strategy.running

    @property
    def readings(self) -> dict[str, float]:
        """What the unit believes, by catalogue name, for what this car has."""
        return believed(self)

    @property
    def truth(self) -> dict[str, float]:
        """What is really so; for tests."""
        return true_state(self)

    def touch(self, line: str) -> str:
        """Do something to the car by hand; see `touch.ACTIONS`.

        Returns:
            What was done, in words.

        Raises:
            NotUnderstood: with one line that says what was expected.
        """
        return touch(self, line)

    def advance(self, t: float) -> None:
        """Integrate up to time `t`, in whole steps."""
        last = int(t / STEP_S + 1e-6)
        while self._steps < last:
            self._step()
            self._steps += 1
        self.t = self._steps * STEP_S

    def _take_over(self, seed: int) -> None:
        """Drive the same car with the same faults, and keep what its unit remembers."""
        past = Car(self.spec, (), _PAST, seed, _PAST_ECT_C)
        past.defects = self.defects
        past.engine.defects = self.defects
        past.advance(_PAST.seconds)
        for bank, before in zip(self.engine.banks, past.engine.banks, strict=True):
            bank.control.cells = before.control.cells
        self.monitors.take_over(past.monitors)

    def _step(self) -> None:
        dt = STEP_S
        vehicle = self.vehicle
        driver = self.driver
        engine = self.engine
        if self._steps % _DRIVER_STEPS == 0:
            now = self._steps * dt
            driver.step(dt * _DRIVER_STEPS, now, vehicle.rpm, vehicle.kmh)
            if driver.key_on is not engine.key_on:
                if driver.key_on:
                    engine.key_on = True
                else:
                    self.monitors.end_drive()
                    engine.key_off()
        rpm = vehicle.rpm
        work = engine.step(dt, rpm, vehicle.kmh, driver.pedal, driver.cranking)
        if driver.cranking and rpm < 200.0:
            vehicle.crank(dt)
        elif not driver.key_on or (rpm < 300.0 and not driver.cranking):
            vehicle.stop(dt)
        elif rpm > 60.0:
            torque = vehicle.torque_nm(work, engine.intake.map_kpa)
            vehicle.step(
                dt, torque, driver.pedal, driver.brake, driver.grade, driver.in_gear
            )
        self._surroundings(dt, driver.cranking)
        if self._steps % _MONITOR_STEPS == 0 and driver.key_on:
            self.monitors.step(dt * _MONITOR_STEPS)

    def _surroundings(self, dt: float, cranking: bool) -> None:
        spec = self.spec
        kmh = self.vehicle.kmh
        wanted = 12.35
        if self.engine.strategy.running:
            wanted = spec.charge_v + self.defects.charge_v
        elif cranking:
            wanted = 9.9
        self.module_v += (wanted - self.module_v) * dt / 0.2
        self.odometer_km += kmh * dt / 3600.0
        # A standing engine heats the air it breathes.
        warm_c = spec.ambient_c + 4.0 + 12.0 / (1.0 + kmh / 20.0)
        intake = self.engine.intake
        intake.iat_c += (warm_c - intake.iat_c) * dt / 90.0
