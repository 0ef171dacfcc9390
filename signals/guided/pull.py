"""Fuel cut and wide open: the two ends that a road gives for nothing.

In a fuel cut plain air passes: the front sensor must go lean, and the rear one after
it as the catalyst's oxygen store fills. At full load the mixture is rich: the front
sensor must say so.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from bankwise.signals.driving import Driving
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.figures import engine, sensors
from bankwise.signals.guided.reading import trace
from bankwise.signals.guided.script import Figure, Finding, GuidedTest, Step, Subject

LEAST_HZ = 2.0
"""Slowest sampling that shows an end held for seconds. Unit: Hz. Our choice."""
CUT_S, WIDE_S = 2.0, 1.5
"""Shortest fuel cut and pull that are judged. Unit: s. Our choice, because the pipe
ahead of the sensor must empty or fill first."""
PURGE_S = 1.0

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
        text = "Neither a fuel cut of 2 s nor full throttle was seen."
        return (Finding("engine", text, "not-done" if case.run.ended else ""),)
    found = [
        Finding(
            "engine",
            f"Seen: {_count(len(cuts), 'fuel cut')}, {_count(len(wide), 'pull')}.",
            "done",
        )
    ]
    for bank in case.banks:
        place = f"B{bank}S1"
        if not case.sensor(place):
            continue
        found.append(_end(case, place, cuts, rich=False))
        if cuts:
            found.extend(_rear(case, bank))
        found.append(_end(case, place, wide, rich=True))
    return tuple(found)


def _count(count: int, what: str) -> str:
    return f"{count or 'no'} {what}{'' if count == 1 else 's'}"


def _end(case: Case, place: str, stretches: list[Span], *, rich: bool) -> Finding:
    """Whether a front sensor went to one end in the stretches that ask for it."""
    where = "at full throttle" if rich else "in the fuel cut"
    if not stretches:
        return Finding(place, f"{place}: {where} was not seen.")
    words = []
    for start, end in stretches:
        seen = trace(case, place, start + PURGE_S, end)
        if seen is None or len(seen.t) < 3 or 1 / seen.step_s < LEAST_HZ:
            words.append("too few values")
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
        words.append(f"{side if good else f'not {side}'} ({level:.2f} {unit})")
    return Finding(place, f"{place} {where}: {', '.join(words)}.")


def _rear(case: Case, bank: int) -> list[Finding]:
    place = f"B{bank}S2"
    if not case.sensor(place):
        return []
    drop_s = case.renewed(f"rear_drop_b{bank}s2_s")
    drop_g = case.renewed(f"rear_drop_b{bank}s2_g")
    stored = case.renewed(f"storage_b{bank}_mg")
    parts = []
    if np.isfinite(drop_s):
        parts.append(f"rich to lean in {drop_s:.1f} s")
    if np.isfinite(drop_g):
        parts.append(f"after {drop_g:.0f} g of air")
    if np.isfinite(stored):
        parts.append(f"about {stored:.0f} mg of oxygen stored meanwhile")
    if not parts:
        text = f"{place} in the fuel cut: its way from rich to lean was not seen."
        return [Finding(place, text)]
    return [Finding(place, f"{place} in the fuel cut: {', '.join(parts)}.")]


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
)
"""Fuel cut and wide open."""
