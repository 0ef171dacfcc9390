"""Live figures that several guided tests show."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from bankwise.signals.guided.case import Case
from bankwise.signals.guided.script import Figure


def sensor(case: Case, place: str) -> Figure | None:
    """One sensor's newest volts or λ; None when the car has no such sensor."""
    low = place.lower()
    bank = int(place[1])
    label = f"{place} {'front' if place.endswith('S1') else 'rear'}"
    if case.has(f"o2_{low}_v"):
        return Figure(label, case.now(f"o2_{low}_v"), "V", 2, bank)
    if case.has(f"lambda_{low}"):
        return Figure(label, case.now(f"lambda_{low}"), "λ", 2, bank)
    return None


def sensors(case: Case, places: Iterable[str]) -> tuple[Figure, ...]:
    """The newest readings of several sensors, as far as the car has them."""
    found = (sensor(case, place) for place in places)
    return tuple(figure for figure in found if figure is not None)


def trims(case: Case) -> tuple[Figure, ...]:
    """Each bank's total trim now."""
    return tuple(
        Figure(f"B{bank} trim", total_trim(case, bank), "%", 1, bank)
        for bank in case.banks
    )


def total_trim(case: Case, bank: int) -> float:
    """Short- and long-term trim of a bank, added; without a long-term one, short."""
    short = case.now(f"stft_b{bank}_pct")
    if not case.has(f"ltft_b{bank}_pct"):
        return short
    return short + case.now(f"ltft_b{bank}_pct")


def engine(case: Case, name: str, label: str, unit: str, decimals: int = 0) -> Figure:
    """A figure of the whole engine, measured."""
    return Figure(label, case.now(name), unit, decimals)


def derived(case: Case, name: str, label: str, unit: str, decimals: int = 0) -> Figure:
    """A figure of the whole engine, derived: its newest value up to now."""
    values = case.so_far(name)
    value = float(values[-1]) if len(values) else np.nan
    return Figure(label, value, unit, decimals)
