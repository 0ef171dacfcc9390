"""Idle against 2500 rpm: the trims at both, and the pattern they make.

A leak weighs most at idle, a weak fuel supply most at speed, a biased sensor or meter
the same at both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bankwise.signals.guided.case import RUNNING_RPM, Case
from bankwise.signals.guided.figures import engine, trims
from bankwise.signals.guided.script import (
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
    undone,
)

IDLE_MOST_RPM = 1100.0
"""Above this a warm engine does not idle. Unit: rpm. Common practice, no source."""
HOLD_RPM, HOLD_SPAN_RPM = 2500.0, 250.0
"""What is held, and how far off it may be. Unit: rpm. Common practice, no source."""
SETTLE_S = 8.0
"""Begin of a step that is left out: trims need a moment. Unit: s. Our choice."""
LEAST_S = 10.0
"""Shortest steady stretch with a result. Unit: s. Common practice, no source."""
LEAST_VALUES = 10
LEAST_HZ = 0.5
"""So many values come in a step of half a minute, less what is left out. Unit: Hz. Our
choice."""
HOLE_S = 5.0
"""A silence longer than this may hide another speed. Unit: s. Our choice."""
WARM_C = 70.0
"""Below this the unit may enrich by itself. Unit: °C. Common practice, no source."""
_CLOSED = 2.0

STEPS = ("idle", "held")


@dataclass(frozen=True, slots=True)
class Pair:
    """A trim at idle and at 2500 rpm, and its pattern. Unit: %."""

    idle: float
    held: float

    def pattern(self, add: float, fade: float) -> str:
        """Which of the named patterns it is; empty when both are usual.

        Args:
            add: a trim from here on is not usual. Unit: %.
            fade: below this a trim has faded, and a rise by it is a rise. Unit: %.
        """
        for sign, words in ((1, _LEAN), (-1, _RICH)):
            low, high = sign * self.idle, sign * self.held
            if low >= add and high < fade:
                return words[0]
            if high >= add and high - low > fade:
                return words[1]
            if low >= add and high >= add:
                return words[2]
            if low >= add:
                return words[3]
        return ""


_LEAN = (
    "adds at idle only: a leak weighs most there (unmetered air; on one bank, its "
    "runner or its exhaust)",
    "adds more with flow: fuel supply, or the airflow meter reads low",
    "adds alike at both: a biased sensor, injectors or the airflow meter",
    "adds most at idle, fading: a leak is likely",
)
_RICH = (
    "takes away at idle only: fuel that comes unasked weighs most there (purge, a "
    "dripping injector)",
    "takes away more with flow: this bank breathes less, or the meter reads high",
    "takes away alike at both: a biased sensor, pressure or the airflow meter",
    "takes away most at idle, fading: fuel that comes unasked is likely",
)


def _held(case: Case, step: str) -> str:
    """Why a step's engine speed is not what was asked; empty when it is."""
    span = case.span(step)
    if span is None:
        return "not done yet"
    start, end = span[0] + SETTLE_S, span[1]
    t, rpm = case.samples("rpm", start, end)
    if end - start < LEAST_S:
        return f"held for less than {LEAST_S + SETTLE_S:.0f} s"
    if len(rpm) < LEAST_VALUES or t[-1] - t[0] < LEAST_S:
        return "too few values of the engine speed"
    if np.max(np.diff(t)) > HOLE_S:
        return f"a hole of {np.max(np.diff(t)):.0f} s in the values"
    if np.min(rpm) < RUNNING_RPM:
        return "the engine did not run all the time"
    _, coolant = case.samples("ect_c", 0.0, end)
    if len(coolant) and coolant[-1] < WARM_C:
        return f"the engine is not warm ({coolant[-1]:.0f} °C)"
    low, high = np.percentile(rpm, (5, 95))
    if step == "idle" and high > IDLE_MOST_RPM:
        return f"not at idle ({low:.0f}–{high:.0f} rpm)"
    if step == "held" and (
        low < HOLD_RPM - HOLD_SPAN_RPM or high > HOLD_RPM + HOLD_SPAN_RPM
    ):
        return f"2500 rpm was not held ({low:.0f}–{high:.0f} rpm)"
    return ""


