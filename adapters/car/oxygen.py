"""Oxygen sensors: chemistry, lag each way, warming, bias, wiring.

A switching sensor is a voltage step around lambda 1 with a lag that may differ each
way; below its working temperature, and open, it reads its input circuit's bias. A
wide-band sensor gives lambda and a pump current.
"""

from __future__ import annotations

from bankwise.adapters.car.defects import Wiring
from bankwise.adapters.car.spec import SensorSpec

_AWAKE_C = 280.0
_READY_C = 350.0
"""A sensor conducts from about 280 °C and is fully active by 350 °C [CP]."""

_UNHEATED = 0.62
"""Tip temperature over gas temperature without a heater. Source: our choice, so that
an unheated sensor sleeps at idle and works on the road, as common practice has it."""

_HEATED_C = 620.0
"""Tip temperature that the heater regulates to. Source: our choice, common practice."""

LAMBDA_MAX = 1.999
"""Largest lambda the standard's encoding carries. Source: M:J1979."""


class Tip:
    """Temperature of a sensor's tip. `active`: 0 silent to 1 fully working."""

    __slots__ = ("_heat_s", "active", "celsius")

    def __init__(self, heat_s: float, ambient_c: float) -> None:
        self._heat_s = heat_s
        self.celsius = ambient_c
        self.active = 0.0

    def step(self, dt: float, gas_c: float, gas_gps: float, power: float) -> None:
        """Advance by `dt` seconds. `power`: share of full heater power."""
        warm = _UNHEATED * gas_c
        heated = warm + power * (_HEATED_C - warm if warm < _HEATED_C else 0.0)
        tau = self._heat_s + (1.0 - power) * 60.0 / (1.0 + gas_gps / 6.0)
        self.celsius += (heated - self.celsius) * dt / tau
        active = (self.celsius - _AWAKE_C) / (_READY_C - _AWAKE_C)
        self.active = 0.0 if active < 0.0 else 1.0 if active > 1.0 else active


class Switching:
    """A switching sensor. `volts`: as the unit reads it."""

    __slots__ = ("_element_v", "_high", "_low", "_spec", "tip", "volts")

    def __init__(self, spec: SensorSpec, ambient_c: float) -> None:
        self._spec = spec
        self._element_v = spec.bias_v
        self.tip = Tip(spec.heat_s, ambient_c)
        self.volts = spec.bias_v

    def step(self, dt: float, phi: float, noise: float, wiring: Wiring) -> None:
        """Advance by `dt` seconds in a mixture `phi`."""
        spec = self._spec
        x = (phi - 1.0) * spec.steepness
        step = x / (1.0 + x if x > 0.0 else 1.0 - x)
        middle = 0.5 * (spec.rich_v + spec.lean_v)
        target = middle + 0.5 * (spec.rich_v - spec.lean_v) * step * wiring.swing
        if target > self._element_v:
            tau = spec.lean_to_rich_s * wiring.slow_lean_to_rich
        else:
            tau = spec.rich_to_lean_s * wiring.slow_rich_to_lean
        # A cool element is also slow.
        active = self.tip.active
        tau *= 3.0 - 2.0 * active
        self._element_v += (target - self._element_v) * dt / (dt + tau)
        if wiring.forced_v is not None:
            self.volts = wiring.forced_v + 0.002 * noise
            return
        if wiring.open:
            self.volts = spec.bias_v + 0.002 * noise
            return
        volts = spec.bias_v + active * (self._element_v - spec.bias_v)
        if wiring.flat_v is not None:
            volts = wiring.flat_v + 0.04 * (volts - spec.bias_v)
        if wiring.pull_down:
            volts *= 1.0 - wiring.pull_down
        if wiring.pull_up:
            volts += (spec.rich_v - volts) * wiring.pull_up
        self.volts = volts + 0.004 * noise


def pump_ma(lam: float) -> float:
    """Pump current at a lambda. Source: B1 from memory, two straight pieces in phi."""
    return 2.3 * (1.0 - 1.0 / lam) if lam >= 1.0 else 5.3 * (lam - 1.0)


class WideBand:
    """A wide-band sensor. `lam`, `milliamps`, `volts`: as the unit reports them."""

    __slots__ = ("_phi", "_spec", "lam", "milliamps", "tip", "volts")

    def __init__(self, spec: SensorSpec, ambient_c: float) -> None:
        self._spec = spec
        self._phi = 1.0
        self.tip = Tip(spec.heat_s * 0.7, ambient_c)
        self.lam = 1.0
        self.milliamps = 0.0
        self.volts = 0.0
        self._report(1.0)

    def step(self, dt: float, phi: float, noise: float, wiring: Wiring) -> None:
        """Advance by `dt` seconds in a mixture `phi`."""
        spec = self._spec
        if phi > self._phi:
            tau = spec.lean_to_rich_s * wiring.slow_lean_to_rich
        else:
            tau = spec.rich_to_lean_s * wiring.slow_rich_to_lean
        self._phi += (phi - self._phi) * dt / (dt + tau)
        if wiring.open or self.tip.active < 0.5 or wiring.flat_v is not None:
            self._report(1.0)
            return
        if wiring.forced_v is not None:
            self._report(0.65 if wiring.forced_v > spec.bias_v else LAMBDA_MAX)
            return
        seen = 1.0 + (self._phi - 1.0) * spec.gain * wiring.swing
        seen *= 1.0 - wiring.shift
        lam = 1.0 / seen if seen > 0.3 else 3.4
        self._report(lam + 0.0015 * noise)

    def _report(self, lam: float) -> None:
        self.milliamps = pump_ma(lam if lam > 0.6 else 0.6)
        self.volts = 1.5 + 0.6 * self.milliamps
        self.lam = LAMBDA_MAX if lam > LAMBDA_MAX else 0.6 if lam < 0.6 else lam
