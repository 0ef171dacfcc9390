"""Fuel cut and wide open: the two ends that a road gives for nothing.

In a fuel cut plain air passes: the front sensor must go lean, and the rear one after
it as the catalyst's oxygen store fills. At full load the mixture is rich: the front
sensor must say so.
"""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np

from bankwise.signals.driving import ENRICHED_LAMBDA, OPEN_BY_LOAD, Driving
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.circuit import PARK_HIGH_V, PARK_LOW_V
from bankwise.signals.guided.figures import engine, sensors
from bankwise.signals.guided.reading import Trace, trace
from bankwise.signals.guided.script import (
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
    undone,
)

LEAST_HZ = 2.0
"""Slowest sampling that shows an end held for seconds. Unit: Hz. Our choice."""
CUT_S, WIDE_S = 2.0, 1.5
"""Shortest fuel cut and pull that are judged. Unit: s. Our choice, because the pipe
ahead of the sensor must empty or fill first."""
PURGE_S = 1.0
BEFORE_S = 4.0
"""The cut may have begun so long before its state was sure. Unit: s. Our choice."""

HOLE_S = 1.0
"""A silence longer than this may hide an end. Unit: s. Our choice, because an end is
held for two seconds or so."""

_BOTH = (
    "Warm the car up; in a middle gear, full throttle for four seconds where legal, "
    "then foot right off for six."
)
_JUDGED = re.compile(r"(rich|lean) \(")
Span = tuple[float, float]


def spans(case: Case, state: Driving, least_s: float) -> list[Span]:
    """Stretches of the run in one driving state, long enough to judge. Unit: s."""
    values, times = case.ticks("state"), case.times()
    count = min(len(values), len(times))
    inside = values[:count] == float(state.value)
    edges = np.flatnonzero(np.diff(inside.astype(np.int8), prepend=0, append=0))
    found = []
    for first, stop in list(pairwise(edges.tolist()))[::2]:
        span = (float(times[first]), float(times[stop - 1]) + 0.5)
        if span[1] - span[0] >= least_s:
            found.append(span)
    return found


def _judge(case: Case) -> tuple[Finding, ...]:
    cuts = spans(case, Driving.FUEL_CUT, CUT_S)
    wide = spans(case, Driving.WIDE_OPEN, WIDE_S)
    if not cuts and not wide:
        why = "neither a fuel cut of 2 s nor full throttle was seen"
        return (undone("engine", why, _BOTH),)
    seen = f"Seen: {_count(len(cuts), 'fuel cut')}, {_count(len(wide), 'pull')}."
    found = []
    for bank in case.banks:
        place = f"B{bank}S1"
        if not case.sensor(place):
            continue
        found.append(_end(case, place, cuts, rich=False))
        rear = _rear(case, bank, cuts) if cuts else None
        found.extend((rear,) if rear is not None else ())
        found.append(_end(case, place, wide, rich=True))
    if not any(_JUDGED.search(finding.text) for finding in found):
        why = "no front sensor could be judged in it"
        return (
            *found,
            undone("engine", f"{seen[0].lower()}{seen[1:-1]}; {why}", _BOTH),
        )
    if not cuts:
        seen += " For the other end: foot right off, in gear, for six seconds."
    if not wide:
        seen += " For the other end: full throttle for four seconds, where legal."
    return (Finding("engine", seen, "done"), *found)


def _count(count: int, what: str) -> str:
    return f"{count or 'no'} {what}{'' if count == 1 else 's'}"


def _alike(case: Case, span: Span, *, rich: bool) -> bool:
    """Whether no front sensor came near the end that the stretch asks for.

    Then the unit may not have cut or enriched at all.
    """
    for bank in case.banks:
        seen = trace(case, f"B{bank}S1", span[0] + PURGE_S, span[1])
        if seen is not None and np.any(seen.on_side(rich)):
            return False
    return True


def _why_not(case: Case, place: str, seen: Trace, span: Span, *, rich: bool) -> str:
    """Why a sensor that did not come to an end is not blamed; empty when it is."""
    if seen.gap_s > HOLE_S:
        return f"cannot tell, a hole of {seen.gap_s:.1f} s in the values"
    whole = trace(case, place, 0.0, span[1])
    if whole is not None and not seen.wide and len(whole.v) > len(seen.v):
        resting = (whole.v > PARK_LOW_V) & (whole.v < PARK_HIGH_V)
        if np.mean(resting) > 0.95:
            return (
                f"cannot tell, it rests at {float(np.median(seen.v)):.2f} V: cold, or "
                "not connected. Warm it up, then do the circuit check"
            )
    _, asked = case.samples("lambda_cmd", span[0], span[1])
    if rich and len(asked) and float(np.median(asked)) >= ENRICHED_LAMBDA:
        return f"cannot tell, the unit asks for λ {float(np.median(asked)):.2f} there"
    if _alike(case, span, rich=rich):
        _, status = case.samples("fuel_status_b1", span[0], span[1])
        if not len(status) or np.median(status) != OPEN_BY_LOAD:
            what = "enriched" if rich else "cut the fuel"
            return f"cannot tell whether the unit {what} at all"
    return ""


