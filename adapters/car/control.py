"""Closed-loop fuel control of one bank, as an engine control unit does it.

A switching sensor gives only a sign, so the short-term trim ramps until the sensor
switches, jumps back and ramps the other way: the limit cycle. A wide-band sensor gives
an error for a proportional and integral control.
"""

from __future__ import annotations

from bankwise.adapters.car.learning import Cells
from bankwise.adapters.car.spec import ControlSpec

OPEN_COLD = 1
CLOSED = 2
OPEN_DRIVING = 4
OPEN_FAULT = 8
CLOSED_FAULT = 16
"""Fuel system status as PID 03 gives it. Source: M:J1979."""

_THRESHOLD_V = 0.45
_HYSTERESIS_V = 0.02
_REAR_TARGET_V = 0.66
"""Rear voltage that a unit with rear control aims at. Source: common practice."""

_LOW_V, _HIGH_V = 0.3, 0.6
"""Between these the response is timed. Source: S1."""

_TIMED_RPM = 1200.0
"""Below this the gas itself changes too slowly to time a sensor. Source: S1's gate."""

_NO_SWING_S = 0.4
"""Response that a sensor is given which does not swing fully. Source: our choice."""

_SHORT_SWINGS = 6
"""So many switches of the control without a full swing. Source: our choice."""

_FIXED_SHIFT = 3.0
"""Shift of a unit without rear control: a little rich. Source: common practice."""

_REAR_SHIFT = 10.0
"""End of the rear sensor's shift. Source: our choice; about 1 % of lambda."""


_WAIT = 36.0
"""Longest wait after a switch, in seconds times rpm per percent of shift: about half a
second at idle. Source: our choice, common practice for the order."""


