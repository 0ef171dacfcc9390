"""The on-board checks: which code, when it may be judged, what fails it.

Each row is judged a few times a second from what the unit sees. Limits are our choice
in the order that makers print; the source of the order stands beside each.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bankwise.adapters.car.control import CLOSED
from bankwise.adapters.car.evidence import Monitor
from bankwise.adapters.car.oxygen import LAMBDA_MAX

if TYPE_CHECKING:
    from bankwise.adapters.car.model import Car

Judge = Callable[["Car", int], bool | None]
"""Whether the bank fails now; None while it may not be judged."""

LEAN_PCT = 20.0
"""Total trim at which a bank is too lean or too rich. Source: S8, the near end."""

SLOW_S = 0.16
"""Longest way between 300 and 600 mV. Source: our choice, above S1's 130-140 ms because
this unit times the sensor in the gas of a running control, not in a step."""

CATALYST_INDEX = 0.6
"""Rear over front activity of a catalyst that fails. Source: common practice."""

MISFIRE_SHARE = 0.02
"""Share of failed combustions that fails the misfire check. Source: common practice."""

HEATER_LOW_A = 0.4
"""Heater current below which a heater fails. Unit: A. Source: our choice, under half
of what a hot heater draws at 12 V."""

_HEATER_OHM = 6.0
_HEATER_PER_C = 0.0019
"""A heater's resistance at 20 °C and its rise a degree, which make about 13 ohms and
one ampere when hot. Source: common practice for the order, no source."""

_USUAL_HEAT_S = 11.0
"""Warming time of a sensor with just that resistance: a slower one has a somewhat
weaker heater. Source: our choice, so that no two sensors draw alike."""

_SETTLED_S = 3.0
_WARM_C = 70.0


@dataclass(frozen=True, slots=True)
class Check:
    """One on-board check.

    Attributes:
        codes: code for bank 1 and bank 2; the second is empty for engine-wide checks.
        monitor: readiness monitor that it belongs to.
        judge: whether it fails now.
        sensors: `switching` or `wide` when it is about such a front sensor only.
        hold_s: how long it must fail. `enough_s`: judged so long, it has run.
    """

    codes: tuple[str, str]
    monitor: Monitor
    judge: Judge
    hold_s: float
    enough_s: float
    sensors: str = ""

    def applies(self, car: Car, b: int) -> bool:
        """Whether this car has the check for a bank."""
        fitted = "wide" if car.spec.wideband else "switching"
        return bool(self.codes[b]) and self.sensors in ("", fitted)


def _closed(car: Car, b: int) -> bool:
    return (
        car.engine.banks[b].control.status == CLOSED
        and car.engine.coolant.celsius > _WARM_C - 15.0
        and car.engine.strategy.settled_s > _SETTLED_S
    )


def total_trim_pct(car: Car, b: int) -> float:
    """Short-term and long-term trim of a bank together. Unit: %."""
    control = car.engine.banks[b].control
    return control.short_pct + control.long_pct


def _lean(car: Car, b: int) -> bool | None:
    return total_trim_pct(car, b) > LEAN_PCT if _closed(car, b) else None


def _rich(car: Car, b: int) -> bool | None:
    return total_trim_pct(car, b) < -LEAN_PCT if _closed(car, b) else None


def _front_low(car: Car, b: int) -> bool | None:
    bank = car.engine.banks[b]
    if not _closed(car, b):
        return None
    return bank.front_switching.volts < 0.08 and total_trim_pct(car, b) > 8.0


def _front_high(car: Car, b: int) -> bool | None:
    bank = car.engine.banks[b]
    if not car.engine_running:
        return None
    return bank.front_switching.volts > 1.05


def _slow(car: Car, b: int) -> bool | None:
    control = car.engine.banks[b].control
    if not _closed(car, b) or control.swings < 10:
        return None
    return control.rising_s > SLOW_S or control.falling_s > SLOW_S


def _silent(car: Car, b: int) -> bool | None:
    if not car.engine_running or car.engine.strategy.run_s < 60.0:
        return None
    return car.engine.banks[b].control.silent


def _wide_lean(car: Car, b: int) -> bool | None:
    wide = car.engine.banks[b].front_wide
    if wide is None or not _closed(car, b):
        return None
    return 1.06 < wide.lam < LAMBDA_MAX and total_trim_pct(car, b) > LEAN_PCT


def _wide_rich(car: Car, b: int) -> bool | None:
    wide = car.engine.banks[b].front_wide
    if wide is None or not _closed(car, b):
        return None
    return wide.lam < 0.94 and total_trim_pct(car, b) < -LEAN_PCT


def heater_amperes(car: Car, b: int, *, rear: bool) -> float:
    """Current through a sensor's heater; broken traces carry none. Unit: A."""
    bank = car.engine.banks[b]
    tip = bank.rear.tip if rear else bank.front.tip
    spec = car.spec.rear[b] if rear else car.spec.front[b]
    wiring = car.defects.rear[b] if rear else car.defects.front[b]
    ohm = _HEATER_OHM * (0.75 + 0.25 * spec.heat_s / _USUAL_HEAT_S)
    ohm *= 1.0 + _HEATER_PER_C * (tip.celsius - 20.0)
    return wiring.heater * car.module_v / ohm