def _end(case: Case, place: str, stretches: list[Span], *, rich: bool) -> Finding:
    """Whether a front sensor went to one end in the stretches that ask for it."""
    where = "at full throttle" if rich else "in the fuel cut"
    if not stretches:
        return Finding(place, f"{place}: {where} was not seen.")
    words = []
    for start, end in stretches:
        seen = trace(case, place, start + PURGE_S, end)
        if seen is None or len(seen.t) < 3 or 1 / seen.step_s < LEAST_HZ:
            words.append("cannot tell, too few values: use a faster adapter")
            continue
        lowest = seen.wide == rich
        level = float(seen.v.min() if lowest else seen.v.max())
        if seen.wide:
            limit = case.limits["front_rich_lambda" if rich else "cut_lambda"]
            good = level < limit if rich else level > limit
        else:
            limit = case.limits["wide_open_front_v" if rich else "cut_front_v"]
            good = level > limit if rich else level < limit
        side = "rich" if rich else "lean"
        unit = "λ" if seen.wide else "V"
        why = "" if good else _why_not(case, place, seen, (start, end), rich=rich)
        if why:
            words.append(why)
            continue
        words.append(f"{side if good else f'not {side}'} ({level:.2f} {unit})")
    return Finding(place, f"{place} {where}: {', '.join(words)}.")


def _rear(case: Case, bank: int, cuts: list[Span]) -> Finding | None:
    """How long after the front sensor, and after how much air, the rear went lean."""
    place, front = f"B{bank}S2", f"B{bank}S1"
    if not case.sensor(place):
        return None
    words = []
    for start, end in cuts:
        fell = [_fell(trace(case, p, start - BEFORE_S, end)) for p in (front, place)]
        if _holed(case, (front, place), start, end):
            words.append("cannot tell, a hole in the values")
            continue
        if fell[0] is None or fell[1] is None:
            words.append("its way from rich to lean was not seen")
            continue
        delay = max(fell[1] - fell[0], 0.0)
        text = f"lean {delay:.1f} s after {front}"
        grams = _air(case, fell[0], fell[1]) / len(case.banks)
        words.append(text + (f", {grams:.1f} g of air" if grams > 0 else ""))
    return Finding(place, f"{place} in the fuel cut: {'; '.join(words)}.")


def _holed(case: Case, places: tuple[str, ...], start: float, end: float) -> bool:
    traces = [trace(case, place, start - BEFORE_S, end) for place in places]
    return any(seen is not None and seen.gap_s > HOLE_S for seen in traces)


def _fell(seen: Trace | None) -> float | None:
    """When a sensor that was rich first was lean; None when it was not both."""
    if seen is None or len(seen.t) < 3 or 1 / seen.step_s < LEAST_HZ:
        return None
    rich = np.flatnonzero(seen.on_side(True))
    # A wide-band sensor is at λ 1 before a cut; that is rich enough to fall from.
    if seen.wide:
        rich = np.flatnonzero(~seen.on_side(False))
    if not len(rich):
        return None
    for start in rich[::-1].tolist():
        lean = np.flatnonzero(seen.on_side(False)[start:])
        if len(lean):
            return float(seen.t[start + lean[0]])
    return None


def _air(case: Case, start: float, end: float) -> float:
    """Air that the engine took in between two moments; 0 without a meter. Unit: g."""
    t, flow = case.samples("maf_gps", start - 1.0, end + 1.0)
    if len(t) < 2 or end <= start:
        return 0.0
    at = np.linspace(start, end, 20)
    return float(np.mean(np.interp(at, t, flow)) * (end - start))


def _watch(case: Case) -> tuple[Figure, ...]:
    return (
        engine(case, "rpm", "rpm", ""),
        *sensors(case, ("B1S1", "B2S1")),
    )


PULL = GuidedTest(
    "cut-and-pull",
    "Fuel cut and full throttle",
    "Whether front sensors reach both ends, and how soon the rear ones follow.",
    Subject.ENGINE,
    ("driver-drives", "legal-roads", "flooded-catalyst"),
    (
        Step(
            "ready",
            "Find a clear, legal road",
            "Warm engine, a middle gear, about 50 km/h. The driver only drives.",
        ),
        Step(
            "pull",
            "Full throttle, then lift off",
            "Hold it four seconds where legal, then foot right off, in gear, for six "
            "seconds. Again if the road allows.",
            8.0,
        ),
        Step("coast", "Drive on easily", "Then end the test.", 5.0),
    ),
    _judge,
    _watch,
    {
        **{f"o2_b{b}s{p}_v": 10.0 for b in (1, 2) for p in (1, 2)},
        **{f"lambda_b{b}s1": 10.0 for b in (1, 2)},
        "rpm": 5.0,
        "throttle_pct": 5.0,
        "maf_gps": 5.0,
        "map_kpa": 5.0,
        "load_pct": 2.0,
        "fuel_status_b1": 3.0,
        "speed_kmh": 2.0,
        "lambda_cmd": 1.0,
    },
    needs=dict.fromkeys(
        ("o2_b1s1_v", "o2_b2s1_v", "lambda_b1s1", "lambda_b2s1"), LEAST_HZ
    ),
)
"""Fuel cut and wide open."""
