"""One cylinder bank put together: fuel, exhaust, sensors, catalyst, its control."""

from __future__ import annotations

from bankwise.adapters.car.catalyst import Catalyst
from bankwise.adapters.car.control import BankControl
from bankwise.adapters.car.exhaust import Pipe
from bankwise.adapters.car.fuel import FuelPath
from bankwise.adapters.car.oxygen import Switching, WideBand
from bankwise.adapters.car.spec import CarSpec


class Bank:
    """The parts of one bank; each holds its own state.

    Attributes:
        front: its upstream sensor, one of `front_switching` and `front_wide`.
        ready: the unit has seen the front sensor leave its bias.
        misfire: share of combustions failing now. `misfires`: counted events.
        seen: mixture at the front sensor, leaks in the exhaust included.
    """

    __slots__ = (
        "catalyst", "control", "front_switching", "front_wide", "fuel", "misfire",
        "misfires", "pipe", "ready", "rear", "seen", "silent_s",
    )  # fmt: skip

    def __init__(self, spec: CarSpec, index: int, start_pct: float) -> None:
        ambient = spec.ambient_c
        self.fuel = FuelPath(spec, index)
        self.pipe = Pipe(spec.pipe_l, ambient)
        self.catalyst = Catalyst(spec.storage_g, spec.catalyst_kj_k, ambient)
        self.control = BankControl(spec.control, spec.front[index].bias_v, start_pct)
        self.front_switching = Switching(spec.front[index], ambient)
        self.front_wide = (
            WideBand(spec.front[index], ambient) if spec.wideband else None
        )
        self.rear = Switching(spec.rear[index], ambient)
        self.ready = False
        self.silent_s = 0.0
        self.misfire = 0.0
        self.misfires = 0.0
        self.seen = 0.0

    @property
    def front(self) -> Switching | WideBand:
        """The upstream sensor that is fitted."""
        return self.front_wide if self.front_wide is not None else self.front_switching

    def restart(self) -> None:
        """Key cycle of the unit."""
        self.control.restart()
        self.ready = False
        self.silent_s = 0.0

    def note_ready(self, dt: float, bias_v: float, limit_s: float) -> None:
        """The unit watches for the front sensor to wake, and gives up in the end."""
        if self.ready:
            return
        if self.front_wide is not None:
            self.ready = self.front_wide.tip.active > 0.9
        else:
            away = self.front_switching.volts - bias_v
            self.ready = away > 0.13 or away < -0.13
        self.silent_s += dt
        if not self.ready and self.silent_s > limit_s:
            self.control.fault = True


def burn(phi: float) -> tuple[float, float]:
    """Work as a share of that at lambda 1, and share of combustions that fail.

    Combustion fails when very rich or very lean. Source: common practice.
    """
    if phi < 0.08:
        return 0.0, 0.0
    failed = 0.0
    if phi > 1.42:
        failed = 1.1 * (phi - 1.42)
    elif phi < 0.70:
        failed = 3.0 * (0.70 - phi)
    failed = failed if failed < 0.9 else 0.9
    work = phi if phi < 1.0 else 1.0 + 0.4 * (phi - 1.0) * (1.3 - phi)
    return work * (1.0 - failed), failed