def _front_heater(car: Car, b: int) -> bool | None:
    if not car.engine_running:
        return None
    return heater_amperes(car, b, rear=False) < HEATER_LOW_A


def _rear_heater(car: Car, b: int) -> bool | None:
    if not car.engine_running:
        return None
    return heater_amperes(car, b, rear=True) < HEATER_LOW_A


def _rear_silent(car: Car, b: int) -> bool | None:
    if not car.engine_running or car.engine.strategy.run_s < 60.0:
        return None
    away = car.engine.banks[b].rear.volts - car.spec.rear[b].bias_v
    return -0.07 < away < 0.07


def _catalyst(car: Car, b: int) -> bool | None:
    index = car.monitors.catalyst_index(b)
    if car.engine.banks[b].control.rising_s > SLOW_S:
        return None  # behind a slow front sensor nothing is proven
    return None if index is None else index > CATALYST_INDEX


def _cam(car: Car, b: int) -> bool | None:
    # A cam that costs this much air stands about ten degrees late.
    return car.defects.breathing_loss[b] > 0.15 if car.engine_running else None


def _misfire(car: Car, b: int) -> bool | None:
    if not car.engine_running or car.engine.strategy.run_s < 10.0:
        return None
    return max(bank.misfire for bank in car.engine.banks) > MISFIRE_SHARE


def _cool(car: Car, b: int) -> bool | None:
    if not car.monitors.warm_expected:
        return None
    return car.engine.coolant.celsius < car.spec.thermostat_c - 11.0


_SENSOR, _HEATER = Monitor.OXYGEN_SENSOR, Monitor.OXYGEN_HEATER
_FUEL, _PARTS = Monitor.FUEL_SYSTEM, Monitor.COMPONENTS

CHECKS: tuple[Check, ...] = (
    Check(("P0171", "P0174"), _FUEL, _lean, 30.0, 60.0),
    Check(("P0172", "P0175"), _FUEL, _rich, 30.0, 60.0),
    Check(("P0131", "P0151"), _SENSOR, _front_low, 20.0, 60.0, "switching"),
    Check(("P0132", "P0152"), _SENSOR, _front_high, 10.0, 60.0, "switching"),
    Check(("P0133", "P0153"), _SENSOR, _slow, 20.0, 40.0, "switching"),
    Check(("P0134", "P0154"), _SENSOR, _silent, 1.0, 60.0),
    Check(("P2195", "P2197"), _SENSOR, _wide_lean, 20.0, 60.0, "wide"),
    Check(("P2196", "P2198"), _SENSOR, _wide_rich, 20.0, 60.0, "wide"),
    Check(("P0135", "P0155"), _HEATER, _front_heater, 8.0, 20.0),
    Check(("P0141", "P0161"), _HEATER, _rear_heater, 8.0, 20.0),
    Check(("P0140", "P0160"), _SENSOR, _rear_silent, 150.0, 180.0),
    Check(("P0420", "P0430"), Monitor.CATALYST, _catalyst, 20.0, 30.0),
    Check(("P0016", "P0018"), _PARTS, _cam, 10.0, 20.0),
    Check(("P0300", ""), Monitor.MISFIRE, _misfire, 10.0, 60.0),
    Check(("P0128", ""), _PARTS, _cool, 20.0, 40.0),
)
"""Every check of the simulated unit."""
