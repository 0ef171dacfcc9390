"""Warm-up and closed-loop entry, from key-on before the start."""

from __future__ import annotations

import math

import numpy as np

from bankwise.signals.guided.case import Case
from bankwise.signals.guided.figures import derived, engine
from bankwise.signals.guided.script import (
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
    undone,
)

SOAK_C = 6.0
"""After a night outside coolant and intake air differ by no more. Unit: °C. Common
practice, no source."""
COLD_C = 40.0
"""Warmer coolant than this makes no cold start. Unit: °C. Our choice, because sensors
and catalyst are then warm too."""
BEFORE_S = 60.0
"""An engine may have been started so long before the test. Unit: s. Our choice."""
WAKE_UP_HZ, COOLANT_HZ = 0.5, 0.1
"""Slowest sampling that times a wake-up to two seconds, and shows the coolant's slope.
Unit: Hz. Our choice."""
LATE_C, COLD_LIMIT_C = 10.0, -7.0
"""Borders between the limits of closed-loop entry. Unit: °C. Source:
`sources.ISUZU_2001`."""


def _cold(case: Case) -> tuple[bool | None, str]:
    """Whether this is a cold start, None when not known, and in which words."""
    coolant = case.last("ect_start_c", case.run.began)
    if not math.isfinite(coolant):
        first = case.samples("ect_c", case.run.began, np.inf)[1]
        if not len(first):
            return None, "the coolant's temperature was not seen"
        coolant = float(first[0])
    air = case.samples("iat_c", case.run.began, np.inf)[1]
    beside = f", intake air {air[0]:.0f} °C" if len(air) else ""
    words = f"coolant {coolant:.0f} °C at key-on{beside}"
    if coolant > COLD_C:
        return False, words
    if len(air) and abs(coolant - float(air[0])) > SOAK_C:
        return False, words
    return True, words


def _judge(case: Case) -> tuple[Finding, ...]:
    cold, words = _cold(case)
    if cold is None:
        found = [Finding("engine", f"Cannot tell whether it was cold: {words}.")]
    elif cold:
        found = [Finding("engine", f"Cold start: {words}.")]
    else:
        text = f"Not cold: {words}. Wake-up and entry times prove little."
        found = [Finding("engine", text)]
    since = case.last("since_start_s", case.run.began)
    if not math.isfinite(since):
        found.append(Finding("engine", "The start was not seen yet."))
        return (*found, *_ending(case, cold))
    found.append(_coolant(case, since))
    for bank in case.banks:
        found.append(_loop(case, bank))
        found.extend(
            _wake_up(case, f"B{bank}S{position}")
            for position in (1, 2)
            if case.sensor(f"B{bank}S{position}")
        )
    return (*found, *_ending(case, cold))


def _ending(case: Case, cold: bool | None) -> tuple[Finding, ...]:
    """Whether the warm-up was watched, once the run is over; else what to do next."""
    if not case.run.ended:
        return ()
    since = case.ticks("since_start_s")
    known = np.flatnonzero(np.isfinite(since))
    again = "Let the engine cool for some hours, then begin with the key off."
    if cold is None:
        why = "whether the engine was cold is not known"
        again = (
            "Turn the key on, look whether this car tells its coolant's temperature, "
            "and begin again."
        )
    elif not len(known):
        why = "the start was not seen"
        again = (
            "Begin with the key on and the engine off, start it when asked, and end "
            "the test when every bank is in closed loop."
        )
    elif since[known[0]] - (case.times()[known[0]] - case.run.began) > BEFORE_S:
        why = "the engine ran already"
    elif not cold:
        why = "the engine was not cold"
    elif _stalled(case):
        why = "the engine stopped before closed loop: the times are not of one start"
    elif not all(_known(case, bank) for bank in case.banks):
        why = "it ended before every bank was in closed loop, or late"
        again += " Wait at idle until every bank is in closed loop."
    else:
        return (Finding("engine", "The warm-up was watched.", "done"),)
    return (undone("engine", why, again),)


def _known(case: Case, bank: int) -> bool:
    """Whether a bank's entry was seen, or is late for certain."""
    if math.isfinite(case.last(f"closed_loop_entry_b{bank}_s", case.run.began)):
        return True
    waited = case.last(f"waiting_closed_b{bank}_s", case.run.began)
    return waited > entry_limit(case, case.last("ect_start_c"))


def _stalled(case: Case) -> bool:
    """Whether the engine stopped after its start and before closed loop."""
    running = case.ticks("running") == 1
    stops = np.flatnonzero(running[:-1] & ~running[1:])
    if not len(stops):
        return False
    for bank in case.banks:
        entry = case.ticks(f"closed_loop_entry_b{bank}_s")[: stops[0] + 1]
        if not np.any(np.isfinite(entry)):
            return True
    return False


