"""The stories: a car, what is wrong with it, a drive, and what should be said of it.

Makes, models, VINs and people's complaints are invented. Each story fixes its seed, so
it is the same drive every time.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Any

from bankwise.adapters.car.drive import DRIVES, Drive
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec
from bankwise.adapters.pids import Layout


@dataclass(frozen=True, slots=True)
class Story:
    """One story.

    Attributes:
        id: as used in commands. `title`: one line.
        text: the scenario, as the customer or the workshop tells it.
        faults: fault ids, with `@2` for bank 2; empty when healthy.
        drive: id in `DRIVES`. `seconds`: how much of it is recorded.
        seed: fixes the car and the drive.
        start_ect_c: coolant at key-on; None for a cold engine.
        fixed: fields of the car that are not left to chance.
        flag: flag that must be raised, or None when healthy.
        explanation: explanation that must come first, or None when healthy.
        about: what both are about.
        settled: the fault is weeks old: its trims are learned before the story begins.
    """

    id: str
    title: str
    text: str
    faults: tuple[str, ...]
    drive_id: str
    seconds: float
    seed: int
    start_ect_c: float | None = 70.0
    fixed: dict[str, Any] = field(default_factory=dict)
    flag: str | None = None
    explanation: str | None = None
    about: str = "engine"
    settled: bool = False

    @property
    def spec(self) -> CarSpec:
        """The car."""
        return CarSpec.random(Random(self.seed), **self.fixed)

    @property
    def drive(self) -> Drive:
        """What the driver does."""
        return DRIVES[self.drive_id]

    def car(self, *, cold: bool = False) -> Car:
        """A fresh car at the beginning of the story.

        Args:
            cold: start from a cold engine instead.
        """
        start = None if cold else self.start_ect_c
        return Car(
            self.spec,
            self.faults,
            self.drive,
            self.seed,
            start,
            settled=self.settled,
        )


_V6: dict[str, Any] = {
    "banks": 2, "cylinders": 6, "displacement_l": 3.2, "mass_air": True,
    "wideband": False, "layout": Layout.TWO_BANKS, "protocol": "6", "ambient_c": 16.0,
}  # fmt: skip
_V8_PRESSURE: dict[str, Any] = {
    "banks": 2, "cylinders": 8, "displacement_l": 4.8, "mass_air": False,
    "wideband": False, "layout": Layout.TWO_BANKS, "protocol": "6", "ambient_c": 22.0,
}  # fmt: skip
_INLINE_WIDE: dict[str, Any] = {
    "banks": 1, "cylinders": 4, "displacement_l": 1.9, "mass_air": True,
    "wideband": True, "layout": Layout.TWO_BANKS, "protocol": "6", "ambient_c": 12.0,
}  # fmt: skip
_V6_WIDE: dict[str, Any] = {
    "banks": 2, "cylinders": 6, "displacement_l": 3.5, "mass_air": True,
    "wideband": True, "layout": Layout.FOUR_BANKS, "protocol": "8", "ambient_c": 20.0,
}  # fmt: skip
_INLINE_OLD: dict[str, Any] = {
    "banks": 1, "cylinders": 4, "displacement_l": 2.2, "mass_air": False,
    "wideband": False, "layout": Layout.TWO_BANKS, "protocol": "3", "ambient_c": 9.0,
}  # fmt: skip

_ROWS = (
    Story(
        "demo",
        "a courier van that smells of fuel since its exhaust was repaired",
        "The left pipe was welded beside the front sensor's harness last week. Since "
        "then the van smells of fuel at every stop and drinks a quarter more.",
        ("front-sensor-reads-lean@2",),
        "mixed", 480.0, 11, 72.0, _V6,
        "front-lean-rear-rich", "sensor-reads-lean", "B2",
    ),
)  # fmt: skip

STORIES: dict[str, Story] = {row.id: row for row in _ROWS}
"""Every story by id."""
