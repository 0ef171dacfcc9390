"""Unplug a front sensor on purpose: a lying sensor, or a real mixture fault?

Without the sensor the unit falls back on default fuelling. When the engine then runs
right, the sensor had misled it; when it still runs wrong, the mixture is wrong.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals.columns import Floats
from bankwise.signals.guided.case import RUNNING_RPM, Case
from bankwise.signals.guided.circuit import PARK_HIGH_V, PARK_LOW_V
from bankwise.signals.guided.figures import sensors, trims
from bankwise.signals.guided.reading import trace
from bankwise.signals.guided.script import (
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
    undone,
)

STAY_PCT = 5.0
"""How far the other bank's trims may move. Unit: %. Source: common practice, no
source, as for two banks alike."""
PARKED_SHARE = 0.8
"""Share of the late values that must rest at the bias. Our choice."""
TAIL_S = 20.0
"""The end of a step that is judged, after things settled. Unit: s. Our choice."""
LEAST_VALUES = 5
ALIKE_RPM = 300.0
"""How far engine speed with the plug off may be from before. Unit: rpm. Our choice,
because trims differ with airflow."""
_CLOSED = (2.0, 16.0)
"""Closed loop, and closed loop with a fault. Source: J1979 PID 03, from memory."""


def _tail(case: Case, step: str, name: str) -> Floats:
    return case.tail(step, name, TAIL_S)


def _total(case: Case, step: str, bank: int) -> float:
    short = _tail(case, step, f"stft_b{bank}_pct")
    if len(short) < LEAST_VALUES:
        return np.nan
    long = _tail(case, step, f"ltft_b{bank}_pct")
    if not len(long):
        return float(np.median(short)) if not case.has(f"ltft_b{bank}_pct") else np.nan
    return float(np.median(short) + np.median(long))


def _parked(case: Case, step: str) -> tuple[bool | None, str]:
    """Whether the sensor's reading rests as with the plug off, and in which words."""
    span = case.span(step)
    seen = None if span is None else trace(case, case.run.about, *span)
    if seen is None or len(seen.t) < LEAST_VALUES:
        return None, "too few values of the sensor"
    late = seen.v[seen.t >= seen.t[-1] - TAIL_S]
    if len(late) < LEAST_VALUES:
        return None, "too few values of the sensor"
    if seen.wide:
        still = bool(np.ptp(late) < 0.005)
        return still, "its reading stands still" if still else "its reading moves"
    parked = np.mean((late > PARK_LOW_V) & (late < PARK_HIGH_V)) >= PARKED_SHARE
    low, high = (float(level) for level in np.percentile(late, (5, 95)))
    if parked:
        return True, f"it rests at {float(np.median(late)):.2f} V"
    return False, f"it reads {low:.2f} to {high:.2f} V"


def _closed(case: Case, step: str, bank: int) -> bool | None:
    """Whether a bank was in closed loop late in a step; None when that was not seen.

    Many cars tell bank 1's status only: then a trim that moves tells a closed loop.
    """
    status = _tail(case, step, f"fuel_status_b{bank}")
    told = status[status != 0]
    if len(told):
        return bool(np.median(told) in _CLOSED)
    if not len(_tail(case, step, "fuel_status_b1")):
        return None
    trim = _tail(case, step, f"stft_b{bank}_pct")
    return bool(np.ptp(trim) > 0) if len(trim) >= LEAST_VALUES else None


def _undone(case: Case) -> Finding | None:
    """What was not as asked, with what to do instead; None when all was."""
    place = case.run.about
    bank = int(place[1])
    speeds = []
    for step, name in (("before", "before"), ("unplugged", "with the plug off")):
        rpm = _tail(case, step, "rpm")
        if not len(rpm):
            why = f"engine speed was not seen {name}"
            return undone(place, why, "Let each step last its time, then do it again.")
        if np.min(rpm) < RUNNING_RPM:
            why = f"the engine did not run {name}"
            return undone(place, why, "Start it and let it idle half a minute.")
        speeds.append(float(np.median(rpm)))
    if abs(speeds[1] - speeds[0]) > ALIKE_RPM:
        why = f"engine speed was {speeds[0]:.0f} rpm before, {speeds[1]:.0f} rpm after"
        return undone(place, why, "Let it idle in both steps.")
    was, words = _parked(case, "before")
    if was is None:
        return undone(place, f"{words} before", "Wait longer, or use a faster adapter.")
    if was:
        why = f"{words} before it was unplugged"
        text = "Warm the engine up; if it still rests there, do the circuit check."
        return undone(place, why, text)
    if not _closed(case, "before", bank):
        why = f"B{bank} was not seen in closed loop before"
        return undone(place, why, "Warm the engine up until it is, then do it again.")
    off, words = _parked(case, "unplugged")
    if off is None:
        return undone(place, f"{words} with the plug off", "Use a faster adapter.")
    if not off:
        why = f"the data does not show the plug off: {words}"
        text = f"Find {place} ({_where(place)}), pull its plug and wait."
        return undone(place, why, text)
    return None


