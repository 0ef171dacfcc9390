"""Wide-band sensors: λ over seconds, and its error against the command."""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.places import EACH_SENSOR
from bankwise.signals.sampling import STUCK_HZ, WINDOW_S
from bankwise.signals.view import TickView

SHORT_S = 5.0
SETTLE_S = 3.0
"""After a fuel cut the pipe must fill again before λ speaks of the mixture.

Source: our choice, because transport and storage together take a second or two.
"""


def _of(see: TickView, seconds: float, which: str) -> Floats:
    w = see.window("lambda_{s}", seconds)
    fresh = see.known("lambda_{s}")
    value = {"mean": w.mean, "min": w.minimum, "max": w.maximum}[which]
    return np.where(fresh, value, np.nan)


def _error(see: TickView) -> Floats:
    width = round((SHORT_S + SETTLE_S) * 2)
    command = see.back("lambda_cmd", width)
    cut = see.back("fuel_cut", width)
    steady = np.ones(see.size, dtype=np.bool_)
    for k in range(width):
        # Not within reach of a fuel cut, and against one and the same command.
        steady &= cut[k : k + see.size] != 1
        past = command[k : k + see.size]
        steady &= ~(np.abs(past - command[width - 1 :]) > 0.02)
    now = np.where(np.isnan(see["lambda_cmd"]), 1.0, see["lambda_cmd"])
    # Without closed loop or a command nobody wants λ to be one: a diesel, for one.
    wanted = (see["closed_{b}"] == 1) | see.known("lambda_cmd")
    ok = steady & wanted & (see["running"] == 1)
    return np.where(ok, (see["lambda_mean_{s}"] / now - 1.0) * 100.0, np.nan)


def _row(
    name: str, title: str, unit: str, function: Function, window_s: float
) -> Derived:
    return Derived(
        name,
        title,
        unit,
        function,
        ("lambda_{s}",),
        s.COMMON,
        EACH_SENSOR,
        window_s,
        STUCK_HZ,
        "hz_{s}",
        decimals=3,
    )


ROWS: tuple[Derived, ...] = (
    _row(
        "lambda_mean_{s}", "λ, mean of 5 s", "λ",
        lambda see: _of(see, SHORT_S, "mean"), SHORT_S,
    ),
    _row(
        "lambda_min_{s}", "lowest λ", "λ",
        lambda see: _of(see, WINDOW_S, "min"), WINDOW_S,
    ),
    _row(
        "lambda_max_{s}", "highest λ", "λ",
        lambda see: _of(see, WINDOW_S, "max"), WINDOW_S,
    ),
    _row("lambda_error_{s}_pct", "λ error", "%", _error, SHORT_S),
)  # fmt: skip
"""Wide-band signals, in the order of computation."""