def _coolant(case: Case, since: float) -> Finding:
    plateau = case.last("plateau_c", case.run.began)
    slopes = case.ticks("ect_slope_cpm")
    known = slopes[np.isfinite(slopes)]
    steepest = f"{float(known.max()):.1f} °C a minute at most" if len(known) else ""
    limit, after = case.limits["thermostat_c"], case.limits["thermostat_after_s"]
    if not math.isfinite(plateau):
        text = f"Coolant: {steepest or 'slope not known yet'}; it has not levelled off."
        return Finding("engine", text)
    text = f"Coolant: {steepest}; it levels off at {plateau:.0f} °C"
    if plateau >= limit:
        return Finding("engine", f"{text}, limit {limit:.0f} °C: good.")
    if since < after:
        return Finding("engine", f"{text}, but {after / 60:.0f} minutes are not over.")
    return Finding("engine", f"{text}, limit {limit:.0f} °C: too cool.")


def entry_limit(case: Case, start_c: float) -> float:
    """Longest time to closed loop for a coolant temperature at start. Unit: s."""
    if not math.isfinite(start_c) or start_c < COLD_LIMIT_C:
        return case.limits["closed_loop_cold_s"]
    name = "closed_loop_cool_s" if start_c < LATE_C else "closed_loop_warm_s"
    return case.limits[name]


def _loop(case: Case, bank: int) -> Finding:
    place = f"B{bank}"
    limit = entry_limit(case, case.last("ect_start_c"))
    entry = case.last(f"closed_loop_entry_b{bank}_s", case.run.began)
    if math.isfinite(entry):
        verdict = "in time" if entry <= limit else "late"
        hole = _hole_s(case, f"fuel_status_b{bank}", entry)
        if entry > limit >= entry - hole:
            verdict = f"cannot tell, a hole of {hole:.0f} s in the values"
        text = (
            f"{place} closed loop after {entry:.0f} s, limit {limit:.0f} s: {verdict}."
        )
        return Finding(place, text)
    waited = case.last(f"waiting_closed_b{bank}_s", case.run.began)
    if not math.isfinite(waited):
        return Finding(place, f"{place}: closed-loop entry was not seen.")
    late = ": late" if waited > limit else ""
    text = (
        f"{place} not in closed loop after {waited:.0f} s, limit {limit:.0f} s{late}."
    )
    return Finding(place, text)


def _wake_up(case: Case, place: str) -> Finding:
    low = place.lower()
    limit = case.limits["wake_up_s" if place.endswith("1") else "wake_up_rear_s"]
    woke = case.last(f"wake_up_{low}_s", case.run.began)
    if math.isfinite(woke):
        unsure = _unsure_s(case, low, woke)
        if woke > limit >= woke - unsure:
            text = f"{place} awake after {woke - unsure:.0f} to {woke:.0f} s, limit "
            text += f"{limit:.0f} s: cannot tell, a value every {unsure:.0f} s is slow."
            return Finding(place, text)
        verdict = "in time" if woke <= limit else "late"
        text = f"{place} awake after {woke:.0f} s, limit {limit:.0f} s: {verdict}."
        return Finding(place, text)
    asleep = case.last(f"asleep_{low}_s", case.run.began)
    if not math.isfinite(asleep):
        return Finding(place, f"{place}: its waking up was not seen.")
    late = ": late" if asleep > limit else ""
    text = f"{place} still asleep after {asleep:.0f} s, limit {limit:.0f} s{late}."
    return Finding(place, text)


def _unsure_s(case: Case, low: str, woke: float) -> float:
    """The longest silence of a sensor until it was awake. Unit: s."""
    names = (f"o2_{low}_v", f"lambda_{low}")
    return next((s for s in (_hole_s(case, n, woke) for n in names) if s), 0.0)


def _hole_s(case: Case, name: str, until: float) -> float:
    """The longest silence of a reading from the start on; 0 without values. Unit: s.

    Args:
        case: the run and its data.
        name: of the reading.
        until: seconds after the start.
    """
    start = case.last("start_t_s", case.run.began)
    t, _ = case.samples(name, start, start + until + 1.0)
    return float(np.max(np.diff(t))) if len(t) > 1 else 0.0


def _watch(case: Case) -> tuple[Figure, ...]:
    return (
        engine(case, "ect_c", "coolant", "°C"),
        derived(case, "since_start_s", "running", "s"),
    )


WARM_UP = GuidedTest(
    "warm-up",
    "Warm-up and closed-loop entry",
    "Heaters, sensors' wake-up, thermostat, and when each bank takes control.",
    Subject.ENGINE,
    ("carbon-monoxide", "hot-exhaust"),
    (
        Step(
            "key-on",
            "Cold engine: key on, wait",
            "Do not start yet. Coolant and intake air must read alike.",
            8.0,
        ),
        Step("start", "Start the engine", "Foot off the pedal. Let it idle.", 5.0),
        Step(
            "idle",
            "Let it idle",
            "Until every sensor is awake and every bank in closed loop.",
            60.0,
        ),
        Step(
            "drive",
            "Drive gently",
            "Until the coolant levels off; fifteen minutes judge the thermostat. Then "
            "end the test.",
        ),
    ),
    _judge,
    _watch,
    needs={
        **dict.fromkeys(
            ("o2_b1s1_v", "o2_b2s1_v", "lambda_b1s1", "lambda_b2s1"), WAKE_UP_HZ
        ),
        "ect_c": COOLANT_HZ,
    },
)
"""The warm-up."""
