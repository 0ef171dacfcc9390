"""Codes and guided-test results at ticks: what had been said by each moment.

Guided tests leave marks with the tag `test:<test-id>:<outcome>:<about>`. The
outcomes that rules and the ledger read are in `OUTCOMES`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from bankwise.signals.columns import Bools, CodeRead, Columns, Floats, Mark
from bankwise.signals.rule import View

OUTCOMES: dict[str, str] = {
    "answers-forcing": "the sensor followed the forced mixture, rich and lean",
    "ignores-forcing": "the sensor did not follow the forced mixture",
    "forced-one-way": "the sensor followed one way only; the other was not tried",
    "circuit-good": "the reading followed the signal wire from end to end",
    "circuit-bad": "the reading did not follow the signal wire",
    "leak-found": "smoke showed a leak in the intake",
    "exhaust-leak-found": "smoke showed a leak in the exhaust",
    "no-leak-found": "smoke showed no leak in the intake",
    "pressure-good": "fuel pressure held under load",
    "pressure-low": "fuel pressure dropped under load",
    "backpressure-high": "the exhaust of this bank holds pressure",
    "backpressure-good": "the exhaust of this bank is free",
    "cam-off": "cam and crank do not agree on this bank",
    "cam-good": "cam and crank agree on this bank",
    "right-unplugged": "without this sensor the engine ran right",
    "wrong-unplugged": "without this sensor the engine ran as wrong as before",
    "done": "the test was made; its figures are judged like any others",
    "not-done": "the test was not done, or broken off; it says nothing",
}
"""Outcome of a guided test → what it says."""


def parse_tag(tag: str) -> tuple[str, str, str] | None:
    """Test id, outcome and place of a test mark's tag; None for other tags."""
    parts = tag.split(":")
    if len(parts) != 4 or parts[0] != "test" or parts[2] not in OUTCOMES:
        return None
    return parts[1], parts[2], parts[3]


def results(columns: Columns, until_s: float = np.inf) -> list[tuple[Mark, str, str]]:
    """Marks of finished guided tests up to a moment, with outcome and place."""
    found = []
    for mark in columns.marks:
        parsed = parse_tag(mark.tag)
        if parsed and mark.t <= until_s:
            found.append((mark, parsed[1], parsed[2]))
    return found


def outcome(see: View, yes: str, no: str, place: str) -> Floats:
    """1 from the moment a test said `yes` there, 0 after `no`, NaN before either."""
    said = np.full(len(see.ticks), np.nan)
    for mark, what, about in results(see.columns):
        if about == place and what in (yes, no):
            said[see.ticks >= mark.t] = float(what == yes)
    return said


def forced(see: View, pattern: str) -> Floats:
    """1 where a sensor followed the forced mixture, 0 where not, NaN before a test."""
    return see[f"forced_{pattern}"]


def latest_codes(columns: Columns, t: float) -> dict[str, CodeRead]:
    """The newest reading of each set of codes at a moment, by set."""
    return {read.when: read for read in columns.codes if read.t <= t}


def known_codes(columns: Columns) -> dict[str, str]:
    """Every code of the newest reading of each set, with the first set that holds it.

    Stored comes before pending, pending before permanent.
    """
    newest = latest_codes(columns, columns.end_s)
    found: dict[str, str] = {}
    for when in ("stored", "pending", "permanent"):
        for code in newest[when].codes if when in newest else ():
            found.setdefault(code, when)
    return found


def read_codes(see: View, wanted: Callable[[str], bool]) -> Bools:
    """True at ticks where the newest stored or pending codes hold a wanted one."""
    steps = sorted({read.t for read in see.columns.codes})
    said = np.zeros(len(see.ticks), dtype=np.bool_)
    for t in steps:
        newest = latest_codes(see.columns, t)
        hit = any(
            wanted(code)
            for when in ("stored", "pending")
            if when in newest
            for code in newest[when].codes
        )
        said[see.ticks >= t] = hit
    return said