class BankControl:
    """One bank's control.

    Attributes:
        status: fuel system status. `short_pct`, `long_pct`: trims in use.
        shown_pct: short-term trim as shown. `rear_pct`: rear sensor's shift.
        fault: the unit has recognised that the front sensor is no good.
        cells: the learned trims.
        rising_s, falling_s: time between 300 and 600 mV each way, a running mean.
        swings: how many were timed. `rear_low_v`, `rear_high_v`: the rear's extremes.
        rear_cut_s: fuel cut seen by a warm rear sensor in this drive. Unit: s.
    """

    __slots__ = (
        "_above", "_average", "_bias_v", "_dead_s", "_hold_s", "_integral", "_phase",
        "_rear_sum", "_rich", "_short_swings", "_since_edge_s", "_spec", "_stuck_s",
        "cells", "falling_s", "fault", "long_pct", "rear_cut_s", "rear_high_v",
        "rear_low_v", "rear_pct", "rising_s", "short_pct", "shown_pct", "status",
        "swings",
    )  # fmt: skip

    def __init__(self, spec: ControlSpec, bias_v: float, start_pct: float) -> None:
        self._spec = spec
        self._bias_v = bias_v
        self.cells = Cells(spec, start_pct)
        self.restart()

    def restart(self) -> None:
        """Key cycle: the learned trims stay, everything else begins again."""
        self.status = OPEN_COLD
        self.short_pct = 0.0
        self.long_pct = 0.0
        self.shown_pct = 0.0
        self.rear_pct = 0.0 if self._spec.rear_trim else _FIXED_SHIFT
        self._rear_sum = 0.0
        self.fault = False
        self._average = 0.0
        self._integral = 0.0
        self._rich = False
        self._hold_s = 0.0
        self._dead_s = 0.0
        self._stuck_s = 0.0
        self._phase = 0.0
        self._above = False
        self._since_edge_s = 0.0
        self.swings = 0
        self._short_swings = 0
        self.rising_s = 0.05
        self.falling_s = 0.05
        self.rear_low_v = 9.0
        self.rear_high_v = -9.0
        self.rear_cut_s = 0.0

    @property
    def factor(self) -> float:
        """What the trims multiply the fuel by."""
        if self._spec.multiplicative:
            return (1.0 + 0.01 * self.short_pct) * (1.0 + 0.01 * self.long_pct)
        return 1.0 + 0.01 * (self.short_pct + self.long_pct)

    def open_loop(self, status: int, dt: float) -> None:
        """One step without feedback; the learned trim stays in use."""
        self.status = status
        spec = self._spec
        self.short_pct -= self.short_pct * dt / (dt + 0.3)
        self._average = 0.0
        self._integral = 0.0
        if status == OPEN_FAULT and spec.default_long:
            self.long_pct -= self.long_pct * dt / (dt + 1.0)
        self._show(dt)

    def borrow(self, other: BankControl, dt: float) -> None:
        """One step that follows the other bank's short-term trim."""
        self.status = CLOSED_FAULT
        self.short_pct = other.short_pct
        self._show(dt)

    def use_cell(self, cell: int) -> None:
        """Take the learned trim of a cell into use."""
        if not (self.fault and self._spec.default_long):
            self.long_pct = self.cells.values[cell]

    def switching(self, dt: float, volts: float, rpm: float, settled: bool) -> None:
        """One closed-loop step on a switching sensor, timed when driving settled."""
        spec = self._spec
        self.status = CLOSED
        rich = self._rich
        if self._hold_s > 0.0:
            self._hold_s -= dt
            if self._hold_s <= 0.0:
                self._switch()
        elif rich != (
            volts > _THRESHOLD_V + (-_HYSTERESIS_V if rich else _HYSTERESIS_V)
        ):
            # Waiting after a switch to one side shifts the mean to the other.
            wait = _WAIT * self.rear_pct / rpm
            wait = -wait if rich else wait
            if wait > 0.0:
                self._hold_s = wait
            else:
                self._switch()
        ramp = spec.ramp_pct_s * (0.25 + 0.75 * rpm / 2000.0)
        self._limit(self.short_pct + (-ramp if self._rich else ramp) * dt)
        self._watch(dt, volts)
        if settled and rpm > _TIMED_RPM:
            self._time_swings(dt, volts)
        self._show(dt)

    def _switch(self) -> None:
        self._rich = not self._rich
        self._short_swings += 1
        self._hold_s = 0.0
        jump = self._spec.jump_pct
        self._limit(self.short_pct + (-jump if self._rich else jump))

    def wide(self, dt: float, lam: float, wanted: float, alive: bool) -> None:
        """One closed-loop step on a wide-band sensor."""
        spec = self._spec
        self.status = CLOSED
        self._phase += dt
        wobble = spec.wide_wobble_pct * (0.01 if self._phase % 1.6 < 0.8 else -0.01)
        target = wanted * (1.0 + wobble - 0.0005 * self.rear_pct)
        error = lam / target - 1.0
        error = 0.15 if error > 0.15 else -0.15 if error < -0.15 else error
        integral = self._integral + spec.wide_i * error * dt
        limit = spec.short_limit_pct
        self._integral = max(-limit, min(limit, integral))
        self._limit(self._integral + spec.wide_p * error)
        self._dead_s = 0.0 if alive else self._dead_s + dt
        self._judge(dt)
        self._show(dt)

    def learn(self, dt: float, cell: int) -> None:
        """Move a slow share of the short-term trim into the cell; the sum stays."""
        spec = self._spec
        self._average += (self.short_pct - self._average) * dt / 3.0
        took = self.cells.learn(cell, self._average * dt / spec.learn_s)
        self.short_pct -= took
        self._average -= took
        self._integral -= took

    @property
    def silent(self) -> bool:
        """The front sensor has not left its bias for too long."""
        return self.fault and self._dead_s >= 0.0 and self._stuck_s == 0.0

    def note_rear(self, volts: float) -> None:
        """Keep the rear sensor's extremes of this drive."""
        self.rear_low_v = min(self.rear_low_v, volts)
        self.rear_high_v = max(self.rear_high_v, volts)

    def rear(self, dt: float, volts: float) -> None:
        """Let a working rear sensor shift the front's target slowly."""
        error = _REAR_TARGET_V - volts
        error = 0.15 if error > 0.15 else -0.15 if error < -0.15 else error
        self._rear_sum += 1.0 * error * dt
        self._rear_sum = max(min(self._rear_sum, 6.0), -6.0)
        shift = self._rear_sum + 30.0 * error
        self.rear_pct = _REAR_SHIFT if shift > _REAR_SHIFT else max(shift, -_REAR_SHIFT)

    def _limit(self, pct: float) -> None:
        limit = self._spec.short_limit_pct
        self.short_pct = limit if pct > limit else -limit if pct < -limit else pct

    def _watch(self, dt: float, volts: float) -> None:
        away = volts - self._bias_v
        self._dead_s = self._dead_s + dt if -0.06 < away < 0.06 else 0.0
        self._judge(dt)

    def _time_swings(self, dt: float, volts: float) -> None:
        self._since_edge_s += dt
        if volts < _LOW_V:
            if self._above:
                self.falling_s += 0.1 * (self._since_edge_s - self.falling_s)
                self._above = False
                self.swings += 1
                self._short_swings = 0
            self._since_edge_s = 0.0
        elif volts > _HIGH_V:
            if not self._above:
                self.rising_s += 0.1 * (self._since_edge_s - self.rising_s)
                self._above = True
            self._since_edge_s = 0.0
        if self._short_swings >= _SHORT_SWINGS:
            # The control works, yet the sensor no longer gets from side to side.
            self.rising_s += 0.1 * (_NO_SWING_S - self.rising_s)
            self.falling_s += 0.1 * (_NO_SWING_S - self.falling_s)
            self.swings += 1
            self._short_swings = 0

    def _judge(self, dt: float) -> None:
        spec = self._spec
        at_end = abs(self.short_pct) > spec.short_limit_pct - 1.0
        self._stuck_s = self._stuck_s + dt if at_end else 0.0
        if self._dead_s > spec.dead_sensor_s or self._stuck_s > spec.stuck_sensor_s:
            self.fault = True

    def _show(self, dt: float) -> None:
        lag = dt / (dt + self._spec.shown_tau_s)
        self.shown_pct += (self.short_pct - self.shown_pct) * lag
