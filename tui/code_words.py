"""What was read of codes, as lines of text that a page and a screen share.

Everything in here is pure: no port, no file, no screen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.evidence import FreezeFrame, MonitorResult, Snapshot, UnitInfo
from bankwise.signals.similar_conditions import Entered, Window
from bankwise.tui.words import FUEL_STATUS, clock, number

_DONE, _POSSIBLE = " done", " possible"
_CYCLES, _CONDITIONS = "ignition cycles", "conditions met"
_BAR = 20
COUNTERS = {
    "warmups": ("warm-ups since codes were cleared", ""),
    "cleared_km": ("driven since codes were cleared", "km"),
    "cleared_min": ("run since codes were cleared", "min"),
    "lamp_km": ("driven with the lamp on", "km"),
    "lamp_min": ("run with the lamp on", "min"),
}
"""Words and unit of what counts since clearing, by signal name."""

NO_LIMIT = "no limit"
"""Words for a test result that any value passes."""

SIMILAR = "as when the code set: ±375 rpm, ±20 % load, same warm-up"
"""How wide a similar-conditions window is. Source: from memory of 13 CCR 1968.2(c)."""

RATIO_MEANS = (
    "done: how often the test ran to its end; possible: how often it could have; from "
    "memory of SAE J1979, service 09 items 08 and 0B"
)
"""What the columns of the in-use table count."""


def window_words(window: Window) -> str:
    """A similar-conditions window in words."""
    warm = {True: ", warm", False: ", not yet warm", None: ""}[window.warm]
    return (
        f"{window.rpm[0]:.0f} to {window.rpm[1]:.0f} rpm, "
        f"load {window.load[0]:.0f} to {window.load[1]:.0f} %{warm}"
    )


def entered_words(one: Entered) -> str:
    """Whether the drive was in the conditions a code was set in."""
    if one.at_s is None:
        return "This drive did not enter those conditions."
    return f"This drive was in those conditions at {clock(one.at_s)}."


def frame_lines(frame: FreezeFrame) -> Iterator[tuple[str, str]]:
    """What a control unit kept with a code, in words: title with place, and value."""
    for name, value in frame.values.items():
        signal = SIGNALS.get(name)
        if signal is None or (name == "fuel_status_b2" and not value):
            continue  # a car without a second bank says 0 there
        place = "" if signal.about == "engine" else f"{signal.about} "
        if name.startswith("fuel_status"):
            shown = FUEL_STATUS.get(int(value), f"{value:.0f}")
        else:
            shown = f"{number(value, signal.decimals)} {signal.unit}".rstrip()
        yield place + signal.title, shown


def counter_lines(found: Snapshot) -> Iterator[str]:
    """What counts since codes were cleared; says so when the car tells none of it."""
    for name, (words, unit) in COUNTERS.items():
        if name in found.counters:
            yield f"{found.counters[name]:.0f} {unit}".rstrip() + f" {words}"
    if found.since_clear and not found.counters:
        yield "this car does not tell distance, time or warm-ups since clearing"


def short(value: float) -> str:
    """A number with four figures at most, without needless zeros."""
    digits = 0 if value == 0 else max(0, 3 - math.floor(math.log10(abs(value))))
    text = number(value, min(digits, 4))
    return text.rstrip("0").rstrip(".") if "." in text else text


def bar(margin: float | None, width: int = _BAR // 2) -> str:
    """Room to the limit as a bar, full when half the span or more is left."""
    if margin is None:
        return ""
    filled = round(2 * width * min(max(margin, 0.0), 0.5))
    return "█" * filled + "░" * (width - filled)


def value_words(result: MonitorResult) -> str:
    """A test result's value with its unit, or marked as a raw number."""
    return f"{short(result.value)} {result.sign}".rstrip() + (
        "" if result.scaled else " raw"
    )


def limit_words(result: MonitorResult) -> str:
    """The limits of a test result in words."""
    low, high = short(result.low), short(result.high)
    return {
        (True, True): f"{low} to {high}",
        (True, False): f"at least {low}",
        (False, True): f"at most {high}",
        (False, False): NO_LIMIT,
    }[result.has_low, result.has_high]


