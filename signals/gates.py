"""Gates: when a rule may speak. A signal the car does not deliver opens its part.

Source: common practice, no source.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived
from bankwise.signals.places import EACH_BANK
from bankwise.signals.view import TickView
from bankwise.signals.windows import yes

LIKELY_S = 20.0
"""Source: our choice: the window of the sensor figures, so that it holds no cut."""


def _volts_ok(see: TickView) -> Floats:
    volts = see["module_v"]
    low, high = see.limit("gate_volts_min"), see.limit("gate_volts_max")
    return yes(~((volts < low) | (volts > high)))


def _regulating_low(see: TickView) -> Floats:
    since = see["since_start_s"]
    long = (since >= see.limit("gate_run_s")) | (
        np.isnan(since) & (see["running_run_s"] >= see.limit("gate_run_s"))
    )
    return yes(long & (see["plateau_c"] <= see.limit("gate_coolant_c")))


def _warm(see: TickView) -> Floats:
    coolant = see["ect_c"]
    return yes(~(coolant <= see.limit("gate_coolant_c")) | (see["regulating_low"] == 1))


def _engine(see: TickView) -> Floats:
    running = (see["running"] == 1) | ~see.seen("rpm")
    return yes(running & (see["volts_ok"] == 1) & (see["warm"] == 1))


def _bank(see: TickView) -> Floats:
    told = see.seen("fuel_status_b1")
    loop = (see["since_closed_{b}_s"] >= see.limit("gate_loop_age_s")) & (
        see["closed_run_{b}_s"] >= see.limit("gate_status_s")
    )
    # With no status told, closed loop is likely once fuel has been metered for a while.
    likely = ~told & ((see["fuelled_run_s"] >= LIKELY_S) | ~see.seen("rpm"))
    return yes((see["gate_engine"] == 1) & (loop | likely))


def _two_banks(see: TickView) -> Floats:
    return yes(
        see.seen("stft_b2_pct")
        | see.seen("o2_b2s1_v")
        | see.seen("lambda_b2s1")
        | see.seen("o2_b2s1_ma")
    )


def _both(see: TickView) -> Floats:
    second = (see["gate_b2"] == 1) | (see["two_banks"] != 1)
    return yes((see["gate_b1"] == 1) & second)


ROWS: tuple[Derived, ...] = (
    Derived("volts_ok", "voltage in range", "", _volts_ok, (), s.COMMON),
    Derived(
        "regulating_low",
        "coolant regulated below warm",
        "",
        _regulating_low,
        ("ect_c",),
        s.COMMON,
    ),
    Derived("warm", "coolant warm", "", _warm, (), s.COMMON),
    Derived("two_banks", "two banks", "", _two_banks, (), s.COMMON),
    Derived("gate_engine", "warm engine may be judged", "", _engine, (), s.COMMON),
    Derived(
        "gate_{b}",
        "bank in closed loop may be judged",
        "",
        _bank,
        (),
        s.COMMON,
        places=EACH_BANK,
    ),
    Derived("gate_both", "every bank may be judged", "", _both, (), s.COMMON),
)
"""Gates, in the order of computation."""
