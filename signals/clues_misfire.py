"""Clues of a misfire: its code, the counts of the unit, and which bank has it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bankwise.signals.clue import (
    NORMAL_TRIM_PCT,
    Clue,
    Signals,
    last,
    most,
    other_place,
)
from bankwise.signals.columns import Columns
from bankwise.signals.misfires import PER_S, counts

LEANER_PCT = 5.0
"""A bank that needs this much more fuel than the other at idle and on the road holds
the misfire: its unburned oxygen looks lean.

Source: common practice (banks of a good engine differ by less), no source.
"""

QUIET_SHARE = 0.1
"""Counts below this share of what is called a misfire are none. Source: our choice,
because a cold start or a rough road makes a few."""

LONG_S = 180.0
"""So long without counts speaks against a misfire. Source: our choice."""


def place(signals: Signals, raised: set[tuple[str, str]]) -> str:
    """The bank a misfire lies in, as far as anything tells it; else the engine.

    A code or a count names a cylinder at most, and which bank holds it differs from
    engine to engine. The only bank is known; of two, the leaner one tells.
    """
    if not most(signals, "two_banks") > 0:
        return "B1"
    lean = [bank for name, bank in raised if name == "misfire-false-lean"]
    if len(lean) == 1:
        return lean[0]
    for bank in ("B1", "B2"):
        b, o = bank.lower(), other_place(bank).lower()
        pairs = [
            (
                last(signals, f"trim_{name}_{b}_pct"),
                last(signals, f"trim_{name}_{o}_pct"),
            )
            for name in ("idle", "low", "mid", "high")
        ]
        known = [pair for pair in pairs if np.isfinite(sum(pair))]
        leaner = all(own - rest >= LEANER_PCT for own, rest in known)
        usual = all(abs(rest) < NORMAL_TRIM_PCT for _, rest in known)
        if len(known) > 1 and leaner and usual:
            return bank
    return "engine"


def misfires(signals: Signals, columns: Columns, where: str) -> Iterator[Clue]:
    """What the unit's own counts say; they speak for a misfire, or against one."""
    found = counts(columns)
    if not found:
        return
    worst = found[0]
    words = (
        f"Cylinder {worst.cylinder} counted {worst.misfires:.0f} misfires in "
        f"{worst.seconds:.0f} s"
    )
    if worst.per_s >= PER_S:
        yield Clue("misfires-counted", where, words)
    elif worst.per_s < QUIET_SHARE * PER_S and worst.seconds >= LONG_S:
        words = f"No cylinder counted misfires in {worst.seconds:.0f} s"
        for about in ("B1", "B2", "engine"):
            yield Clue("no-misfires-counted", about, words)
