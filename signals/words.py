"""Filling a flag's sentence with figures; what is not known is left out."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.registry import DERIVED

UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Figure:
    """A number in a sentence: with its unit when the sentence gives no format."""

    value: float
    unit: str
    decimals: int

    def __format__(self, spec: str) -> str:
        """The number as asked, or with its own digits and unit; or "unknown"."""
        if math.isnan(self.value):
            return UNKNOWN
        if math.isinf(self.value):
            return "without limit"
        if spec:
            return f"{self.value:{spec}}".replace("-", "−")
        text = f"{self.value:.{self.decimals}f}".replace("-", "−")
        return f"{text} {self.unit}" if self.unit else text


def figure(name: str, value: float) -> Figure:
    """The value of a signal with that signal's unit and digits."""
    entry = DERIVED.get(name)
    if entry is not None:
        return Figure(value, entry.derived.unit, entry.derived.decimals)
    signal = SIGNALS.get(name)
    return Figure(
        value, signal.unit if signal else "", signal.decimals if signal else 2
    )


_CLAUSE = re.compile(r"\[([^\]]*)\]")
_PLACEHOLDER = re.compile(r"\{(\w+)")


def fill(text: str, place: str, other: str, figures: Mapping[str, Figure]) -> str:
    """The sentence with its place and figures in it.

    A clause in square brackets is left out when one of its figures is not known.
    """

    def clause(found: re.Match[str]) -> str:
        names = _PLACEHOLDER.findall(found[1])
        known = all(math.isfinite(figures[n].value) for n in names if n in figures)
        return found[1] if known else ""

    return _CLAUSE.sub(clause, text).format(place=place, other=other, **figures)
