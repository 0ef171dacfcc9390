"""Circuit check at the plug.

One sensor's reading is watched as fast as the link goes. The verdict is on the wiring
and the control unit's input, never on the sensor itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bankwise.signals.guided.case import Case
from bankwise.signals.guided.figures import sensors
from bankwise.signals.guided.reading import Trace, trace
from bankwise.signals.guided.script import (
    FASTEST_HZ,
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
    moment,
)

PARK_LOW_V, PARK_HIGH_V = 0.35, 0.55
"""Where an open input rests. Unit: V. Source: `sources.SATURN_1998` (391-491 mV),
widened by the bias of other makers' inputs; common practice, no source."""
STEADY_V = 0.05
"""Spread of a reading at rest. Unit: V. Common practice, no source."""
LEAST_MOVE_V = 0.20
"""How far from rest a driven reading must go. Unit: V. Common practice, no source."""
LEAST_VALUES = 5
"""Values without a hit that show a reading not moved. Our choice."""
LONGEST_GAP_S = 1.0
"""A touch of the wire shorter than this may be missed between values. Unit: s. Our
choice, because nobody holds a probe for less on purpose."""

WIRES = ("first-wire", "second-wire")
DRIVEN = {"first-wire": "first-driven", "second-wire": "second-driven"}
"""The question after each wire: only a wire that was driven can fail."""


@dataclass(frozen=True, slots=True)
class Hit:
    """One excursion of the reading: when, how far, how long it was seen.

    A single value is a hit too: contact may be brief.
    """

    t: float
    level: float
    seen_s: float
    high: bool


def _side(level: float, rest: float) -> int:
    """1 above rest, -1 below, 0 at it."""
    return int(level > rest + LEAST_MOVE_V) - int(level < rest - LEAST_MOVE_V)


def hits(seen: Trace, rest: float, before: float | None = None) -> tuple[Hit, ...]:
    """Every excursion from rest, high or low, in order of time.

    Args:
        seen: the reading during a step.
        rest: where it lies with the plug off. Unit: V.
        before: the last value before the step: an excursion that goes on from there
            belongs to what was done then. Unit: V.
    """
    away = np.array([_side(level, rest) for level in seen.v.tolist()], dtype=np.int8)
    held = 0 if before is None else _side(before, rest)
    edges = np.flatnonzero(np.diff(away, prepend=0, append=0)).tolist()
    found = []
    for start, stop in pairwise(edges):
        side = int(away[start])
        if side == 0 or (start == 0 and side == held):
            continue
        part = seen.v[start:stop]
        level = float(part.max() if side > 0 else part.min())
        length = float(seen.t[stop - 1] - seen.t[start])
        found.append(Hit(float(seen.t[start]), level, length, bool(side > 0)))
    return tuple(found)


def wide_band(case: Case, place: str) -> Finding | None:
    """Says that this is no test for a wide-band sensor; None for a switching one."""
    low = place.lower()
    if case.has(f"o2_{low}_v") or not case.has(f"lambda_{low}"):
        return None
    text = (
        f"{place} is a wide-band sensor: driving its wires is not this test. Follow "
        "the service information."
    )
    return Finding(place, text)


