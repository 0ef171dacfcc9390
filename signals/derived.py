"""The record of a derived signal: name, inputs, window, honest rate and function."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bankwise.signals.columns import Floats
from bankwise.signals.places import ENGINE, Place

if TYPE_CHECKING:
    from bankwise.signals.view import TickView

Function = Callable[["TickView"], Floats]
Reason = Callable[["TickView"], str]


@dataclass(frozen=True, slots=True)
class Derived:
    """One derived signal, once for every place it exists at.

    Attributes:
        name: name pattern; `{b}` and `{s}` are filled per place.
        title: what it is, in words, without the place.
        unit: as printed; empty for a pure number or a yes/no.
        function: pure; gives one value a tick, NaN where there is none.
        inputs: patterns of what it is computed from. With none of them measured it
            is not computed and has no value; an empty tuple means always computed.
        source: document, "common practice, no source", or our reason.
        places: where it exists.
        window_s: how far back it looks; 0 for the newest value. Unit: seconds.
        min_hz: least honest rate of its sensor, as a number or a threshold's name.
        rate_of: signal whose measured rate decides that, as a pattern.
        reason: says in words why there is no value now, or an empty string.
        decimals: digits worth printing.
    """

    name: str
    title: str
    unit: str
    function: Function
    inputs: tuple[str, ...]
    source: str
    places: tuple[Place, ...] = (ENGINE,)
    window_s: float = 0.0
    min_hz: float | str = 0.0
    rate_of: str = ""
    reason: Reason | None = None
    decimals: int = 1


@dataclass(frozen=True, slots=True)
class Entry:
    """A derived signal at one place, with its names filled in."""

    name: str
    place: Place
    derived: Derived
    inputs: tuple[str, ...]


def entries(rows: Iterable[Derived]) -> dict[str, Entry]:
    """Every derived signal at every place, by name, in the order of computation.

    Raises:
        ValueError: when two rows make the same name.
    """
    table: dict[str, Entry] = {}
    for row in rows:
        for place in row.places:
            name = place.fill(row.name)
            if name in table:
                raise ValueError(f"derived signal {name} is defined twice")
            inputs = tuple(place.fill(pattern) for pattern in row.inputs)
            table[name] = Entry(name, place, row, inputs)
    return table