def _where(place: str) -> str:
    return f"bank {place[1]}, before the catalyst"


def _judge(case: Case) -> tuple[Finding, ...]:
    place = case.run.about
    bank = int(place[1])
    if case.run.span("unplugged") is None:
        text = "Go through every step: idle, unplug, idle again."
        why = "it ended before anything was unplugged"
        return (undone(place, why, text),) if case.run.ended else ()
    wrong = _undone(case)
    if wrong is not None:
        return (wrong,)
    _, words = _parked(case, "unplugged")
    found = [Finding(place, f"{place} is unplugged: {words}. {_loop(case, bank)}")]
    steady = True
    for other in (b for b in case.banks if b != bank):
        alike, text = _other(case, other)
        steady &= alike
        found.append(Finding(f"B{other}", text))
    return (*found, *_verdict(case, steady=steady))


def _loop(case: Case, bank: int) -> str:
    closed = _closed(case, "unplugged", bank)
    if closed is None:
        return "Its bank's loop status was not seen."
    if closed:
        return f"B{bank} still reports closed loop: default fuelling is not sure."
    return f"B{bank} left closed loop: it runs on default fuelling."


def _other(case: Case, other: int) -> tuple[bool, str]:
    """Whether the bank that nobody touched stayed as it was, and in which words."""
    before, after = (_total(case, s, other) for s in ("before", "unplugged"))
    if not np.isfinite(before + after):
        return False, f"B{other}: its trims were not seen."
    if _closed(case, "unplugged", other) is False:
        return False, f"B{other} left closed loop too."
    steady = abs(after - before) <= STAY_PCT
    moved = "stay" if steady else "moved"
    text = f"B{other}'s trims {moved}: {before:+.1f} % before, {after:+.1f} % now."
    return steady, text


def _verdict(case: Case, *, steady: bool) -> tuple[Finding, ...]:
    place = case.run.about
    bank = int(place[1])
    right, gone = (case.run.answers.get(s) for s in ("runs-right", "smell-gone"))
    if right is None or gone is None:
        text = "Both questions must be answered: do it again."
        return (Finding(place, text, "not-done"),) if case.run.ended else ()
    asked = _total(case, "before", bank)
    least = case.limits["trim_add_pct"]
    why = ""
    if not steady:
        why = (
            "the other bank changed at the same time, or was not seen. Leave it alone, "
            "and do it again"
        )
    elif _closed(case, "unplugged", bank) is not False:
        why = (
            f"B{bank} was not seen to leave closed loop. Wait longer with the plug "
            "off, then do it again"
        )
    elif not np.isfinite(asked):
        why = f"B{bank}'s trims were not seen before. Do it again with a faster adapter"
    elif abs(asked) < least:
        why = (
            f"B{bank} asked for nothing unusual before ({asked:+.1f} %), so its sensor "
            "cannot have misled it much. Look for what is wrong elsewhere"
        )
    elif right != gone:
        why = (
            f"without {place} it runs {'right' if right else 'wrong'}, and smell or "
            f"smoke {'went' if gone else 'stayed'}: this does not decide. Force the "
            "mixture instead"
        )
    if why:
        return (Finding(place, f"No verdict: {why}."),)
    if right:
        text = f"Without {place} the engine runs right: the sensor had misled it."
        return (Finding(place, text, "right-unplugged"),)
    text = f"Without {place} it runs as wrong as before: the mixture is wrong."
    return (Finding(place, text, "wrong-unplugged"),)


def _watch(case: Case) -> tuple[Figure, ...]:
    return (*sensors(case, (case.run.about,)), *trims(case))


UNPLUG = GuidedTest(
    "unplug",
    "Unplug a front sensor",
    "Whether the sensor misled the engine, or the mixture is really wrong.",
    Subject.FRONT,
    ("car-stands", "hot-exhaust", "carbon-monoxide", "flooded-catalyst"),
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
        "speed_kmh": 0.5,
    },
    needs=dict.fromkeys(
        ("o2_{s}_v", "lambda_{s}", "stft_b1_pct", "stft_b2_pct", "rpm"),
        LEAST_VALUES / TAIL_S,
    ),
    standing=True,
)
"""The unplug test."""
