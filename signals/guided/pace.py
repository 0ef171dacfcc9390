"""How often a guided test's readings really came, beside how often it needs them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Floats
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.script import Finding, GuidedTest

LIVE_S = 5.0
"""Over how long a live rate is measured at least. Unit: s. Our choice."""
LEAST_VALUES = 3
"""Values that give a rate. Our choice: two intervals."""
SILENT_S = 3.0
"""A reading older than this has stopped coming. Unit: s. Source: our choice, as a lost
link is told after so long."""

_TRIM = re.compile(r"stft_b(\d)_pct")
_SENSOR = re.compile(r"(?:o2|lambda)_(b\ds\d)(?:_v)?")


@dataclass(frozen=True, slots=True)
class Pace:
    """How often one reading came.

    Attributes:
        label: what it is, in a word or two.
        hz: readings a second, 0 when they are too few to tell. Unit: Hz.
        need: readings a second that the test needs. Unit: Hz.
        silent_s: how long there has been none, 0 when they come. Unit: s.
    """

    label: str
    hz: float
    need: float
    silent_s: float = 0.0

    @property
    def enough(self) -> bool:
        """Whether it carries the test."""
        return not self.silent_s and self.hz >= self.need


def needs(test: GuidedTest, about: str) -> Mapping[str, float]:
    """Readings a second that a test needs, by signal name. Unit: Hz."""
    return {name.format(s=about.lower()): hz for name, hz in test.needs.items()}


def live(test: GuidedTest, case: Case) -> tuple[Pace, ...]:
    """The rates of the last seconds; empty until the run is old enough for them."""
    found = []
    now = min(case.now_s, case.run.until)
    for name, need in needs(test, case.run.about).items():
        wait = max(LIVE_S, (LEAST_VALUES + 1) / need)
        if not case.run.steps or now - case.run.began < wait or not case.has(name):
            continue
        t, _ = case.samples(name, now - wait, now)
        before = case.samples(name, 0.0, now)[0]
        quiet = now - float(before[-1]) if len(before) else now
        silent = quiet if quiet > max(SILENT_S, wait) else 0.0
        found.append(Pace(_label(name), _hz(t, wait), need, silent))
    return tuple(found)


def of_run(test: GuidedTest, case: Case) -> tuple[Pace, ...]:
    """The rates of a run that is over: what was usual, whatever holes there were."""
    found = []
    run = case.run
    for name, need in needs(test, run.about).items():
        if case.has(name):
            t, _ = case.samples(name, run.began, run.until)
            hz = _hz(t, run.until - run.began)
            found.append(Pace(_label(name), hz, need))
    return tuple(found)


def _hz(t: Floats, lasted_s: float) -> float:
    if len(t) >= LEAST_VALUES:
        return float(1 / np.median(np.diff(t)))
    return len(t) / lasted_s if lasted_s > 0 else 0.0


def _label(name: str) -> str:
    sensor = _SENSOR.fullmatch(name)
    if sensor:
        return sensor[1].upper()
    trim = _TRIM.fullmatch(name)
    return f"B{trim[1]} trim" if trim else SIGNALS[name].title


def words(paces: tuple[Pace, ...]) -> tuple[str, ...]:
    """What the rates are, and whether they are enough; the lacking ones first.

    Readings with the same need and the same verdict share a sentence.
    """
    groups: dict[tuple[bool, bool, float], list[Pace]] = {}
    for pace in paces:
        key = (bool(pace.silent_s), not pace.enough, pace.need)
        groups.setdefault(key, []).append(pace)
    told = []
    for (silent, slow, need), group in sorted(groups.items(), reverse=True):
        if silent:
            names = ", ".join(pace.label for pace in group)
            longest = max(pace.silent_s for pace in group)
            told.append(f"▲ no reading of {names} for {longest:.0f} s")
            continue
        each = ", ".join(f"{pace.label} {pace.hz:.1f}" for pace in group)
        verdict = "too slow for this test" if slow else "fast enough"
        sign = "▲ " if slow else ""
        told.append(f"{sign}{each} readings/s; {need:g} needed: {verdict}")
    return tuple(told)


def finding(test: GuidedTest, case: Case) -> tuple[Finding, ...]:
    """The rates of a run that is over, as a finding that only informs."""
    told = words(of_run(test, case))
    if not told:
        return ()
    text = ". ".join(line.removeprefix("▲ ") for line in told)
    return (Finding(case.run.about, f"Rates reached: {text}."),)
