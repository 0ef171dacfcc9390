"""A bank's catalyst: stored oxygen, what it lets through, how hot it is."""

from __future__ import annotations

_OXYGEN = 0.232
"""Share of oxygen in air by mass. Source: the make-up of air."""

_LIGHT_OFF_C = 270.0
_MIDDLE = 0.004
"""Slope of the mixture behind the catalyst over its fill. Source: our choice, so that a
half-empty store reads 0.6-0.75 V behind it as healthy cars do (common practice)."""


class Catalyst:
    """One bank's catalyst.

    Attributes:
        fill: stored oxygen as a share of what it can hold.
        phi: mixture behind it. `bed_c`: its temperature. `gas_c`: gas behind it.
    """

    __slots__ = ("_capacity_g", "_heat_kj_k", "bed_c", "fill", "gas_c", "phi")

    def __init__(self, capacity_g: float, heat_kj_k: float, ambient_c: float) -> None:
        self._capacity_g = capacity_g
        self._heat_kj_k = heat_kj_k
        self.fill = 0.4
        self.phi = 0.0
        self.bed_c = ambient_c
        self.gas_c = ambient_c

    def step(
        self,
        dt: float,
        phi: float,
        air_gps: float,
        gas_c: float,
        misfire: float,
        fuel_gps: float,
        storage: float,
    ) -> None:
        """Advance by `dt` seconds. `storage`: factor on what it can hold."""
        bed = self.bed_c
        active = (bed - (_LIGHT_OFF_C - 50.0)) / 100.0
        active = 0.0 if active < 0.0 else 1.0 if active > 1.0 else active
        excess = phi - 1.0
        fill = self.fill
        capacity = self._capacity_g * storage * active + 0.001
        # It holds back nearly all until it is nearly full, or nearly empty.
        used = 1.0 - fill if excess > 0.0 else fill
        used *= used
        used *= used
        kept = 1.0 - used * used
        # What has lost its store has lost most of its metal too.
        metal = 0.15 + 12.0 * storage
        kept *= (0.15 + 0.85 * active) * (metal if metal < 1.0 else 1.0)
        fill -= _OXYGEN * air_gps * excess * kept * dt / capacity
        self.fill = 0.0 if fill < 0.0 else 1.0 if fill > 1.0 else fill
        self.phi = (
            1.0 + excess * (1.0 - kept) + _MIDDLE * (0.8 - self.fill) * active * kept
        )
        stream = (air_gps + fuel_gps) * 1.1e-3
        self.gas_c = bed
        # Carbon monoxide of normal running, and raw fuel where there is oxygen for it.
        oxygen = 1.0 if excess < 0.0 else 1.0 / (1.0 + 12.0 * excess)
        raw = misfire if misfire < 0.5 else 0.5
        burned_kw = active * fuel_gps * 43.0 * (0.03 + 0.65 * raw * oxygen)
        self.bed_c = bed + dt / self._heat_kj_k * (
            stream * (gas_c - bed) + burned_kw - 0.0006 * (bed - 20.0)
        )
