"""What the trims of two drives lack before they prove a repair.

Proof needs three things of each bank that has trims: at least two cells that both
drives held, held so long afterwards that the median is known to lie within limits; the
same in every shared cell that was out of limits before; and, where any was, one in
which the change itself is measured. What is missing is named so that it can be driven.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from bankwise.signals.catalogue import BANKS
from bankwise.signals.engine import Engine
from bankwise.signals.shared_cells import SharedCell
from bankwise.signals.trim_map import Cell, trim_map
from bankwise.signals.windows import TICK_S

TRIM_FINE_PCT = 10.0
"""A total trim this small or smaller is within limits. Source: that of the
threshold `trim_add_pct`."""
LEAST_CELLS = 2
"""Cells that must be known before trims are judged. Source: the two-cell rule of the
trim patterns; common practice, no source."""


def signed(value: float) -> str:
    """A trim with its sign, to a tenth."""
    return f"{value:+.1f}".replace("-", "−")


def where(cell: SharedCell | Cell) -> str:
    """A cell by its lower corner."""
    return f"{cell.rpm:.0f} rpm, {cell.load_pct:.0f} % load"


def sure(cell: SharedCell) -> bool:
    """Whether the later drive held a cell long enough to know its median."""
    return cell.after_low is not None


def out(value: float) -> bool:
    """Whether a trim lies outside what is fine."""
    return abs(value) > TRIM_FINE_PCT


def trims_lacking(
    before: Engine, bank: int, shared: Sequence[SharedCell]
) -> Iterator[str]:
    """What one bank's trims lack, a sentence each; empty when they prove enough.

    Args:
        before: the earlier drive, for the cells that only it held.
        bank: 1 or 2.
        shared: that bank's cells that both drives held.
    """
    for cell in shared:
        if out(cell.after):
            yield f"bank {bank} still needs {signed(cell.after)} % at {where(cell)}"
    if len(shared) < LEAST_CELLS:
        yield from _too_few(before, bank, shared)
        return
    faulty = [cell for cell in shared if out(cell.before)]
    open_ = {id(cell): cell for cell in faulty if not sure(cell)}
    known = sum(sure(cell) for cell in shared)
    rest = sorted(
        (cell for cell in shared if not sure(cell) and id(cell) not in open_),
        key=lambda cell: cell.needs_after - cell.n_after,
    )
    short = max(LEAST_CELLS - known - len(open_), 0)
    to_hold = [*open_.values(), *rest[:short]]
    if to_hold:
        yield (
            f"bank {bank}: {known} of {len(shared)} shared cells were held long enough "
            f"after the repair: hold {_and(_longer(cell) for cell in to_hold)}"
        )
    for cell in shared:
        if not out(cell.after) and _may_be_out(cell):
            yield (
                f"bank {bank} at {where(cell)} may still be out of limits: "
                f"{signed(cell.after)} % ({_span(cell)}): hold it longer"
            )
    yield from _change_lacking(before, bank, faulty)


def out_of_limits_before_only(
    before: Engine, shared: Sequence[SharedCell]
) -> Iterator[str]:
    """Cells out of limits before that the later drive did not hold, a bank a line."""
    held = {(cell.bank, cell.rpm, cell.load_pct) for cell in shared}
    for bank in BANKS:
        cells = [
            f"{signed(cell.median)} % at {where(cell)}"
            for cell in trim_map(before.frame, bank)
            if out(cell.median) and (bank, cell.rpm, cell.load_pct) not in held
        ]
        if cells:
            yield f"bank {bank}, held before only: {'; '.join(cells)}"


def _too_few(before: Engine, bank: int, shared: Sequence[SharedCell]) -> Iterator[str]:
    held = {(cell.rpm, cell.load_pct) for cell in shared}
    others = [
        cell
        for cell in trim_map(before.frame, bank)
        if (cell.rpm, cell.load_pct) not in held
    ]
    others.sort(key=lambda cell: (-out(cell.median), -cell.n))
    words = f"bank {bank}: fewer than {LEAST_CELLS} cells of speed and load shared"
    wanted = [where(cell) for cell in others[: LEAST_CELLS - len(shared)]]
    yield f"{words}: drive {_and(wanted)}" if wanted else words


def _change_lacking(
    before: Engine, bank: int, faulty: Sequence[SharedCell]
) -> Iterator[str]:
    """Why the change of what was out of limits is not measured."""
    if any(cell.changed for cell in faulty):
        return
    if not faulty:
        missed = [c for c in trim_map(before.frame, bank) if out(c.median)]
        if missed:
            worst = max(missed, key=lambda cell: abs(cell.median))
            yield (
                f"bank {bank} was at {signed(worst.median)} % at {where(worst)}, and "
                "no such cell was driven after: drive it"
            )
        return
    longest = max(faulty, key=lambda cell: min(cell.n_before, cell.n_after))
    if longest.low is not None:
        yield f"bank {bank}: the change at {where(longest)} may be chance"
    elif longest.n_before < longest.needs:
        yield (
            f"bank {bank}: the drive before held {where(longest)} for "
            f"{longest.n_before * TICK_S:.0f} s of the {longest.needs * TICK_S:.0f} s "
            "that measuring the change takes: no later drive can make up for it"
        )
    else:
        more = (longest.needs - longest.n_after) * TICK_S
        yield (
            f"bank {bank}: to measure the change, hold {where(longest)} for "
            f"{more:.0f} s more"
        )


def _may_be_out(cell: SharedCell) -> bool:
    if cell.after_low is None or cell.after_high is None:
        return False
    return out(cell.after_low) or out(cell.after_high)


def _span(cell: SharedCell) -> str:
    low, high = cell.after_low or 0.0, cell.after_high or 0.0
    return f"{signed(low)} … {signed(high)} %"


def _longer(cell: SharedCell) -> str:
    more = (cell.needs_after - cell.n_after) * TICK_S
    return f"{where(cell)} for {more:.0f} s more"


def _and(parts: Iterable[str]) -> str:
    *first, last = parts
    return f"{'; '.join(first)}; and {last}" if first else last
