"""Unplug a front sensor on purpose: a lying sensor, or a real mixture fault?

Without the sensor the unit falls back on default fuelling. When the engine then runs
right, the sensor had misled it; when it still runs wrong, the mixture is wrong.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals.columns import Floats
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.circuit import PARK_HIGH_V, PARK_LOW_V
from bankwise.signals.guided.figures import sensors, trims
from bankwise.signals.guided.reading import trace
from bankwise.signals.guided.script import Figure, Finding, GuidedTest, Step, Subject

STAY_PCT = 5.0
"""How far the other bank's trims may move. Unit: %. Source: common practice, no
source, as for two banks alike."""
PARKED_SHARE = 0.8
"""Share of the late values that must rest at the bias. Our choice."""
TAIL_S = 20.0
"""The end of a step that is judged, after things settled. Unit: s. Our choice."""
LEAST_VALUES = 5
_CLOSED = 2.0


def _tail(case: Case, step: str, name: str) -> Floats:
    span = case.span(step)
    if span is None:
        return np.empty(0)
    end = min(span[1], case.columns.end_s or span[1])
    return case.samples(name, max(span[0], end - TAIL_S), end)[1]


def _total(case: Case, step: str, bank: int) -> float:
    short = _tail(case, step, f"stft_b{bank}_pct")
    if len(short) < LEAST_VALUES:
        return np.nan
    long = _tail(case, step, f"ltft_b{bank}_pct")
    if not len(long):
        return float(np.median(short)) if not case.has(f"ltft_b{bank}_pct") else np.nan
    return float(np.median(short) + np.median(long))


def _off(case: Case) -> tuple[bool | None, str]:
    """Whether the data shows the plug off, and in which words."""
    place = case.run.about
    span = case.span("unplugged")
    seen = None if span is None else trace(case, place, *span)
    if seen is None or len(seen.t) < LEAST_VALUES:
        return None, "too few values with the plug off"
    late = seen.v[seen.t >= seen.t[-1] - TAIL_S]
    if seen.wide:
        still = bool(np.ptp(late) < 0.005)
        return still, "its reading stands still" if still else "its reading moves"
    parked = np.mean((late > PARK_LOW_V) & (late < PARK_HIGH_V)) >= PARKED_SHARE
    level = float(np.median(late))
    return bool(parked), f"it rests at {level:.2f} V"


def _judge(case: Case) -> tuple[Finding, ...]:
    place = case.run.about
    bank = int(place[1])
    if case.run.span("unplugged") is None:
        return ()
    off, words = _off(case)
    if off is None:
        return (Finding(place, f"{place}: cannot tell, {words}."),)
    if not off:
        text = f"{place}: the data does not show the plug off: {words}."
        return (Finding(place, text, "not-done"),)
    found = [Finding(place, f"{place} is unplugged: {words}. {_loop(case, bank)}")]
    steady = True
    for other in (b for b in case.banks if b != bank):
        before, after = (_total(case, s, other) for s in ("before", "unplugged"))
        if not np.isfinite(before + after):
            found.append(Finding(f"B{other}", f"B{other}: its trims were not seen."))
            continue
        steady = abs(after - before) <= STAY_PCT
        moved = "stay" if steady else "moved"
        text = f"B{other}'s trims {moved}: {before:+.1f} % before, {after:+.1f} % now."
        found.append(Finding(f"B{other}", text))
    return (*found, *_verdict(case, steady=steady))


def _loop(case: Case, bank: int) -> str:
    status = _tail(case, "unplugged", f"fuel_status_b{bank}")
    if not len(status):
        return "Its bank's loop status was not seen."
    if np.median(status) == _CLOSED:
        return f"B{bank} still reports closed loop: default fuelling is not sure."
    return f"B{bank} left closed loop: it runs on default fuelling."


def _verdict(case: Case, *, steady: bool) -> tuple[Finding, ...]:
    place = case.run.about
    right, gone = (case.run.answers.get(s) for s in ("runs-right", "smell-gone"))
    if right is None or gone is None:
        return ()
    if not steady:
        text = "The other bank changed at the same time: no verdict. Do it again."
        return (Finding(place, text),)
    if right and gone:
        text = f"Without {place} the engine runs right: the sensor had misled it."
        return (Finding(place, text, "right-unplugged"),)
    if not right and not gone:
        text = f"Without {place} it runs as wrong as before: the mixture is wrong."
        return (Finding(place, text, "wrong-unplugged"),)
    text = (
        f"Without {place} it runs {'right' if right else 'wrong'}, and smell or smoke "
        f"{'went' if gone else 'stayed'}: this does not decide."
    )
    return (Finding(place, text),)


def _watch(case: Case) -> tuple[Figure, ...]:
    return (*sensors(case, (case.run.about,)), *trims(case))


UNPLUG = GuidedTest(
    "unplug",
    "Unplug a front sensor",
    "Whether the sensor misled the engine, or the mixture is really wrong.",
    Subject.FRONT,
    ("hot-exhaust", "carbon-monoxide", "flooded-catalyst"),
    (
        Step(
            "before",
            "Warm engine: idle",
            "As it runs now, faults and all.",
            TAIL_S,
        ),
        Step(
            "unplugged",
            "Unplug it, idle again",
            "Engine off to unplug, if the pipe is near. A code will set; save what is "
            "stored before. Wait until its bank leaves closed loop.",
            45.0,
        ),
        Step(
            "runs-right",
            "Does it run right now?",
            "Rough running, hunting, stumbling: is it better than before?",
            asks=True,
        ),
        Step(
            "smell-gone",
            "Has smell or smoke gone?",
            "Petrol smell, black smoke. Yes also when there never was any.",
            asks=True,
        ),
        Step("plugged", "Plug it in again", "Then end the test.", 3.0),
    ),
    _judge,
    _watch,
    {
        "o2_{s}_v": 5.0,
        "lambda_{s}": 5.0,
        **{f"{kind}_b{b}_pct": 2.0 for kind in ("stft", "ltft") for b in (1, 2)},
        "fuel_status_b1": 2.0,
        "fuel_status_b2": 2.0,
        "rpm": 3.0,
        "o2_b1s2_v": 2.0,
        "o2_b2s2_v": 2.0,
    },
)
"""The unplug test."""
