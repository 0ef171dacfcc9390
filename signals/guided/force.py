"""Force rich, force lean: both banks get the same stimulus; who follows?

A sensor that follows in every direction tried tells the truth about direction; one
that ignores a stimulus which others answered is wrong, or its wiring is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial

import numpy as np

from bankwise.signals.guided.case import Case
from bankwise.signals.guided.figures import sensors
from bankwise.signals.guided.reading import Answer, answer, trace
from bankwise.signals.guided.script import (
    FASTEST_HZ,
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
)

GAS_HOLD_S = 1.0
"""How long a forced mixture must show. Longer than half a period of a good sensor's
own switching. Unit: s. Our choice."""
SNAP_HOLD_S = 0.2
"""How long the brief enrichment of a throttle snap must show. Unit: s. Our choice."""
REAR_S = 30.0
"""What the catalyst may delay a rear sensor. Unit: s. Common practice, no source."""
ALREADY_S = 0.1
"""A reading that is there sooner was there before. Unit: s. Our choice, because gas
takes longer from the valves to the sensor."""
LEAST_TRIM_PCT = 3.0
"""How far a mean trim moves when the mixture was really forced. Unit: %. Our choice,
because a control's own swing averages to less over seconds."""
LEAST_THROTTLE_PCT = 15.0
"""How far a snap opens the throttle. Unit: %. Our choice."""
REAR_FLAT_V = 0.1
"""A rear sensor within this band all the time did not move. Unit: V. Common practice,
no source."""

FRONTS, REARS = ("B1S1", "B2S1"), ("B1S2", "B2S2")
_RICH, _LEAN = "rich", "lean"
_BEFORE_S = 5.0

Answers = dict[str, dict[str, Answer]]
"""By sensor, then by direction."""


def _stimulus_seen(case: Case, step: str) -> bool:
    """Whether a loop corrected against the stimulus, or the throttle was opened."""
    span = case.span(step)
    if span is None:
        return False
    start, end = span
    _, opened = case.samples("throttle_pct", start - 1.0, end)
    if len(opened) > 2 and np.ptp(opened) >= LEAST_THROTTLE_PCT:
        return True
    for bank in case.banks:
        name = f"stft_b{bank}_pct"
        _, before = case.samples(name, start - _BEFORE_S, start)
        t, during = case.samples(name, start, end + 1.0)
        late = during[t >= start + 0.4 * (end - start)]
        if len(before) < 3 or len(late) < 3:
            continue
        moved = float(np.mean(late) - np.mean(before))
        if (-moved if step == _RICH else moved) >= LEAST_TRIM_PCT:
            return True
    return False


def _answers(case: Case, place: str, hold_s: float) -> dict[str, Answer]:
    rear = place in REARS
    later, hold_s = (REAR_S, GAS_HOLD_S) if rear else (0.0, hold_s)
    found = {}
    for step in (_RICH, _LEAN):
        span = case.span(step)
        if span is None:
            continue
        seen = trace(case, place, span[0], span[1] + later)
        told = answer(seen, span[0], step == _RICH, hold_s)
        # While a step runs, only a sensor that has followed has answered.
        if told.followed or math.isfinite(span[1]):
            found[step] = told
    return found


def _judge(hold_s: float, case: Case) -> tuple[Finding, ...]:
    found: list[Finding] = []
    answers: Answers = {
        place: _answers(case, place, hold_s)
        for place in (*FRONTS, *REARS)
        if case.sensor(place)
    }
    for step in (_RICH, _LEAN):
        fronts = [a[step] for p, a in answers.items() if p in FRONTS and step in a]
        if not fronts:
            continue
        if any(a.followed for a in fronts) or _stimulus_seen(case, step):
            continue
        unsure = any(a.followed is None for a in fronts)
        outcome = "" if unsure else "not-done"
        text = f"No sign of a {step} mixture anywhere: this direction was not forced."
        found.append(Finding("engine", text, outcome))
        for given in answers.values():
            given.pop(step, None)
    for place, given in answers.items():
        if given:
            found.append(_finding(case, place, given, answers))
    return tuple(found)


def _finding(
    case: Case, place: str, given: Mapping[str, Answer], everyone: Answers
) -> Finding:
    words = "; ".join(_words(step, one) for step, one in given.items())
    text = f"{place} {words}."
    verdicts = [one.followed for one in given.values()]
    if place in REARS:
        return _rear(case, place, text, verdicts, everyone)
    if False in verdicts:
        return Finding(place, text, "ignores-forcing")
    if None in verdicts:
        return Finding(place, text)
    if len(given) == 2:
        return Finding(place, text, "answers-forcing")
    return Finding(place, text, "forced-one-way")


