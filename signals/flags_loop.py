"""Flags about the loop itself: faulted, half open, late, or out of room.

The first four also void what the trims seem to say; `rules.TRIM_VOIDS` lists them.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.code_marks import read_codes
from bankwise.signals.columns import Bools
from bankwise.signals.misfires import counting
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.severity import Severity
from bankwise.signals.trouble_codes import MISFIRE, system


def _at_limit(see: View) -> Bools:
    far = np.abs(see["total_trim_{b}_pct"]) >= see.limit("limit_least_pct")
    return (see["at_limit_{b}_s"] >= see.limit("limit_hold_s")) & far


def _open_fault(see: View) -> Bools:
    return see["fault_status_run_{b}_s"] > 0


def _closed_fault(see: View) -> Bools:
    return see["closed_fault_run_{b}_s"] > 0


def _one_open(see: View) -> Bools:
    other = see["closed_run_{o}_s"] >= see.limit("open_other_bank_s")
    return (see["closed_{b}"] < 1) & other & (see["running"] > 0)


def _late_loop(see: View) -> Bools:
    start = see["ect_start_c"]
    allowed = np.select(
        [start > 10.0, start >= -7.0, np.isfinite(start)],
        [
            see.limit("closed_loop_warm_s"),
            see.limit("closed_loop_cool_s"),
            see.limit("closed_loop_cold_s"),
        ],
        np.nan,
    )
    late = see["waiting_closed_{b}_s"] > allowed
    return late | (see["closed_loop_entry_{b}_s"] > allowed)


def _misfire(see: View) -> Bools:
    own, rest = see["trim_10_{b}_pct"], see["trim_10_{o}_pct"]
    adds = own >= see.limit("trim_add_pct")
    # A misfire of some percent adds that much: less than a normal trim, but one-sided.
    apart = (own >= see.limit("misfire_apart_pct")) & (
        own - rest >= see.limit("misfire_apart_pct")
    )
    level = see.limit("trim_level_pct")
    other = ~(rest > level)
    # Beside a bank that is off itself, this one being leaner proves nothing.
    apart &= np.abs(rest) <= level
    said = read_codes(see, lambda code: system(code) == MISFIRE)
    said |= counting(see.columns, see.ticks)
    return (adds | apart) & other & said


RULES: tuple[Rule, ...] = (
    Rule(
        id="open-loop-fault",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_open_fault,
        gate=Gate.NONE,
        hold="loop_fault_hold_s",
        clear_s=3.0,
        text="{place}: the control unit has given up closed loop because of a fault.",
        does_not_prove="Not which part failed; trims are frozen and mean nothing now.",
        causes=("fault found by the control unit", "front sensor or heater fault"),
        next="Read the codes with their freeze frame before anything else.",
        caution="clearing",
        limits=("loop_fault_hold_s",),
        source=f"status 08 of PID 03; hold {s.COMMON}",
    ),
    Rule(
        id="closed-loop-fault",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_closed_fault,
        gate=Gate.NONE,
        hold="loop_fault_hold_s",
        clear_s=3.0,
        text="{place}: closed loop runs with a fault; a sensor is not being used.",
        does_not_prove="Not which sensor; trims are partly default and mean little.",
        causes=("one oxygen sensor out of use", "sensor heater or wiring fault"),
        next="Read the codes with their freeze frame before anything else.",
        caution="clearing",
        limits=("loop_fault_hold_s",),
        source=f"status 10 of PID 03; hold {s.COMMON}",
    ),
    Rule(
        id="trim-at-limit",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_at_limit,
        gate=Gate.CLOSED_LOOP,
        hold="limit_confirm_s",
        clear_s=10.0,
        text="{place}: trim at its end[, {trim:+.0f} %]. It may need still more.",
        figures={"trim": "total_trim_{b}_pct"},
        does_not_prove="Not that the mixture is wrong: a lying sensor does the same.",
        causes=(
            "mixture error larger than the trim can correct",
            "front sensor lies",
            "exhaust leak or misfire",
        ),
        next="Compare the front with the rear sensor, then force the front sensor.",
        caution="flooded-catalyst",
        limits=("limit_hold_s", "limit_least_pct"),
        source=s.COMMON,
    ),
    Rule(
        id="misfire-false-lean",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_misfire,
        gate=Gate.CLOSED_LOOP,
        hold="misfire_hold_s",
        clear_s=20.0,
        text=(
            "{place} adds[ {trim:+.0f} %] and the unit reports misfires: unburned "
            "oxygen reads as lean. Lamp flashing: stop."
        ),
        figures={"trim": "trim_10_{b}_pct"},
        does_not_prove="Not that fuel is missing: the misfire comes first.",
        causes=("ignition misfire on this bank", "mechanical misfire", "injector"),
        next="Find the misfire first: spark, then compression, then injector.",
        caution="flooded-catalyst",
        limits=(
            "trim_add_pct",
            "misfire_apart_pct",
            "trim_level_pct",
            "misfire_hold_s",
        ),
        source=s.MITSUBISHI_2003,
    ),
    Rule(
        id="one-bank-open-loop",
        kind=Kind.BANK,
        severity=Severity.ACT,
        condition=_one_open,
        gate=Gate.WARM,
        hold="loop_fault_hold_s",
        clear_s=3.0,
        text="{place} stays in open loop while {other} has been closed for a minute.",
        does_not_prove="Not that the sensor is bad: heater and wiring look the same.",
        causes=("front sensor of this bank", "its heater", "its wiring"),
        next="Watch this bank's front sensor alone; check heater supply and ground.",
        caution="computer-inputs",
        limits=("open_other_bank_s", "loop_fault_hold_s"),
        source=s.COMMON,
    ),
    Rule(
        id="late-closed-loop",
        kind=Kind.BANK,
        severity=Severity.WATCH,
        condition=_late_loop,
        gate=Gate.POWER,
        hold="settled_s",
        clear_s=60.0,
        text="{place}: closed loop comes late[ (start at {start:.0f} °C)].",
        figures={"start": "ect_start_c"},
        does_not_prove="Not which part: a cold coolant reading delays both banks.",
        causes=("thermostat", "coolant sensor", "front sensor heater"),
        next="Compare both banks: one late points to its sensor, both to the coolant.",
        limits=("closed_loop_warm_s", "closed_loop_cool_s", "closed_loop_cold_s"),
        source=s.ISUZU_2001,
    ),
)
