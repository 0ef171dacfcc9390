"""Which control unit's answers make the columns, and what it can deliver.

Several control units answer the same request. The one whose fuel control is watched
is the one that knows fuel trims or oxygen sensors, and engine speed; with two such, the
lowest identifier. A gearbox tells engine speed too, and is never taken for it. What a
unit knows is what its support bitmaps claim and what it has answered rightly.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from bankwise.adapters.pids import PIDS, Layout, signals_of

BITMAPS: Final = frozenset(range(0x00, 0x100, 0x20))
"""PIDs that tell which of the next 32 are supported. Source: SAE J1979."""

RPM, VOLTAGE = 0x0C, 0x42
_TWO_BANKS_PLACES, _FOUR_BANKS_PLACES = 0x13, 0x1D
_FUEL_CONTROL = frozenset(
    (0x03, *range(0x06, 0x0A), *range(0x14, 0x1C), *range(0x24, 0x2C))
) | frozenset(range(0x34, 0x3C))


def claims(base: int, data: bytes) -> frozenset[int]:
    """PIDs that one support bitmap names. `data`: its four bytes."""
    bits = int.from_bytes(data, "big")
    return frozenset(base + 32 - i for i in range(32) if bits >> i & 1)


@dataclass(slots=True)
class ControlUnits:
    """What is known of every control unit so far.

    Attributes:
        claimed: PIDs by unit that its bitmaps name.
        ranges: bitmaps by unit that were read.
        answered: PIDs by unit that it has answered rightly.
        adapter_voltage: the adapter has told the supply voltage.
    """

    claimed: dict[str, frozenset[int]] = field(default_factory=dict)
    ranges: dict[str, frozenset[int]] = field(default_factory=dict)
    answered: dict[str, frozenset[int]] = field(default_factory=dict)
    adapter_voltage: bool = False

    def copy(self) -> ControlUnits:
        """The same knowledge, to be added to apart."""
        return ControlUnits(
            dict(self.claimed),
            dict(self.ranges),
            dict(self.answered),
            self.adapter_voltage,
        )

    def learn(self, unit: str, data: Mapping[int, bytes]) -> bool:
        """Takes note of a good answer; True when it says something new."""
        before = self.answered.get(unit, frozenset())
        known = before | data.keys()
        self.answered[unit] = known
        new = known != before
        for base in data.keys() & BITMAPS:
            claimed = self.claimed.get(unit, frozenset())
            more = claimed | claims(base, data[base])
            self.ranges[unit] = self.ranges.get(unit, frozenset()) | {base}
            self.claimed[unit] = more
            new |= more != claimed
        return new

    def knows(self, unit: str, pid: int) -> bool:
        """Whether a unit claims a PID or has answered it."""
        empty: frozenset[int] = frozenset()
        return pid in self.claimed.get(unit, empty) or pid in self.answered.get(
            unit, empty
        )

    def complete(self, unit: str, asked: Iterable[int], got: Iterable[int]) -> bool:
        """Whether an answer holds every PID asked for that the unit claims."""
        claimed = self.claimed.get(unit)
        return claimed is None or (claimed & set(asked)) <= set(got)

    @property
    def primary(self) -> str | None:
        """The unit whose answers make the columns; None before any answer."""
        return min(self.answered, key=self._rank, default=None)

    def _rank(self, unit: str) -> tuple[bool, bool, int, str]:
        known = self.claimed.get(unit, frozenset()) | self.answered[unit]
        rpm = RPM in known
        return not known & _FUEL_CONTROL, not rpm, 0 if rpm else -len(known), unit

    @property
    def layout(self) -> Layout:
        """Which places the sensor PIDs stand for. Source: SAE J1979, PIDs 13 and 1D."""
        unit = self.primary
        if (
            unit is not None
            and self.knows(unit, _FOUR_BANKS_PLACES)
            and not self.knows(unit, _TWO_BANKS_PLACES)
        ):
            return Layout.FOUR_BANKS
        return Layout.TWO_BANKS

    @property
    def supported(self) -> frozenset[str] | None:
        """Signals the car can deliver; None until a support bitmap was read."""
        unit = self.primary
        if unit is None or unit not in self.claimed:
            return None
        pids = self.claimed[unit] | self.answered[unit]
        names = {
            name for pid in pids & PIDS.keys() for name in signals_of(pid, self.layout)
        }
        if self.adapter_voltage:
            names.add("module_v")
        return frozenset(names)