def _trim(case: Case, step: str, bank: int) -> tuple[float, str]:
    """Median total trim of a bank in a step, in closed loop; NaN and why."""
    span = case.span(step)
    assert span is not None
    start, end = span[0] + SETTLE_S, span[1]
    t, short = case.samples(f"stft_b{bank}_pct", start, end)
    if len(short) < LEAST_VALUES:
        return np.nan, "too few trim values"
    for name in (f"fuel_status_b{bank}", "fuel_status_b1"):
        _, status = case.samples(name, start, end)
        if np.any(status != 0):
            if np.mean(status == _CLOSED) < 0.8:
                return np.nan, "not in closed loop"
            break
    long_t, long = case.samples(f"ltft_b{bank}_pct", start - SETTLE_S, end)
    if not len(long):
        if case.has(f"ltft_b{bank}_pct"):
            return np.nan, "no long-term trim"
        return float(np.median(short)), ""
    latest = np.clip(np.searchsorted(long_t, t, "right") - 1, 0, None)
    return float(np.median(short + long[latest])), ""


def _judge(case: Case) -> tuple[Finding, ...]:
    found = []
    for step in STEPS:
        why = _held(case, step)
        if why and case.run.span(step) is not None:
            name = "Idle" if step == "idle" else "2500 rpm"
            found.append(Finding("engine", f"{name}: cannot tell, {why}."))
    if found or any(case.run.span(step) is None for step in STEPS):
        return (*found, *_undone(case))
    pairs: dict[int, Pair] = {}
    for bank in case.banks:
        values = [_trim(case, step, bank) for step in STEPS]
        whys = [why for _, why in values if why]
        if whys:
            found.append(Finding(f"B{bank}", f"B{bank}: cannot tell, {whys[0]}."))
        else:
            pairs[bank] = Pair(values[0][0], values[1][0])
    add, fade = case.limits["trim_add_pct"], case.limits["trim_fade_pct"]
    for bank, pair in pairs.items():
        pattern = pair.pattern(add, fade) or "usual at both"
        text = (
            f"B{bank}: {pair.idle:+.1f} % at idle, {pair.held:+.1f} % at 2500 rpm: "
            f"{pattern}."
        )
        found.append(Finding(f"B{bank}", text))
    if len(pairs) == 2:
        found.append(_both(pairs[1], pairs[2], add, case.limits["trim_level_pct"]))
    if pairs:
        text = "Trims were taken at idle and at 2500 rpm."
        found.append(Finding("engine", text, "done"))
        return tuple(found)
    return (*found, *_undone(case))


def _undone(case: Case) -> tuple[Finding, ...]:
    """That the test gave no trims, and what to do instead, once it is over."""
    if not case.run.ended:
        return ()
    why = "no pair of trims came out"
    text = (
        "Warm the engine up until it is in closed loop, stand still, idle for half a "
        "minute, then hold 2500 rpm as long."
    )
    return (undone("engine", why, text),)


def _both(one: Pair, two: Pair, add: float, level: float) -> Finding:
    """What both banks share, and what divides them."""
    common = Pair((one.idle + two.idle) / 2, (one.held + two.held) / 2)
    apart = Pair(one.idle - two.idle, one.held - two.held)
    text = (
        f"Apart by {apart.idle:+.1f} % at idle and {apart.held:+.1f} % at 2500 rpm; "
        f"shared {common.idle:+.1f} % and {common.held:+.1f} %."
    )
    if max(abs(one.held), abs(two.held)) >= add and abs(common.held) < level:
        breathes = 1 if one.held < two.held else 2
        text += (
            f" One adds what the other takes away: B{breathes} may breathe less. Look "
            "at more flow."
        )
    elif max(abs(apart.idle), abs(apart.held)) < add:
        text += " The banks are alike: whatever errs is common to both."
    else:
        text += " The banks differ: look for what only one of them has."
    return Finding("engine", text)


def _watch(case: Case) -> tuple[Figure, ...]:
    return (engine(case, "rpm", "rpm", ""), *trims(case))


STEADY = GuidedTest(
    "idle-2500",
    "Idle against 2500 rpm",
    "Whether trims fade, grow or stay with airflow: leak, supply or bias.",
    Subject.ENGINE,
    ("car-stands", "carbon-monoxide", "hot-exhaust"),
    (
        Step(
            "idle",
            "Warm engine: idle",
            "In neutral, handbrake on, everything electric off.",
            30.0,
        ),
        Step("held", "Hold 2500 rpm", "Steady, within 250 rpm, in neutral.", 30.0),
        Step("rest", "Idle again", "Then end the test.", 2.0),
    ),
    _judge,
    _watch,
    needs=dict.fromkeys(("rpm", "stft_b1_pct", "stft_b2_pct"), LEAST_HZ),
    standing=True,
    whole=STEPS,
)
"""Idle against 2500 rpm."""
