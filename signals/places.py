"""Places: what a signal or flag is about, and how a name pattern is filled for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from bankwise.signals.catalogue import BANKS, POSITIONS


@dataclass(frozen=True, slots=True)
class Place:
    """One thing a signal or flag can be about.

    Attributes:
        about: as shown: `engine`, `B1`, `B2S1`, a code or a signal name.
        bank: 1 or 2, or None for the whole engine.
        position: 1 upstream … 4, or None for a bank or the engine.
    """

    about: str
    bank: int | None = None
    position: int | None = None
    names: dict[str, str] = field(default_factory=dict, compare=False, repr=False)
    """Patterns filled before; filling is asked for thousands of times a second."""

    def __hash__(self) -> int:
        return hash(self.about)

    def fill(self, pattern: str) -> str:
        """The signal name a pattern stands for here.

        `{b}` own bank, `{o}` the other bank, `{s}` this sensor, `{front}` and `{rear}`
        the bank's first and second sensor.
        """
        name = self.names.get(pattern)
        if name is None:
            bank = self.bank or 0
            name = self.names[pattern] = pattern.format(
                b=f"b{bank}",
                o=f"b{3 - bank}",
                s=f"b{bank}s{self.position or 0}",
                front=f"b{bank}s1",
                rear=f"b{bank}s2",
            )
        return name


ENGINE = Place("engine")
"""The whole engine."""

EACH_BANK = tuple(Place(f"B{bank}", bank) for bank in BANKS)
"""Every cylinder bank there may be."""

EACH_SENSOR = tuple(
    Place(f"B{bank}S{position}", bank, position)
    for bank in BANKS
    for position in POSITIONS
)
"""Every oxygen sensor there may be, bank by bank."""

EACH_FRONT = tuple(place for place in EACH_SENSOR if place.position == 1)
"""The upstream sensors."""

EACH_REAR = tuple(place for place in EACH_SENSOR if place.position != 1)
"""The sensors behind the catalyst."""

_BY_ABOUT = {place.about: place for place in (ENGINE, *EACH_BANK, *EACH_SENSOR)}


def place_of(about: str) -> Place:
    """The place with that name; a code or signal name becomes a place of its own."""
    return _BY_ABOUT.get(about) or Place(about)


def abouts(places: Iterable[Place]) -> tuple[str, ...]:
    """The names of some places, in order."""
    return tuple(place.about for place in places)
