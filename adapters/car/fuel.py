"""Fuel from the unit's command to a bank's mixture: supply, injectors, wall film.

Mixtures are carried as phi, the reciprocal of lambda, because phi stays finite when
fuel is cut.
"""

from __future__ import annotations

from math import sqrt

from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.spec import UNIT_STOICH, CarSpec


class FuelPath:
    """One bank's fuel.

    Attributes:
        injected_gps: fuel leaving the injectors. `phi`: mixture in the cylinders.
    """

    __slots__ = ("_bank", "_film_g", "_spec", "injected_gps", "phi")

    def __init__(self, spec: CarSpec, bank: int) -> None:
        self._spec = spec
        self._bank = bank
        self._film_g = 0.0
        self.injected_gps = 0.0
        self.phi = 0.0

    def step(
        self,
        dt: float,
        believed_gps: float,
        demand: float,
        air_gps: float,
        vapour_gps: float,
        pressure: float,
        cold: float,
        defects: Defects,
    ) -> None:
        """Advance by `dt` seconds.

        Args:
            dt: seconds.
            believed_gps: air as the unit believes it.
            demand: fuel over that air's stoichiometric fuel; zero when cut.
            air_gps: true air.
            vapour_gps: fuel vapour that comes with the purge.
            pressure: share of the nominal injector flow that the supply gives.
            cold: 0 warm to 1 very cold; the film holds more.
            defects: what is wrong.
        """
        b = self._bank
        spec = self._spec
        injected = (
            believed_gps
            / UNIT_STOICH
            * demand
            * pressure
            * spec.injector_gain[b]
            * defects.injector_gain[b]
        )
        share = spec.film_share * (1.0 + 2.0 * cold)
        evaporated = self._film_g / spec.film_s
        self._film_g += (share * injected - evaporated) * dt
        self.injected_gps = injected + defects.drip_gps[b]
        fuel = (
            injected * (1.0 - share)
            + evaporated
            + defects.drip_gps[b]
            + vapour_gps
            + defects.propane[b] * air_gps / UNIT_STOICH
        )
        phi = fuel * spec.stoich / (air_gps if air_gps > 0.05 else 0.05)
        self.phi = phi if phi < 3.0 else 3.0


def supply(fuel_gps: float, full_gps: float, defects: Defects) -> float:
    """Share of nominal injector flow at a total fuel flow.

    A weak pump or a clogged filter loses pressure with flow; injectors pass the square
    root of it.
    """
    if defects.supply_loss == 0.0:
        return defects.pressure_gain
    lost = defects.supply_loss * fuel_gps / full_gps
    return defects.pressure_gain * sqrt(max(1.0 - lost, 0.15))
