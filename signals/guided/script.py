"""What a guided test is: a script of steps, a judgement, and what it needs polled.

Marks carry a run: `step:<test>:<step>:<about>` when a step begins, the step `end` or
`broken-off` when the run is over, and `test:<test>:<outcome>:<about>` for each result.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bankwise.signals.guided.case import Case

FASTEST_HZ = 50.0
"""Asked for when a reading is wanted as fast as the link goes. Unit: Hz. Source: our
choice, because no adapter answers more often."""


class Subject(Enum):
    """What a person chooses before the first step."""

    ENGINE = "engine"
    FRONT = "front sensor"
    SENSOR = "sensor"


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what to do, in words that are read from the passenger seat.

    Attributes:
        id: short name, unique in its test.
        say: what to do, a few big words.
        detail: how, and what to look up in the service information.
        least_s: how long it should last before going on. Unit: seconds.
        asks: whether `say` is a question that a person answers with yes or no.
    """

    id: str
    say: str
    detail: str
    least_s: float = 0.0
    asks: bool = False


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a test found.

    Attributes:
        about: bank, sensor or engine.
        text: the finding with its figures, one sentence.
        outcome: one of `code_marks.OUTCOMES` when rules and ledger may use it, else
            empty: a finding that only informs, or that cannot tell.
    """

    about: str
    text: str
    outcome: str = ""


def moment(t_s: float) -> str:
    """A moment of the session as the screen's clock shows it: `m:ss.s`. Unit: s."""
    tenths = round(10 * t_s)
    return f"{tenths // 600}:{tenths % 600 / 10:04.1f}"


def undone(about: str, why: str, instead: str) -> Finding:
    """The result of a test that was not made as asked: why, and what to do instead."""
    return Finding(about, f"Not done: {why}. {instead}", "not-done")


@dataclass(frozen=True, slots=True)
class Figure:
    """One live figure of a step.

    Attributes:
        label: what it is, in a word or two.
        value: the newest value, NaN for none.
        unit: as printed.
        decimals: digits after the point.
        bank: whose colour it has, None for the engine's.
    """

    label: str
    value: float
    unit: str = ""
    decimals: int = 0
    bank: int | None = None


Judge = Callable[["Case"], tuple[Finding, ...]]
Watch = Callable[["Case"], tuple[Figure, ...]]


@dataclass(frozen=True, slots=True)
class GuidedTest:
    """One guided test.

    Attributes:
        id: stable; it stands in marks.
        title: as listed.
        decides: what its result tells, in one sentence.
        subject: what is chosen before it starts.
        cautions: ids in `cautions.CAUTIONS`, shown before the first step.
        steps: in order.
        judge: what the data so far shows; called live and on replay.
        watch: the live figures.
        rates: polled at these rates meanwhile, with `{s}` for the sensor and `{b}` for
            the bank it is about; empty leaves the usual ones. Unit: Hz.
        jumps: whether jumps of the reading are marked and rung for as they come.
        wants: facts taken before the first step, by their name in marks.
        needs: readings a second below which it cannot be judged, named like `rates`.
            Unit: Hz.
        standing: whether the car must stand.
        engine_off: whether the engine must be off, key on.
        spark: whether it says anything of spark ignition only.
        whole: steps that a lost link spoils.
    """

    id: str
    title: str
    decides: str
    subject: Subject
    cautions: tuple[str, ...]
    steps: tuple[Step, ...]
    judge: Judge
    watch: Watch
    rates: Mapping[str, float] = field(default_factory=dict)
    jumps: bool = False
    wants: tuple[str, ...] = ()
    needs: Mapping[str, float] = field(default_factory=dict)
    standing: bool = False
    engine_off: bool = False
    spark: bool = True
    whole: tuple[str, ...] = ()