def _rear(
    case: Case,
    place: str,
    text: str,
    verdicts: list[bool | None],
    everyone: Answers,
) -> Finding:
    """A catalyst may hide a short stimulus: only a reading that stood still ignores."""
    if len(verdicts) == 2 and all(verdicts):
        return Finding(place, text, "answers-forcing")
    front = everyone.get(f"{place[:3]}1", {})
    front_followed = len(front) == 2 and all(a.followed for a in front.values())
    seen = trace(case, place, case.run.began, case.run.until)
    still = seen is not None and len(seen.t) > 10 and np.ptp(seen.v) < REAR_FLAT_V
    long = case.run.until - case.run.began >= REAR_S
    if front_followed and still and long and None not in verdicts:
        more = " It stood still although its bank was forced both ways."
        return Finding(place, text + more, "ignores-forcing")
    more = "" if None in verdicts else " The catalyst may have hidden it: no verdict."
    return Finding(place, text + more)


def _words(step: str, one: Answer) -> str:
    if one.followed is None:
        return f"forced {step}: cannot tell, {one.why}"
    if not one.followed:
        reached = "" if one.extreme is None else f", reached {one.extreme:.2f}"
        return f"forced {step}: did not follow{reached}"
    assert one.delay_s is not None
    if one.delay_s[1] < ALREADY_S:
        return f"forced {step}: was {step} already"
    text = f"forced {step}: followed within {one.delay_s[1]:.1f} s"
    if one.passage_s is not None:
        low, high = (1000 * bound for bound in one.passage_s)
        text += f", passing in {low:.0f} to {high:.0f} ms"
    return text


def _watch(case: Case) -> tuple[Figure, ...]:
    return sensors(case, FRONTS)


_RATES = {
    "o2_b1s1_v": FASTEST_HZ,
    "o2_b2s1_v": FASTEST_HZ,
    "lambda_b1s1": FASTEST_HZ,
    "lambda_b2s1": FASTEST_HZ,
    "o2_b1s2_v": 5.0,
    "o2_b2s2_v": 5.0,
    "stft_b1_pct": 3.0,
    "stft_b2_pct": 3.0,
    "ltft_b1_pct": 1.0,
    "ltft_b2_pct": 1.0,
    "fuel_status_b1": 1.0,
    "rpm": 3.0,
    "throttle_pct": 3.0,
}
_CAUTIONS = ("carbon-monoxide", "hot-exhaust", "flooded-catalyst")
_REARS = Step(
    "rears",
    "Hold on for the rear sensors",
    "The catalyst may delay them by half a minute. Then end the test.",
    25.0,
)

BY_GAS = GuidedTest(
    "force-gas",
    "Force rich and lean: propane, air leak",
    "Whether each sensor follows the mixture: only this condemns or clears one.",
    Subject.ENGINE,
    (*_CAUTIONS, "flammable-gas"),
    (
        Step(
            "settle",
            "Warm engine: hold 2000 rpm",
            "Both banks in closed loop, in neutral, handbrake on.",
            10.0,
        ),
        Step(
            _RICH,
            "Feed propane now",
            "A trickle into the intake ahead of the throttle, the same for both "
            "banks, for ten seconds. Shut it, then go on.",
            8.0,
        ),
        Step(
            "recover",
            "Gas shut: hold 2000 rpm",
            "Let the trims come back.",
            10.0,
        ),
        Step(
            _LEAN,
            "Open the air leak now",
            "A controlled vacuum leak behind the throttle, for ten seconds. An engine "
            "that meters by pressure hardly feels it.",
            8.0,
        ),
        Step("closed", "Close the leak", "Hold 2000 rpm.", 3.0),
        _REARS,
    ),
    partial(_judge, GAS_HOLD_S),
    _watch,
    _RATES,
)
"""Forced by gas and by air."""

BY_SNAP = GuidedTest(
    "force-snap",
    "Force rich and lean: throttle snap",
    "Whether each sensor follows a snap of the throttle, rich and then lean.",
    Subject.ENGINE,
    _CAUTIONS,
    (
        Step("settle", "Warm engine: idle", "In neutral, handbrake on.", 10.0),
        Step(
            _RICH,
            "Snap the throttle open",
            "Press the key, then snap: short and full, not above the speed that the "
            "service information allows.",
            1.0,
        ),
        Step(
            _LEAN,
            "Let go of the throttle",
            "Press the key as you let go: the closing throttle leans it out.",
            3.0,
        ),
        _REARS,
    ),
    partial(_judge, SNAP_HOLD_S),
    _watch,
    _RATES,
)
"""Forced by the throttle alone."""
