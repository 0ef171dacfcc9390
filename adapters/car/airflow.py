"""Air from the throttle to each bank: manifold filling, leaks, what the unit sees.

The manifold is one volume. Air enters past the throttle, the idle passage, the purge
valve and leaks; each bank takes what its volumetric efficiency allows. The unit meters
the throttle's flow, or computes it from the pressure; neither sees a leak as such.
"""

from __future__ import annotations

from math import sqrt

from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.spec import CarSpec

_METERED_RPM = 450.0
"""Below this the flow pulses too much to meter, so starting uses the pressure path.
Source: common practice."""

GAS = 0.287055
"""Gas constant of dry air. Unit: J/(g K), which is kPa L/(g K)."""

_CRITICAL = 0.528
"""Pressure ratio below which a flow is choked. Source: gas dynamics, kappa 1.4."""

RUNNER_KEEPS = 0.75
"""Share of a runner's leak that its own bank breathes; the rest reaches the plenum.
Source: our choice, because the runner refills towards the plenum between strokes."""


def orifice(ratio: float) -> float:
    """Share of the choked flow that passes at a pressure ratio, 0 to 1.

    Source: the ellipse that approximates the isentropic flow function.
    """
    if ratio <= _CRITICAL:
        return 1.0
    if ratio >= 1.0:
        return 0.0
    away = (ratio - _CRITICAL) / (1.0 - _CRITICAL)
    return sqrt(1.0 - away * away)


class Intake:
    """State of the intake side.

    Attributes:
        map_kpa: true manifold pressure.
        bank_gps: true air per bank.
        throttle_flow_gps: true air through the meter.
        maf_gps: the meter's reading. `map_read_kpa`: the pressure sensor's.
        believed_gps: air per bank as the unit computes it, before its trims.
        iat_c: true intake air temperature.
    """

    __slots__ = (
        "_bank_l",
        "_density",
        "_leak_b",
        "_spec",
        "bank_gps",
        "baro_kpa",
        "believed_gps",
        "iat_c",
        "leak_gps",
        "maf_gps",
        "map_kpa",
        "map_read_kpa",
        "purge_gps",
        "throttle_flow_gps",
    )  # fmt: skip

    def __init__(self, spec: CarSpec) -> None:
        self._spec = spec
        self._bank_l = spec.displacement_l / spec.banks
        self.baro_kpa = spec.baro_kpa
        self.map_kpa = self.baro_kpa
        self.map_read_kpa = self.baro_kpa
        self.bank_gps = [0.0] * spec.banks
        self.believed_gps = [0.0] * spec.banks
        self.throttle_flow_gps = 0.0
        self.leak_gps = 0.0
        self.purge_gps = 0.0
        self.maf_gps = 0.0
        self._density = 0.0
        self.iat_c = spec.ambient_c + 3.0

    def efficiency(self, rpm: float) -> float:
        """Volumetric efficiency over the pressure above residual, without defects."""
        away = (rpm - self._spec.ve_peak_rpm) / self._spec.ve_peak_rpm
        return self._spec.ve_peak * (1.0 - self._spec.ve_droop * away * away)

    def step(
        self, dt: float, rpm: float, opening: float, purge: float, defects: Defects
    ) -> None:
        """Advance by `dt` seconds. `opening` and `purge`: share of the open passage."""
        spec = self._spec
        baro = self.baro_kpa
        p = self.map_kpa
        ratio = p / baro
        pull = orifice(ratio) * baro / 101.325
        kelvin = self.iat_c + 273.15
        throttle = spec.throttle_gps * opening * pull * sqrt(293.15 / kelvin)
        leak = defects.leak_gps * pull
        purge_gps = purge * pull
        entering = throttle + leak + purge_gps
        away = (rpm - spec.ve_peak_rpm) / spec.ve_peak_rpm
        ve = spec.ve_peak * (1.0 - spec.ve_droop * away * away)
        swept = ve * self._bank_l * rpm / 120.0
        residual = spec.residual_kpa
        density = max(p - residual, 0.0) / (GAS * kelvin)
        full = swept * baro / (GAS * kelvin) + 1e-6
        drawn = 0.0
        bank_gps = self.bank_gps
        for b in range(spec.banks):
            choke = defects.breathing_loss[b] + defects.exhaust_choke[b] * (
                bank_gps[b] / full
            )
            air = swept * density * (1.0 - choke if choke < 0.8 else 0.2)
            drawn += air
            runner = defects.runner_leak_gps[b] * pull
            entering += (1.0 - RUNNER_KEEPS) * runner
            bank_gps[b] = air + RUNNER_KEEPS * runner
        # Both flows are stiff near open throttle, so each is a conductance here.
        capacity = spec.manifold_l / (GAS * kelvin)
        gap = baro - p
        inward = entering / (gap if gap > 0.6 else 0.6)
        outward = drawn / (p if p > 1.0 else 1.0)
        self.map_kpa = (p + dt / capacity * inward * baro) / (
            1.0 + dt / capacity * (inward + outward)
        )
        self.throttle_flow_gps = throttle
        self.leak_gps = leak
        self.purge_gps = purge_gps
        self._read(dt, rpm, swept, kelvin, defects)

    def _read(
        self, dt: float, rpm: float, swept: float, kelvin: float, defects: Defects
    ) -> None:
        spec = self._spec
        self.map_read_kpa = self.map_kpa * spec.map_gain * defects.map_gain
        true = self.throttle_flow_gps
        seen = (
            true
            * spec.maf_gain
            * (1.0 - defects.maf_loss - defects.maf_loss_flow * min(true / 100.0, 1.5))
        )
        lag = dt / (dt + spec.maf_lag_s)
        self.maf_gps += (seen - self.maf_gps) * lag
        believed = self.believed_gps
        if spec.mass_air and rpm > _METERED_RPM:
            # The unit knows how its manifold fills: it tracks the density in it.
            per_s = dt / spec.manifold_l
            entered = self._density + per_s * self.maf_gps
            self._density = entered / (1.0 + per_s * swept * spec.banks)
            share = self._density * swept
            for b in range(spec.banks):
                believed[b] = share
            return
        density = max(self.map_read_kpa - spec.residual_kpa, 0.0) / (GAS * kelvin)
        self._density = density
        for b in range(spec.banks):
            believed[b] = swept * density * (1.0 + spec.ve_error[b])
