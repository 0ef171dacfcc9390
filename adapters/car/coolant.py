"""Coolant and thermostat: heat of combustion in, radiator and air out."""

from __future__ import annotations

from bankwise.adapters.car.spec import CarSpec

_TO_COOLANT = 0.30
"""Share of the fuel's heat that the coolant takes. Source: common practice."""

_FUEL_KJ_G = 43.0
_RAMP_C = 9.0
"""A thermostat opens fully this far above its rating. Source: common practice."""


class Coolant:
    """Engine temperature. `celsius`: at the sensor. `oil_c`: follows slowly."""

    __slots__ = ("_opening", "_spec", "celsius", "oil_c")

    def __init__(self, spec: CarSpec, start_c: float) -> None:
        self._spec = spec
        self.celsius = start_c
        self.oil_c = start_c
        self._opening = 0.0

    def step(self, dt: float, fuel_gps: float, speed_kmh: float, stuck: float) -> None:
        """Advance by `dt` seconds. `stuck`: opening the thermostat cannot close."""
        spec = self._spec
        over = (self.celsius - spec.thermostat_c) / _RAMP_C
        wanted = 0.0 if over < 0.0 else 1.0 if over > 1.0 else over
        self._opening += (wanted - self._opening) * dt / 8.0
        opening = self._opening if self._opening > stuck else stuck
        away = self.celsius - spec.ambient_c
        wind = 0.35 + speed_kmh / 70.0
        if self.celsius > spec.thermostat_c + 12.0:
            wind += 0.8  # the fan
        lost_kw = (
            away
            * 0.001
            * (
                spec.radiator_w_k * opening * (wind if wind < 1.6 else 1.6)
                + 14.0
                + 0.12 * speed_kmh
            )
        )
        gained_kw = fuel_gps * _FUEL_KJ_G * _TO_COOLANT
        self.celsius += (gained_kw - lost_kw) / spec.engine_kj_k * dt
        self.oil_c += (self.celsius + 4.0 - self.oil_c) * dt / 240.0