def _rest(case: Case) -> tuple[float | None, str]:
    span = case.span("unplugged")
    seen = None if span is None else trace(case, case.run.about, *span)
    if seen is None or len(seen.t) < LEAST_VALUES:
        return None, "too few values with the plug off"
    tail = seen.v[len(seen.v) // 2 :]
    rest = float(np.median(tail))
    if np.ptp(tail) > STEADY_V:
        return None, f"the reading does not rest with the plug off ({rest:.2f} V)"
    return rest, ""


def _judge(case: Case) -> tuple[Finding, ...]:
    place = case.run.about
    wide = wide_band(case, place)
    if wide is not None:
        return (wide,)
    off = case.run.span("unplugged")
    if off is None:
        return ()
    again = case.run.span("reconnected")
    if case.engine_ran_since(off[0], np.inf if again is None else again[0]):
        # A bank in closed loop moves the reading: neither wire nor plug is seen then.
        text = f"{place}: not judged, the engine ran. Key on, engine off, and again."
        return (Finding(place, text),)
    rest, why = _rest(case)
    if rest is None:
        text = f"{place}: cannot tell, {why}. Is the right plug off?"
        return (Finding(place, text),)
    if not PARK_LOW_V <= rest <= PARK_HIGH_V:
        # A plug still on, or another one pulled, looks just like a shorted wire.
        text = (
            f"{place} rests at {rest:.2f} V, not where an open input rests: no "
            "verdict. See that this plug is off; if it is, measure the signal wire "
            "as the service information says."
        )
        return (Finding(place, text),)
    text = f"{place} unplugged rests at {rest:.2f} V, as an open input does."
    return (Finding(place, text), *_wires(case, rest))


def _wires(case: Case, rest: float) -> tuple[Finding, ...]:
    """What each wire did; a verdict once both were driven."""
    place = case.run.about
    found: list[Finding] = []
    ends: set[bool] = set()
    unsure = ""
    tried = 0
    for step in WIRES:
        span = case.span(step)
        if span is None:
            continue
        seen = trace(case, place, *span)
        last = _last_before(case, span[0])
        got = hits(seen, rest, last) if seen is not None else ()
        driven = case.run.answers.get(DRIVEN[step])
        if not got and driven is None and not case.run.ended:
            continue
        ends |= {hit.high for hit in got}
        tried += bool(got or driven)
        lacking = "" if got or not driven else _too_slow(seen)
        if not got and last is not None and _side(last, rest):
            # Nobody can say whether a wire still held covered this one.
            lacking = f"the reading was still {last:.2f} V from the wire before"
        unsure = lacking or unsure
        words = _step_words(place, step, got, lacking)
        if not got and not driven and not lacking:
            words = f"{place}, {step.replace('-', ' ')}: it was not driven."
        found.append(Finding(place, words))
    if tried == len(WIRES):
        return (*found, _verdict(place, ends, unsure))
    if not case.run.ended:
        return tuple(found)
    text = f"{place}: both wires must be driven for a verdict. Make the test again."
    return (*found, Finding(place, text))


def _last_before(case: Case, start: float) -> float | None:
    """The newest value with the plug off before a moment. Unit: V."""
    off = case.span("unplugged")
    seen = None if off is None else trace(case, case.run.about, off[0], start)
    return None if seen is None else float(seen.v[-1])


def _too_slow(seen: Trace | None) -> str:
    """Why the absence of a hit shows nothing; empty when it does."""
    if seen is None or len(seen.t) < LEAST_VALUES:
        return "too few values"
    if seen.gap_s > LONGEST_GAP_S:
        return f"a gap of {seen.gap_s:.1f} s between values may hide a touch"
    return ""


def _step_words(place: str, step: str, got: tuple[Hit, ...], lacking: str) -> str:
    name = step.replace("-", " ")
    if lacking:
        return f"{place}, {name}: cannot tell, {lacking}."
    if not got:
        return f"{place}, {name}: the reading did not move."
    told = [
        f"{'high' if hit.high else 'low'} to {hit.level:.2f} V at {moment(hit.t)}"
        for hit in got[:3]
    ]
    more = f", {len(got)} hits in all" if len(got) > len(told) else ""
    return f"{place}, {name}: went " + ", ".join(told) + f"{more}."


def _verdict(place: str, ends: set[bool], unsure: str) -> Finding:
    if ends == {True, False}:
        return Finding(
            place,
            f"{place}: wiring and input follow to both ends. This says nothing of the "
            "sensor itself.",
            "circuit-good",
        )
    if unsure:
        text = f"{place}: no verdict, {unsure}. Make the test again."
        return Finding(place, text)
    if not ends:
        text = f"{place}: the reading does not follow its wires: wiring or input."
    else:
        lacking = "low" if True in ends else "high"
        text = f"{place}: the reading never reached the {lacking} end: wiring or input."
    return Finding(place, text, "circuit-bad")


def _watch(case: Case) -> tuple[Figure, ...]:
    return sensors(case, (case.run.about,))


RATES = {
    "o2_{s}_v": FASTEST_HZ,
    "lambda_{s}": FASTEST_HZ,
    "rpm": 0.5,
    "speed_kmh": 0.5,
}
"""One sensor as fast as the link goes, and whether the car still stands."""
LEAST_HZ = 2.0
"""Two values in every touch of a second. Unit: Hz. Our choice, as `LONGEST_GAP_S`."""

CIRCUIT = GuidedTest(
    "circuit",
    "Circuit check at the plug",
    "Whether wiring and input carry the signal. It never condemns the sensor.",
    Subject.SENSOR,
    ("car-stands", "computer-inputs", "ignition-off", "hot-exhaust"),
    (
        Step(
            "connected",
            "Key on, engine off",
            "The car stands, handbrake on; the sensor is still plugged in. Look at the "
            "figure.",
            3.0,
        ),
        Step("unplugged", "Unplug this sensor", "It must rest near 0.45 V.", 5.0),
        Step(
            "first-wire",
            "Drive one signal wire",
            "Only as the service information says, through the lamp or resistor it "
            "names. The reading must go to that end. Then let go.",
            2.0,
        ),
        Step(
            "first-driven",
            "Was that wire driven?",
            "Yes only when the probe was on the right wire, as the service "
            "information says.",
            asks=True,
        ),
        Step(
            "second-wire",
            "Drive the other wire",
            "The same way. The reading must go to the other end. Then let go.",
            2.0,
        ),
        Step(
            "second-driven",
            "Was that wire driven?",
            "Yes only when the probe was on the right wire, as the service "
            "information says.",
            asks=True,
        ),
        Step("reconnected", "Plug it in again", "Then end the test.", 3.0),
    ),
    _judge,
    _watch,
    RATES,
    needs={"o2_{s}_v": LEAST_HZ},
    standing=True,
    engine_off=True,
    spark=False,
)
"""The circuit check."""
