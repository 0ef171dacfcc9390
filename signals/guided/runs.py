"""Runs of guided tests, as a session's marks tell them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from bankwise.signals.columns import Mark
from bankwise.signals.guided.script import Finding

END, BROKEN = "end", "broken-off"
"""Steps that only say that a run is over: at its end, or before it."""


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a test, as its marks tell it.

    Attributes:
        test: its id. about: what it is about.
        steps: begin and end of each step; the end of a running step is infinite.
        answers: step → yes or no, for steps that asked.
        given: facts noted before or during the run, by name.
        until: when it was over; infinite while it runs. Unit: seconds.
        broken: whether it was broken off.
    """

    test: str
    about: str
    steps: Mapping[str, tuple[float, float]]
    answers: Mapping[str, bool] = field(default_factory=dict)
    given: Mapping[str, str] = field(default_factory=dict)
    until: float = math.inf
    broken: bool = False

    @property
    def ended(self) -> bool:
        """Whether it is over."""
        return math.isfinite(self.until)

    @property
    def began(self) -> float:
        """When the first step began. Unit: seconds."""
        return min((start for start, _ in self.steps.values()), default=0.0)

    def span(self, step: str) -> tuple[float, float] | None:
        """Begin and end of a step; None when it was never begun."""
        return self.steps.get(step)


def step_tag(test: str, step: str, about: str) -> str:
    """The tag of the mark that begins a step, or ends the run."""
    return f"step:{test}:{step}:{about}"


def answer_tag(test: str, step: str, about: str, *, yes: bool) -> str:
    """The tag of the mark that answers a step's question."""
    return f"answer:{test}:{step}:{about}:{'yes' if yes else 'no'}"


def given_tag(test: str, name: str, value: str) -> str:
    """The tag of the mark that notes a fact for the run that begins next."""
    return f"given:{test}:{name}:{value}"


def jump_tag(test: str, about: str, t: float) -> str:
    """The tag of the mark that notes a jump of a reading, seen at `t`."""
    return f"jump:{test}:{about}:{t:.3f}"


def result_tag(test: str, finding: Finding) -> str:
    """The tag of the mark that notes a result."""
    return f"test:{test}:{finding.outcome}:{finding.about}"


def runs(marks: Iterable[Mark]) -> tuple[Run, ...]:
    """Every run of a guided test, in the order they began."""
    found: list[Run] = []
    waiting: dict[str, dict[str, str]] = {}
    for mark in marks:
        kind, *parts = mark.tag.split(":")
        if kind == "step" and len(parts) == 3:
            test, step, about = parts
            _step(found, mark.t, test, step, about)
            if found and not found[-1].ended and found[-1].test == test:
                given = {**found[-1].given, **waiting.pop(test, {})}
                found[-1] = replace(found[-1], given=given)
        elif kind == "answer" and len(parts) == 4 and found:
            run = found[-1]
            if run.test == parts[0] and not run.ended:
                answers = {**run.answers, parts[1]: parts[3] == "yes"}
                found[-1] = replace(run, answers=answers)
        elif kind == "given" and len(parts) == 3:
            waiting.setdefault(parts[0], {})[parts[1]] = parts[2]
    return tuple(found)


def _step(found: list[Run], t: float, test: str, step: str, about: str) -> None:
    last = found[-1] if found and not found[-1].ended else None
    same = last is not None and (last.test, last.about) == (test, about)
    over = step in (END, BROKEN)
    if last is not None:
        steps = {name: (a, min(b, t)) for name, (a, b) in last.steps.items()}
        if same and not over and step not in steps:
            found[-1] = replace(last, steps={**steps, step: (t, math.inf)})
            return
        # A run that another one cuts short was broken off.
        broken = not (same and step == END)
        found[-1] = replace(last, steps=steps, until=t, broken=broken)
    if not over:
        found.append(Run(test, about, {step: (t, math.inf)}))
