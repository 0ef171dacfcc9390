"""Every guided test in one table, in the order of the job."""

from __future__ import annotations

from collections.abc import Mapping

from bankwise.signals.guided.breathing import BREATHING
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.circuit import CIRCUIT
from bankwise.signals.guided.conditions import link_notes, unfit
from bankwise.signals.guided.forcing_steps import BY_GAS, BY_SNAP
from bankwise.signals.guided.pace import finding as pace_finding
from bankwise.signals.guided.pull import PULL
from bankwise.signals.guided.road import ROAD
from bankwise.signals.guided.script import Finding, GuidedTest, Subject
from bankwise.signals.guided.steady import STEADY
from bankwise.signals.guided.unplug import UNPLUG
from bankwise.signals.guided.warm_up import WARM_UP
from bankwise.signals.guided.wiggle import WIGGLE

GUIDED: dict[str, GuidedTest] = {
    test.id: test
    for test in (
        WARM_UP,
        BY_GAS,
        BY_SNAP,
        CIRCUIT,
        WIGGLE,
        UNPLUG,
        PULL,
        STEADY,
        ROAD,
        BREATHING,
    )
}
"""Every guided test by id."""

FRONTS = ("B1S1", "B2S1")
SENSORS = ("B1S1", "B1S2", "B2S1", "B2S2")


def subjects(test: GuidedTest, case: Case) -> tuple[str, ...]:
    """What a test can be about on this car."""
    if test.subject is Subject.ENGINE:
        return ("engine",)
    if test.subject is Subject.FRONT:
        return tuple(place for place in FRONTS if case.sensor(place))
    # Nobody drives or bends the wires of a wide-band sensor for these tests.
    return tuple(place for place in SENSORS if case.has(f"o2_{place.lower()}_v"))


def judge(case: Case) -> tuple[Finding, ...]:
    """What a run has shown; a run broken off, or of an unknown test, shows nothing."""
    test = GUIDED.get(case.run.test)
    if test is None:
        return ()
    if case.run.broken:
        text = "Broken off: it says nothing. Begin it again when it can be finished."
        return (Finding(case.run.about, text, "not-done"),)
    wrong = unfit(test, case)
    found = (*test.judge(case), *link_notes(test, case)) if wrong is None else (wrong,)
    if not case.run.ended:
        return tuple(map(_so_far, found))
    return (*found, *pace_finding(test, case))


def _so_far(finding: Finding) -> Finding:
    """What is not done yet may still be done while the run lasts."""
    if finding.outcome != "not-done":
        return finding
    return Finding(finding.about, finding.text.replace("Not done:", "So far:", 1))


def rates(test: GuidedTest, about: str) -> Mapping[str, float] | None:
    """The poll rates a test asks for; None for the usual ones. Unit: Hz."""
    if not test.rates:
        return None
    return {name.format(s=about.lower()): hz for name, hz in test.rates.items()}
