"""Evidence for the ledger: raised flags, figures that speak, codes and tests.

A flag is evidence from the moment it rose, also after it cleared. A figure becomes a
clue where it speaks for or against a cause without being worth a flag; healthy
figures are clues too, because the strongest contrary fact must always be shown.
"""

from __future__ import annotations

from collections.abc import Iterable

from bankwise.signals.clue import Clue, Judged, Raised, Signals, last, signed
from bankwise.signals.clues_air import air
from bankwise.signals.clues_codes import from_codes, from_tests, no_cam_code
from bankwise.signals.clues_figures import (
    compared,
    healthy,
    patterns,
    pulled,
    rears,
    refuted,
)
from bankwise.signals.clues_flags import from_flags
from bankwise.signals.clues_idle import idle_alone, idle_pattern
from bankwise.signals.clues_misfire import misfires, place
from bankwise.signals.columns import Columns
from bankwise.signals.guided.on_purpose import on_purpose
from bankwise.signals.weights import WEIGHTS

__all__ = ["KINDS", "Clue", "Raised", "Signals", "gather", "signed"]

KINDS = frozenset(row.evidence for row in WEIGHTS)
"""Every kind of evidence the ledger knows."""


def _doubted(raised: set[tuple[str, str]], codes: list[Clue]) -> set[str]:
    """The rear sensors that a flag or a code speaks of."""
    flags = {about for name, about in raised if name in ("rear-flat", "parked-at-bias")}
    return flags | {clue.about for clue in codes if clue.kind == "code-rear"}


def gather(
    signals: Judged, flags: Iterable[Raised], columns: Columns
) -> tuple[Clue, ...]:
    """Every clue of the session so far, flags first."""
    made = on_purpose(columns)
    raised = [
        flag
        for flag in flags
        if flag.active
        or not any(
            one.explains(flag.id, flag.about, flag.first_s, flag.first_s + flag.total_s)
            for one in made
        )
    ]
    found = list(from_flags(signals, raised))
    ids = {(flag.id, flag.about) for flag in raised}
    found += patterns(signals, ids)
    found += air(signals, ids)
    found += idle_pattern(signals, ids)
    found += idle_alone(signals)
    found += compared(signals, ids | {(clue.kind, clue.about) for clue in found})
    codes = list(from_codes(signals, columns, ids))
    found += rears(signals, _doubted(ids, codes))
    if any(name == "full-throttle-not-rich" for name, _ in ids):
        found += pulled(signals, _doubted(ids, codes))
    seen = ids | {(clue.kind, clue.about) for clue in found}
    found += [clue for clue in healthy(signals) if not refuted(clue, seen)]
    found += codes
    found += misfires(signals, columns, place(signals, ids))
    for bank in ("B1", "B2"):
        if ("one-bank-subtracting", bank) in ids and last(signals, "mass_air") == 0:
            found += no_cam_code(signals, columns, bank, seen)
    found += from_tests(columns)
    return tuple(clue for clue in found if clue.kind in KINDS)
