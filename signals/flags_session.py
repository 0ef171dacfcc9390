"""Flags about the evidence: codes half set, cleared memory, holes, slow sampling."""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.code_marks import latest_codes
from bankwise.signals.columns import Bools
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.severity import Severity


def _second_trip(see: View) -> Bools:
    code = see.place.about
    said = np.zeros(len(see.ticks), dtype=np.bool_)
    for t in sorted({read.t for read in see.columns.codes}):
        newest = latest_codes(see.columns, t)
        sets = {when: code in read.codes for when, read in newest.items()}
        pending = sets.get("pending", False) and not sets.get("stored", False)
        said[see.ticks >= t] = pending
    return said


def _cleared(see: View) -> Bools:
    return see["warmups"] < see.limit("warmups_min")


def _too_slow(see: View) -> Bools:
    front = see.place.position == 1
    if see.place.about != see.place.fill("o2_{s}_v" if front else "-"):
        return np.zeros(len(see.ticks), dtype=np.bool_)
    slow = see["fresh_hz_{s}"] < see.limit("switching_hz_min")
    return slow & (see["closed_{b}"] > 0)


def _silent(see: View) -> Bools:
    return see["silent_s"] >= see.limit("link_lost_s")


def _elsewhere(see: View) -> Bools:
    """False at every tick: one session alone cannot prove or disprove a repair."""
    return np.zeros(len(see.ticks), dtype=np.bool_)


RULES: tuple[Rule, ...] = (
    Rule(
        id="second-trip-pending",
        kind=Kind.CODE,
        severity=Severity.INFO,
        condition=_second_trip,
        gate=Gate.NONE,
        hold="at_once_s",
        clear_s=0.0,
        text="{place} is pending: seen once. Seen again next trip, the lamp comes on.",
        does_not_prove="Not a confirmed fault: one more trip decides.",
        causes=("a fault seen on this or the last trip",),
        next="Drive the freeze frame's conditions again and read the codes.",
        source=s.CCR_TRIPS,
    ),
    Rule(
        id="recently-cleared",
        kind=Kind.ENGINE,
        severity=Severity.INFO,
        condition=_cleared,
        gate=Gate.NONE,
        hold="at_once_s",
        clear_s=10.0,
        text="Codes were cleared lately[, {count:.0f} warm-ups ago]: evidence is gone.",
        figures={"count": "warmups"},
        does_not_prove="No stored code now does not mean no fault.",
        causes=("codes cleared", "battery disconnected"),
        next="Ask who cleared and why; drive until the monitors are complete.",
        caution="clearing",
        limits=("warmups_min",),
        source=f"{s.CCR_CLEAR}; limit {s.COMMON}",
    ),
    Rule(
        id="too-slow-to-tell",
        kind=Kind.SIGNAL,
        severity=Severity.INFO,
        condition=_too_slow,
        gate=Gate.NONE,
        hold="slow_hold_s",
        clear_s=10.0,
        text=(
            "{place} comes too slowly to judge switching[: {rate:.1f} fresh values a "
            "second]."
        ),
        figures={"rate": "fresh_hz_{s}"},
        does_not_prove="Neither that the sensor switches well nor that it does not.",
        causes=(
            "too many signals watched",
            "slow adapter or vehicle bus",
            "control unit refreshes the value seldom",
        ),
        next="Watch fewer signals, this sensor alone if need be.",
        limits=("switching_hz_min",),
        source=f"{s.DERIVED}: five samples in the shortest half-cycle claimed",
    ),
    Rule(
        id="link-lost",
        kind=Kind.LINK,
        severity=Severity.INFO,
        condition=_silent,
        gate=Gate.NONE,
        hold="at_once_s",
        clear_s=0.0,
        text="No answer that can be read[ for {silent:.0f} s]: a hole in the data.",
        figures={"silent": "silent_s"},
        does_not_prove="Not a fault of the car.",
        causes=(
            "adapter unplugged or asleep",
            "radio link",
            "ignition off",
            "the adapter leaves out headers (ATH0)",
        ),
        next="Check the plug and the ignition; it reconnects by itself.",
        limits=("link_lost_s",),
        source=s.COMMON,
    ),
    Rule(
        id="repair-not-proven",
        kind=Kind.SESSIONS,
        severity=Severity.INFO,
        condition=_elsewhere,
        gate=Gate.NONE,
        hold="at_once_s",
        clear_s=0.0,
        text="The repair is not proven yet.",
        does_not_prove="Not that the repair failed: the drive cannot show it.",
        causes=(
            "the freeze frame's conditions were not met again",
            "a code is pending",
            "the two drives share too few cells",
            "the trims are still learning",
        ),
        next="Drive the same route until conditions and cells are met.",
        source=s.COMMON,
    ),
)
