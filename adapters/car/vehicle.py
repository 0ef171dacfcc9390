"""Crankshaft, gearbox and road: torque from air and mixture, motion from torque."""

from __future__ import annotations

from bankwise.adapters.car.spec import CarSpec

_WORK_KJ_G = 1.08
"""Indicated work per gram of air at lambda 1. Source: 43 kJ/g, 14.6 and 37 %."""

_FRICTION_KPA = 95.0
_RAD_S = 0.1047198
"""One rpm. Unit: rad/s."""

_SHIFT_S = 1.5


class Vehicle:
    """Motion of engine and car. `rpm`, `kmh`, `gear` (0 in neutral)."""

    __slots__ = ("_inertia", "_since_shift", "_spec", "_torque", "gear", "kmh", "rpm")

    def __init__(self, spec: CarSpec) -> None:
        self._spec = spec
        self._inertia = 0.07 + 0.045 * spec.displacement_l
        self._since_shift = 9.0
        self._torque = 0.0
        self.rpm = 0.0
        self.kmh = 0.0
        self.gear = 0

    def crank(self, dt: float) -> None:
        """The starter turns the engine."""
        self.rpm += (210.0 - self.rpm) * dt / 0.15

    def stop(self, dt: float) -> None:
        """Without fuel and starter the engine comes to rest."""
        self.rpm = max(self.rpm - 1800.0 * dt, 0.0)

    def torque_nm(self, work_gps: float, map_kpa: float) -> float:
        """Net torque at the crankshaft.

        Args:
            work_gps: air that does full work, after mixture, misfire and spark.
            map_kpa: manifold pressure, for pumping.
        """
        spec = self._spec
        rpm = self.rpm if self.rpm > 150.0 else 150.0
        work = work_gps * _WORK_KJ_G * 1000.0 / (rpm * _RAD_S)
        mean_kpa = _FRICTION_KPA + 0.012 * rpm + (spec.baro_kpa - map_kpa)
        return work - mean_kpa * spec.displacement_l / 12.566 - 6.0

    def step(
        self,
        dt: float,
        torque: float,
        pedal: float,
        brake: float,
        grade: float,
        drive: bool,
    ) -> None:
        """Advance by `dt` seconds. `grade`: slope, a share. `drive`: not in neutral."""
        spec = self._spec
        kmh = self.kmh
        mass = spec.mass_kg
        resist = mass * 9.81 * (0.011 * (1.0 if kmh > 0.3 else 0.0) + grade)
        resist += spec.drag * kmh * kmh * 0.0772 + brake * mass * 5.5
        self._since_shift += dt
        engaged = drive and (kmh > 3.0 or pedal > 0.01)
        if not engaged:
            self.gear = 0
            load = 0.0 if not drive else 0.004 * self.rpm
            speed = self.rpm + (torque - load) / self._inertia / _RAD_S * dt
            self.rpm = speed if speed > 0.0 else 0.0
            push = 0.0
        else:
            self._choose_gear(pedal)
            per_kmh = spec.gears[self.gear - 1]
            locked = kmh * per_kmh
            launch = spec.idle_rpm * 1.05 + 1700.0 * pedal
            wanted = locked if locked > launch or kmh > 25.0 else launch
            wanted = wanted if wanted > spec.idle_rpm * 0.95 else spec.idle_rpm * 0.95
            self.rpm += (wanted - self.rpm) * dt / 0.18
            slip = 1.0 if locked > 0.9 * wanted else 1.5
            share = torque if torque > 0.0 or locked > 0.9 * spec.idle_rpm else 0.0
            push = share * per_kmh * 0.377 * 0.92 * slip
        rotating = 1.05 + 0.10 * (self.gear in (1, 2))
        metres = kmh / 3.6 + (push - resist) / (mass * rotating) * dt
        self.kmh = metres * 3.6 if metres > 0.0 else 0.0

    def _choose_gear(self, pedal: float) -> None:
        spec = self._spec
        if self.gear == 0:
            self.gear = 1
            while (
                self.gear < len(spec.gears)
                and self.kmh * spec.gears[self.gear] > 1600.0
            ):
                self.gear += 1
            return
        if self._since_shift < _SHIFT_S:
            return
        rpm = self.kmh * spec.gears[self.gear - 1]
        up = 1750.0 + 3700.0 * pedal * pedal + 300.0 * pedal
        down = 1080.0 + 2000.0 * pedal * pedal
        gear = self.gear
        if rpm > up and gear < len(spec.gears):
            gear += self.kmh * spec.gears[gear] > down + 60.0
        elif rpm < down and gear > 1:
            gear -= self.kmh * spec.gears[gear - 2] < 5600.0
        if gear != self.gear:
            self.gear = gear
            self._since_shift = 0.0
