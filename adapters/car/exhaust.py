"""The way from the cylinders to the sensors: transport delay, mixing, heat.

The delay is one working cycle plus the time the gas takes to fill the pipe, so it
shortens as the flow grows; that sets the frequency of the closed loop.
"""

from __future__ import annotations

_PLACES = 256
_HOT_G_L = 0.46
"""Density of exhaust gas at about 750 K. Unit: g/L. Source: the gas law."""

_MISFIRE_LEAN = 0.7
"""How much of a misfire's oxygen the sensor sees as lean. Source: our choice, because
the sensor burns part of the raw fuel on its own platinum."""


class Pipe:
    """One bank's exhaust up to its catalyst.

    Attributes:
        phi: mixture that reaches the front sensor.
        gas_c: temperature there. `port_c`: at the valves.
    """

    __slots__ = ("_at", "_ring", "_volume_l", "_wall_c", "gas_c", "phi", "port_c")

    def __init__(self, volume_l: float, ambient_c: float) -> None:
        self._ring = [0.0] * _PLACES
        self._at = 0
        self._volume_l = volume_l
        self._wall_c = ambient_c
        self.phi = 0.0
        self.gas_c = ambient_c
        self.port_c = ambient_c

    def preheat(self, wall_c: float) -> None:
        """Start with a pipe that is still warm."""
        self._wall_c = wall_c

    def delay_s(self, rpm: float, gas_gps: float) -> float:
        """Time from injection to the front sensor."""
        return 165.0 / rpm + self._volume_l * _HOT_G_L / (gas_gps + 0.2)

    def step(
        self,
        dt: float,
        rpm: float,
        gas_gps: float,
        phi: float,
        misfire: float,
        late_c: float = 0.0,
    ) -> None:
        """Advance by `dt` seconds with the mixture now in the cylinders.

        Args:
            dt: seconds.
            rpm: engine speed.
            gas_gps: air and fuel of the bank.
            phi: mixture in its cylinders.
            misfire: share of combustions that fail.
            late_c: heat that late ignition adds to the gas. Unit: °C.
        """
        at = (self._at + 1) % _PLACES
        self._at = at
        self._ring[at] = phi * (1.0 - _MISFIRE_LEAN * misfire)
        if rpm > 60.0:
            carry = self._volume_l * _HOT_G_L / (gas_gps + 0.2)
            places = int((165.0 / rpm + carry) / dt)
            if places >= _PLACES:
                places = _PLACES - 1
            arriving = self._ring[(at - places) % _PLACES]
            self.phi += (arriving - self.phi) * dt / (dt + 0.03 + 0.3 * carry)
            burning = phi if phi < 1.0 else 1.0
            hot = 450.0 + late_c + 380.0 * gas_gps / (gas_gps + 14.0)
            target = 40.0 + burning * hot
            self.port_c += (target - self.port_c) * dt / (dt + 0.8)
            self._wall_c += (self.port_c - self._wall_c) * dt * gas_gps / 130.0
        else:
            self.phi -= self.phi * dt / 30.0
            self.port_c += (self._wall_c - self.port_c) * dt / 4.0
            self._wall_c -= (self._wall_c - 20.0) * dt / 600.0
        self.gas_c = 0.55 * self.port_c + 0.45 * self._wall_c


def leak_share(strength: float, gas_gps: float) -> float:
    """Share of fresh air that a leak draws to the front sensor at a flow.

    Pulses draw air in at low flow; a steady stream does not. Source: S19, common
    practice for the shape.
    """
    return strength / (1.0 + gas_gps / 3.0)
