"""What speaks against a repair, what is still missing, and what proves it.

A comparison of two drives gives the facts; here they become sentences. Nothing that was
not driven, read or tested again counts as mended.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from bankwise.signals.catalogue import BANKS
from bankwise.signals.code_marks import OUTCOMES
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import Snapshot
from bankwise.signals.severity import Severity
from bankwise.signals.similar_conditions import windows_entered
from bankwise.signals.tests_done import POINTS_TO_A_FAULT, newest_tests
from bankwise.signals.trim_proof import (
    TRIM_FINE_PCT,
    signed,
    sure,
    trims_lacking,
    where,
)

if TYPE_CHECKING:
    from bankwise.signals.comparison import Comparison, Drive

TRIM_WORSE_PCT = 5.0
"""A median that moved this far from zero got worse. Common practice, no source."""
_FAULT = (Severity.ACT, Severity.STOP)


def worse(made: Comparison, before: Drive, after: Drive) -> Iterator[str]:
    """What got worse, a sentence each; empty when nothing did."""
    for flag in made.flags:
        if flag.change == "new" and flag.severity in _FAULT:
            yield f"{flag.id} on {flag.about} is new"
    stored = after.snapshot.codes["stored"].codes
    for code in made.codes_new if before.snapshot.codes["stored"].known else ():
        if code in stored:
            yield f"{code} is stored and was not before"
    pending = set(before.snapshot.codes["pending"].codes)
    confirmed = set(before.snapshot.codes["stored"].codes)
    for code in made.codes_still if before.snapshot.codes["stored"].known else ():
        if code in stored and code in pending - confirmed:
            yield f"{code} was pending and is stored now"
    for cell in made.cells:
        moved = abs(cell.after) - abs(cell.before)
        if cell.changed and moved > TRIM_WORSE_PCT and abs(cell.after) > TRIM_FINE_PCT:
            yield (
                f"bank {cell.bank} trims went from {signed(cell.before)} to "
                f"{signed(cell.after)} % at {where(cell)}"
            )


def swapped(before: Drive, after: Drive) -> Iterator[str]:
    """A question when the drive named second was recorded first."""
    if before.started and after.started and after.started < before.started:
        yield "the second drive was recorded before the first: are they swapped?"


def lacking(made: Comparison, before: Drive, after: Drive) -> Iterator[str]:
    """What is missing before the repair is proven, a sentence each."""
    yield from swapped(before, after)
    yield from _flags_lacking(made, before)
    for bank in BANKS:
        if _has_trims(before.engine, bank):
            shared = [cell for cell in made.cells if cell.bank == bank]
            yield from trims_lacking(before.engine, bank, shared)
    yield from _codes_lacking(made, before.snapshot, after.snapshot)
    yield from (note.text for note in made.code_notes if note.open)
    yield from _windows(before.snapshot, after)
    yield from _tests_lacking(before.engine, after.engine)
    for result in after.snapshot.results:
        if not result.passed:
            yield (
                f"test result of {result.about} is outside its limits: "
                f"{result.subject}, {result.title}"
            )
    for flag in after.engine.flags:
        if flag.id == "trims-still-learning" and flag.active:
            yield f"trims of {flag.about} were still being learned at the end"


def _flags_lacking(made: Comparison, before: Drive) -> Iterator[str]:
    faults = [flag for flag in made.flags if flag.severity in _FAULT]
    shown = any(flag.change != "new" for flag in faults) or (
        made.codes_gone or made.codes_still
    )
    if not shown:
        yield "the drive before shows no fault that a repair could end"
    for flag in faults:
        if flag.change == "still":
            yield f"{flag.id} on {flag.about} is still there"
        elif flag.change == "not driven":
            yield f"{flag.id} on {flag.about} was not looked for: {flag.why}"


def _codes_lacking(made: Comparison, before: Snapshot, seen: Snapshot) -> Iterator[str]:
    pending = seen.codes["pending"]
    if pending.codes:
        yield f"pending now: {', '.join(pending.codes)}"
    if not pending.known:
        yield "pending codes were not read after the repair"
    if before.codes["stored"].codes and not seen.codes["stored"].known:
        yield "stored codes were not read after the repair"
    still = set(seen.codes["stored"].codes) & set(made.codes_still)
    if still:
        yield f"still stored: {', '.join(sorted(still))}"


def _has_trims(engine: Engine, bank: int) -> bool:
    return bool(np.isfinite(engine.frame[f"total_trim_b{bank}_pct"]).any())


def _windows(seen: Snapshot, after: Drive) -> Iterator[str]:
    for one in windows_entered(seen.frames, after.engine.frame.columns):
        if one.at_s is None:
            yield f"the conditions in which {one.code} was set were not entered"


def proof(made: Comparison) -> Iterator[str]:
    """The facts that prove the repair, once nothing is worse or lacking."""
    gone = [f"{f.id} on {f.about}" for f in made.flags if f.change == "gone"]
    if gone:
        yield f"gone, with the same kind of driving: {', '.join(gone)}"
    if made.codes_gone:
        yield f"codes gone: {', '.join(made.codes_gone)}"
    known = [cell for cell in made.cells if sure(cell)]
    if known:
        cell = max(known, key=lambda shared: abs(shared.after))
        yield (
            f"{len(known)} of {len(made.cells)} shared cells were held long enough "
            f"after: all are within limits, the largest trim is "
            f"{signed(cell.after)} % (bank {cell.bank}, {where(cell)})"
        )
    changed = [cell for cell in made.cells if cell.changed]
    if changed:
        cell = max(changed, key=lambda shared: abs(shared.before))
        yield (
            f"the change is measured in {len(changed)} of them: bank {cell.bank} from "
            f"{signed(cell.before)} to {signed(cell.after)} % at {where(cell)}"
        )


def _tests_lacking(before: Engine, after: Engine) -> Iterator[str]:
    later = newest_tests(after)
    for key, test in newest_tests(before).items():
        if test.outcomes & POINTS_TO_A_FAULT and key not in later:
            yield f"the test {test.title!r} on {test.about} was not done again"
    for test in later.values():
        for finding in test.findings:
            if finding.outcome in POINTS_TO_A_FAULT:
                yield f"test {test.title!r}: {OUTCOMES[finding.outcome]}"
