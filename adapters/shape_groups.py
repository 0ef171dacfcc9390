"""Sorts exchanges by shape: those that keep to their shape's plan, and the odd ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, cast

import numpy as np
import numpy.typing as npt

from bankwise.adapters.asked import Asked, asked
from bankwise.adapters.control_units import BITMAPS
from bankwise.adapters.frames import answers
from bankwise.adapters.records import Exchange, Record
from bankwise.adapters.shapes import Digits, Plan, digits_of, plan

_PLAN_TRIES: Final = 8
"""Exchanges of one shape tried as its model before the shape counts as odd."""

Indices = npt.NDArray[np.intp]
Shape = tuple[str, tuple[int, ...]]
"""The request, and the length of each answer line."""


@dataclass(slots=True)
class _Model:
    """What is known of a shape: its plan, or how often making one has failed."""

    plan: Plan | None = None
    tries: int = 0


@dataclass(frozen=True, slots=True)
class Group:
    """Exchanges of one shape that keep to its plan, in file order.

    Attributes:
        plan: how to read them.
        request: what they asked for.
        rows: their places among the records, shape (n,), at least one.
        digits: their answers, shape (n, width).
    """

    plan: Plan
    request: Asked
    rows: Indices
    digits: Digits


class Grouper:
    """Sorts records; plans once made serve all later records.

    Args:
        protocol: the adapter's protocol number.
    """

    def __init__(self, protocol: str) -> None:
        self.exchanges = 0
        """Exchanges seen."""
        self._protocol = protocol
        self._models: dict[Shape, _Model] = {}

    def sort_out(self, records: Sequence[Record]) -> tuple[list[int], list[Group]]:
        """The places of everything that must be read one by one, and the groups.

        A bitmap, an answer that fits no plan and whatever is no exchange is odd; the
        first exchange of a shape is, too, because it makes the plan.
        """
        by_shape: dict[Shape, list[int]] = {}
        odd: list[int] = []
        groups: list[Group] = []
        others = 0
        for row, record in enumerate(records):
            if type(record) is not Exchange:
                others += 1
                odd.append(row)
            elif record.e:
                odd.append(row)
            else:
                shape = (record.q, tuple(map(len, record.a)))
                rows = by_shape.get(shape)
                if rows is None:
                    by_shape[shape] = [row]
                else:
                    rows.append(row)
        self.exchanges += len(records) - others
        for shape, rows in by_shape.items():
            alike = cast(list[Exchange], [records[row] for row in rows])
            odd.extend(self._fit(shape, rows, alike, groups))
        odd.sort()
        return odd, groups

    def _fit(
        self,
        shape: Shape,
        rows: list[int],
        alike: list[Exchange],
        groups: list[Group],
    ) -> list[int]:
        """Groups the rows of one shape that keep to its plan; returns the others."""
        request = asked(shape[0])
        if request is None or not request.pids or not BITMAPS.isdisjoint(request.pids):
            return rows
        model = self._models.setdefault(shape, _Model())
        tried = 0
        while model.plan is None and model.tries < _PLAN_TRIES and tried < len(rows):
            first = alike[tried]
            told = answers(first, self._protocol)
            model.plan = plan(first.a, request, told, self._protocol)
            model.tries += 1
            tried += 1
        if model.plan is None or tried == len(rows):
            return rows
        digits = digits_of([one.a for one in alike[tried:]], sum(shape[1]))
        if digits is None:
            return rows
        good = model.plan.matches(digits)
        where = np.array(rows[tried:], dtype=np.intp)
        if good.any():
            groups.append(Group(model.plan, request, where[good], digits[good]))
        strays: list[int] = where[~good].tolist()
        return rows[:tried] + strays