@dataclass(frozen=True, slots=True)
class ResultRow:
    """One test with its results, bank against bank where it belongs to a bank.

    Attributes:
        subject: what is watched.
        title: which test, with the position in the exhaust where there is one.
        cells: a result a bank, None where that bank has none; a single one when the
            test is about the engine.
        unit: the control unit.
    """

    subject: str
    title: str
    cells: tuple[MonitorResult | None, ...]
    unit: str

    @property
    def results(self) -> tuple[MonitorResult, ...]:
        """Those results that exist."""
        return tuple(cell for cell in self.cells if cell is not None)

    @property
    def limits(self) -> str:
        """The limits in words; bank by bank where they differ."""
        words = [limit_words(result) for result in self.results]
        return words[0] if len(set(words)) == 1 else " | ".join(words)


def result_rows(results: Iterable[MonitorResult]) -> tuple[ResultRow, ...]:
    """Test results in the order of subject and test, the banks side by side."""
    groups: dict[tuple[str, str, int, str, str], dict[str, MonitorResult]] = {}
    for result in results:
        place = result.about[2:] if _bank(result) else result.about
        key = (result.subject, place, result.test, result.title, result.unit)
        cells = groups.setdefault(key, {})
        # Two monitors of one bank under one name stay two rows.
        bank = result.about[:2] if _bank(result) else result.about
        while bank in cells:
            key = (*key[:3], key[3] + " ·", key[4])
            cells = groups.setdefault(key, {})
        cells[bank] = result
    rows = []
    for (subject, place, _, title, unit), cells in sorted(
        groups.items(), key=lambda row: (row[0][0], row[0][1], row[0][2], row[0][3:])
    ):
        banked = any(_bank(result) for result in cells.values())
        names = sorted({"B1", "B2"} | set(cells)) if banked else list(cells)
        words = f"{place} {title}" if banked and place else title
        rows.append(
            ResultRow(subject, words, tuple(cells.get(name) for name in names), unit)
        )
    return tuple(rows)


def _bank(result: MonitorResult) -> bool:
    return result.about[:1] == "B"


@dataclass(frozen=True, slots=True)
class InUse:
    """How often one monitor ran to its end, of how often it could have."""

    name: str
    done: int
    possible: int

    @property
    def ratio(self) -> float | None:
        """Done over possible; None when it was never possible."""
        return self.done / self.possible if self.possible else None


def in_use(unit: UnitInfo) -> tuple[InUse, ...]:
    """The in-use counters of a unit, a pair a monitor, in the order told."""
    counts = dict(unit.ratios)
    return tuple(
        InUse(stem, done, counts.get(stem + _POSSIBLE, 0))
        for name, done in unit.ratios
        if name.endswith(_DONE)
        for stem in (name.removesuffix(_DONE),)
    )


def in_use_lines(unit: UnitInfo) -> tuple[str, ...]:
    """The in-use counters of a unit as a table; empty when it told none."""
    if not unit.ratios:
        return ()
    counts = dict(unit.ratios)
    rows = in_use(unit)
    lines = [
        f"In use: {counts.get(_CYCLES, 0)} ignition cycles, general conditions met in "
        f"{counts.get(_CONDITIONS, 0)}",
        f"{'monitor':24} {'done':>7} {'possible':>9} {'ratio':>7}",
    ]
    lines += [
        f"{row.name:24} {row.done:>7} {row.possible:>9} {number(row.ratio, 3):>7}"
        for row in rows
        if row.ratio is not None
    ]
    idle = [row.name for row in rows if row.ratio is None]
    if idle:
        lines.append(f"not kept, or never possible: {', '.join(idle)}")
    return tuple(lines)


def open_words(found: Snapshot) -> Sequence[str]:
    """For each unit, what has not run in this drive."""
    return [
        f"{unit}: not yet run in this drive: {', '.join(status.open)}"
        for unit, status in found.this_drive.items()
        if status.open
    ]
