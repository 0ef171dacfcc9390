"""Which bank is controlled how: open or closed loop, faults, learning."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bankwise.adapters.car.control import (
    CLOSED,
    OPEN_COLD,
    OPEN_DRIVING,
    OPEN_FAULT,
)
from bankwise.adapters.car.learning import cell_of

if TYPE_CHECKING:
    from bankwise.adapters.car.engine import Engine

_LEARN_AFTER_S = 3.0
"""Steady pedal before learning. Source: our choice, common practice for the order."""

_GIVE_UP_C_S = 300.0
"""Running time after which temperature no longer keeps the loop open, because a cold
regulating engine must be controlled too. Source: S16 for the order."""

_WAKE_EXTRA_S = 30.0


def control_banks(engine: Engine, dt: float, rpm: float) -> None:
    """One control step of every bank."""
    spec = engine.spec
    control = spec.control
    strategy = engine.strategy
    ect = engine.coolant.celsius
    cell = cell_of(control, rpm, engine.load, strategy.idling)
    cold = (20.0 - ect) / 20.0 if ect < 20.0 else 0.0
    warm = ect > control.closed_ect_c or strategy.run_s > _GIVE_UP_C_S
    allowed = warm and strategy.run_s > control.closed_delay_s * (1.0 + cold)
    learning = ect > control.learn_ect_c and strategy.settled_s > _LEARN_AFTER_S
    driving = (
        strategy.cut
        or strategy.refill_s > 0.0
        or (strategy.power and not control.power_closed)
    )
    for b, bank in enumerate(engine.banks):
        law = bank.control
        bank.note_ready(dt, spec.front[b].bias_v, control.dead_sensor_s + _WAKE_EXTRA_S)
        if bank.rear.tip.active > 0.9:
            law.note_rear(bank.rear.volts)
            law.rear_cut_s = law.rear_cut_s + dt if strategy.cut else law.rear_cut_s
        law.use_cell(cell)
        if law.fault:
            other = engine.banks[-1 - b].control
            if control.borrows and other.status == CLOSED:
                law.borrow(other, dt)
            else:
                law.open_loop(OPEN_FAULT, dt)
        elif not (allowed and bank.ready):
            law.open_loop(OPEN_COLD, dt)
        elif driving:
            law.open_loop(OPEN_DRIVING, dt)
        else:
            wide = bank.front_wide
            if wide is None:
                law.switching(dt, bank.front_switching.volts, rpm, learning)
            else:
                alive = wide.tip.active > 0.5 and not engine.defects.front[b].open
                law.wide(dt, wide.lam, strategy.lambda_cmd, alive)
            if learning:
                law.learn(dt, cell)
                if control.rear_trim and bank.rear.tip.active > 0.9:
                    law.rear(dt, bank.rear.volts)
