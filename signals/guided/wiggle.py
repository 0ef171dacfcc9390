"""The wiggle watch: does the reading jump while the harness is moved?"""

from __future__ import annotations

import numpy as np

from bankwise.signals.columns import Floats
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.circuit import RATES, wide_band
from bankwise.signals.guided.figures import sensors
from bankwise.signals.guided.reading import trace
from bankwise.signals.guided.script import (
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
    moment,
)

JUMP_V = 0.15
"""A step between neighbouring values that a harness at rest does not make. Unit: V.
Common practice, no source."""
SLOWEST_HZ = 5.0
"""Below this a loose contact comes and goes unseen. Unit: Hz. Our choice, because a
hand moves a harness about twice a second."""
NEAR_S = 2.0
"""Values farther apart are no neighbours. Unit: s. Our choice, because a reading may
change by itself meanwhile."""
LEAST_VALUES = 20


def jumps(values: Floats, times: Floats) -> Floats:
    """Moments at which the reading jumped between neighbouring values. Unit: s."""
    near = np.diff(times) < NEAR_S
    return times[1:][(np.abs(np.diff(values)) > JUMP_V) & near]


def new_jumps(case: Case, since: float) -> Floats:
    """Jumps of this run's reading after a moment. Unit: s."""
    span = case.span("wiggle")
    if span is None:
        return np.empty(0)
    seen = trace(case, case.run.about, *span)
    if seen is None or seen.wide:
        return np.empty(0)
    found = jumps(seen.v, seen.t)
    return found[found > since]


def _judge(case: Case) -> tuple[Finding, ...]:
    place = case.run.about
    wide = wide_band(case, place)
    if wide is not None:
        return (wide,)
    span = case.span("wiggle")
    if span is not None and case.engine_ran_since(span[0]):
        text = f"{place}: not judged, the engine ran. Key on, engine off, and again."
        return (Finding(place, text),)
    seen = None if span is None else trace(case, place, *span)
    if seen is None or len(seen.t) < LEAST_VALUES:
        return (Finding(place, f"{place}: cannot tell yet, too few values."),)
    at = jumps(seen.v, seen.t)
    hz, seconds = 1 / seen.step_s, float(seen.t[-1] - seen.t[0])
    if len(at):
        shown = ", ".join(moment(t) for t in at[:5].tolist())
        more = f" and {len(at) - 5} more" if len(at) > 5 else ""
        count = f"{len(at)} jump" + ("s" if len(at) > 1 else "")
        text = f"{place}: {count} while the harness was moved, at {shown}{more}."
        return (Finding(place, text, "circuit-bad"),)
    if hz < SLOWEST_HZ:
        text = (
            f"{place}: no jump seen, but at {hz:.1f} values a second one may be missed."
        )
        return (Finding(place, text),)
    text = (
        f"{place}: no jump in {seconds:.0f} s at {hz:.0f} values a second. It does not "
        "prove that every contact is good."
    )
    return (Finding(place, text),)


def _watch(case: Case) -> tuple[Figure, ...]:
    count = len(new_jumps(case, -np.inf))
    return (
        *sensors(case, (case.run.about,)),
        Figure("jumps", float(count)),
    )


WIGGLE = GuidedTest(
    "wiggle",
    "Wiggle the harness",
    "Whether the reading jumps while the harness is moved: the bell rings for each.",
    Subject.SENSOR,
    ("car-stands", "hot-exhaust", "ignition-off"),
    (
        Step(
            "keyed",
            "Key on, engine off",
            "The car stands, handbrake on. The reading must be still now.",
            3.0,
        ),
        Step(
            "wiggle",
            "Move the harness",
            "Bend it bit by bit, from the plug to the control unit; watch the figure "
            "and listen for the bell. Then end the test.",
            10.0,
        ),
    ),
    _judge,
    _watch,
    RATES,
    jumps=True,
    needs={"o2_{s}_v": SLOWEST_HZ},
    standing=True,
    engine_off=True,
    spark=False,
    whole=("wiggle",),
)
"""The wiggle watch."""
