"""What the unit commands for the engine: mixture, idle, fuel cut, purge, spark."""

from __future__ import annotations

from math import exp

from bankwise.adapters.car.spec import CarSpec

_RUNNING_RPM = 420.0
_FAST_PEDAL = 0.25
"""Pedal speed above which learning waits. Unit: 1/s. Source: our choice."""


class Strategy:
    """Engine-wide commands and the unit's view of the running state.

    Attributes:
        opening: throttle and idle passage together, as a share of the open throttle.
        transient: fuel added or left out while load changes.
        lambda_cmd: commanded lambda. `cut`: fuel is off. `power`: enrichment.
        fuelled_s: seconds since the last cut.
        refill_s: short enrichment after a cut that empties the catalysts of oxygen.
        run_s: seconds since start; zero while not running.
        settled_s: seconds of closed loop without a fast pedal.
        purge: purge valve, 0 to 1. `timing_deg`: ignition advance. `spark`: its effect
            on idle torque.
        idling: foot off, engine at idle.
    """

    __slots__ = (
        "_catch", "_closed_pedal_s", "_idle_air", "_last_pedal", "_power_s",
        "_slow_load", "_spec", "cut", "fuelled_s",
        "idling", "lambda_cmd", "opening", "power", "purge", "refill_s", "run_s",
        "settled_s", "spark", "timing_deg", "transient",
    )  # fmt: skip

    def __init__(self, spec: CarSpec) -> None:
        self._spec = spec
        self._idle_air = 0.016
        self._last_pedal = 0.0
        self.restart()

    def restart(self) -> None:
        """Engine off."""
        self.opening = self._idle_air
        self.lambda_cmd = 1.0
        self.cut = False
        self.power = False
        self.refill_s = 0.0
        self.fuelled_s = 0.0
        self.run_s = 0.0
        self.settled_s = 0.0
        self.purge = 0.0
        self.timing_deg = 5.0
        self.spark = 1.0
        self.idling = False
        self._closed_pedal_s = 0.0
        self._power_s = 0.0
        self._slow_load = 0.0
        self._catch = 0.0
        self.transient = 1.0

    @property
    def late_c(self) -> float:
        """Heat that late ignition gives the exhaust while the catalyst is cold."""
        return 200.0 if self.idling and self.run_s < 45.0 else 0.0

    @property
    def running(self) -> bool:
        """The engine runs by itself."""
        return self.run_s > 0.0

    def step(
        self, dt: float, pedal: float, rpm: float, kmh: float, ect_c: float, load: float
    ) -> None:
        """Advance by `dt` seconds."""
        spec = self._spec
        if rpm > _RUNNING_RPM:
            self.run_s += dt
        elif rpm < 100.0:
            self.run_s = 0.0
        cold = (60.0 - ect_c) / 80.0
        cold = 0.0 if cold < 0.0 else cold
        closed = pedal < 0.01
        self.idling = closed and kmh < 2.0 and rpm < spec.idle_rpm + 500.0
        self._idle(dt, rpm, kmh, cold, closed)
        shaped = pedal * pedal * (0.25 + 0.75 * pedal) + 0.12 * pedal
        self.opening = self._idle_air + self._catch + (shaped if shaped < 1.0 else 1.0)
        self._cut(dt, rpm, ect_c, closed)
        self._mixture(dt, pedal, cold)
        self._slow_load += (load - self._slow_load) * dt / (dt + 0.4)
        change = load - self._slow_load
        gain = spec.transient_gain if change > 0.0 else 0.5 * spec.transient_gain
        self.transient = 1.0 + gain * (1.0 + cold) * change
        speed = (pedal - self._last_pedal) / dt
        self._last_pedal = pedal
        fast = speed > _FAST_PEDAL or speed < -_FAST_PEDAL or self.cut or self.power
        self.settled_s = 0.0 if fast else self.settled_s + dt
        self._purge(dt, ect_c, load)
        advance = 12.0 + 24.0 * (rpm - 700.0) / (rpm + 900.0) - 14.0 * load * load
        self.timing_deg += (advance - self.timing_deg) * dt / 0.15

    def _idle(
        self, dt: float, rpm: float, kmh: float, cold: float, closed: bool
    ) -> None:
        if not self.running:
            self._idle_air = 0.016 + 0.014 * cold
            return
        target = self._spec.idle_rpm + 420.0 * cold + 250.0 * exp(-self.run_s / 6.0)
        error = target - rpm
        if not (closed and kmh < 2.0):
            self.spark = 1.0
            self._catch = 0.0
            return
        error = 250.0 if error > 250.0 else -250.0 if error < -250.0 else error
        self._catch = 2.5e-5 * error if error > 0.0 else 0.0
        if error > -200.0:
            air = self._idle_air + 4.0e-6 * error * dt
            self._idle_air = 0.0015 if air < 0.0015 else 0.06 if air > 0.06 else air
        self.spark = 1.0 + 0.0012 * error
        self.timing_deg += 0.03 * error

    def _cut(self, dt: float, rpm: float, ect_c: float, closed: bool) -> None:
        control = self._spec.control
        self._closed_pedal_s = self._closed_pedal_s + dt if closed else 0.0
        if self.cut:
            self.cut = closed and rpm > control.cut_rpm - 250.0
            self.refill_s = min(self.refill_s + 1.5 * dt, 5.0)
            self.fuelled_s = 0.0
            return
        self.fuelled_s += dt
        # At a high flow the catalysts empty sooner.
        self.refill_s = max(self.refill_s - dt * (0.6 + 2.5 * self._slow_load), 0.0)
        self.cut = (
            self._closed_pedal_s > control.cut_delay_s
            and rpm > control.cut_rpm
            and ect_c > 40.0
            and self.run_s > 5.0
        )

    def _mixture(self, dt: float, pedal: float, cold: float) -> None:
        control = self._spec.control
        wide_open = pedal > control.power_pedal
        self._power_s = self._power_s + dt if wide_open else 0.0
        self.power = self._power_s > 0.3
        lam = 1.0 - 0.11 * cold - (0.04 + 0.2 * cold) * exp(-self.run_s / 9.0)
        if self.power:
            lam = control.power_lambda
        elif self.refill_s > 0.0 and not self.cut:
            lam = 0.88
        rate = dt / (dt + 0.15)
        self.lambda_cmd += (lam - self.lambda_cmd) * rate

    def _purge(self, dt: float, ect_c: float, load: float) -> None:
        wanted = 0.0
        if ect_c > 60.0 and self.settled_s > 4.0 and self.run_s > 60.0:
            wanted = 0.12 + 0.9 * load if self.run_s % 70.0 < 52.0 else 0.0
        self.purge += (min(wanted, 0.9) - self.purge) * dt / 1.5
