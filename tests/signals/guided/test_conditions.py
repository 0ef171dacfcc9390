"""What spoils a guided test: a moving car, a diesel, a lost link, one bank, a rate."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from random import Random
from typing import Any

import numpy as np
import pytest

from bankwise.adapters.car.drive import Do, Drive, Leg
from bankwise.adapters.car.engines import INLINE_PRESSURE, INLINE_WIDE
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec, ControlSpec
from bankwise.signals.columns import Column, Columns, LinkChange
from bankwise.signals.guided import pace
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.conditions import obstacle
from bankwise.signals.guided.runs import END, runs
from bankwise.signals.guided.script import GuidedTest, Subject, moment
from bankwise.signals.guided.table import GUIDED, judge, subjects

MakeCase = Callable[..., Case]
Moments = Iterable[tuple[float, str]]


def level(columns: Columns, name: str, hz: float, until: float, v: float) -> None:
    """Adds a reading that stands still."""
    t = np.arange(0.0, until, 1 / hz) + 0.001
    columns.extend(name, t, np.full(len(t), v), np.full(len(t), 0.01))
    columns.end_s = max(columns.end_s, until)


def moments(test: GuidedTest, step_s: float = 20.0) -> list[tuple[float, str]]:
    """Every step of a test, one after another, and its end."""
    ids = [step.id for step in test.steps] + [END]
    return [(10.0 + step_s * place, id_) for place, id_ in enumerate(ids)]


def about(test: GuidedTest) -> str:
    """What a test is about in these tests."""
    return "engine" if test.subject is Subject.ENGINE else "B1S1"


def readings(until: float, hz: float = 20.0) -> Columns:
    """A warm car that idles, bank 1 alone, all readings still."""
    columns = Columns()
    for name, v in (
        ("o2_b1s1_v", 0.45), ("rpm", 750.0), ("ect_c", 90.0), ("stft_b1_pct", 0.0),
        ("ltft_b1_pct", 0.0), ("speed_kmh", 0.0), ("fuel_status_b1", 2.0),
        ("throttle_pct", 15.0), ("maf_gps", 4.0),
    ):  # fmt: skip
        level(columns, name, hz, until, v)
    return columns


@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
def test_a_diesel_is_refused_in_words(make_case: MakeCase, test: GuidedTest) -> None:
    """What judges spark ignition says so; a wire is a wire on any engine."""
    keys = moments(test)
    columns = readings(keys[-1][0] + 2)
    level(columns, "fuel_type", 1.0, 2.0, 4.0)
    found = judge(make_case(columns, test.id, about(test), keys))
    text = found[0].text
    if test.spark:
        assert found[0].outcome == "not-done"
        assert "this engine is a diesel" in text
    else:
        assert "diesel" not in text


@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
def test_a_car_that_moves_is_not_judged(make_case: MakeCase, test: GuidedTest) -> None:
    """A test for a standing car says how fast it went; road tests do not mind."""
    keys = moments(test)
    columns = readings(keys[-1][0] + 2)
    columns.signals.pop("speed_kmh")
    level(columns, "speed_kmh", 2.0, keys[-1][0] + 2, 23.0)
    case = make_case(columns, test.id, about(test), keys)
    found = judge(case)
    assert ("the car moved (23 km/h)" in found[0].text) == test.standing
    assert test.standing == any("car stands" in s.detail for s in test.steps[:1]) or (
        "car-stands" in test.cautions
    )
    now = replace(case, now_s=30.0)
    said = obstacle(test, now)
    assert said.startswith("the car moves (23 km/h)" if test.standing else "")
    assert bool(said) == test.standing


@pytest.mark.parametrize("id_", ["circuit", "wiggle"])
def test_a_running_engine_is_said_at_once(make_case: MakeCase, id_: str) -> None:
    """Before the next step, not after the last."""
    case = make_case(readings(30.0), id_, "B1S1", [(10.0, GUIDED[id_].steps[0].id)])
    said = obstacle(GUIDED[id_], replace(case, now_s=29.0))
    assert said == "the engine runs (750 rpm): turn it off, key on"
    assert "key on" in GUIDED[id_].steps[0].say.lower()


@pytest.mark.parametrize("comes_back", [True, False], ids=["back", "gone"])
@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
def test_a_lost_link_is_told_and_gives_no_verdict(
    make_case: MakeCase, test: GuidedTest, comes_back: bool
) -> None:
    """The cable pulled in any step: said with moment, reason and step."""
    keys = moments(test)
    for place, (t, step) in enumerate(keys[:-1]):
        until = t + 9.0 if comes_back else keys[-1][0] + 2
        columns = readings(keys[-1][0] + 2)
        for name, column in list(columns.signals.items()):
            there = (column.t < t + 3.0) | (column.t > until)
            columns.signals[name] = Column()
            columns.extend(name, *(a[there] for a in (column.t, column.v, column.d)))
        columns.link.append(LinkChange(0.1, "up"))
        columns.link.append(LinkChange(t + 3.0, "lost", "the port is gone"))
        if comes_back:
            columns.link.append(LinkChange(until, "back"))
        found = judge(make_case(columns, test.id, about(test), keys))
        ends = f"to {moment(until)}" if comes_back else "on"
        lost = (
            f"the link was lost from {moment(t + 3.0)} {ends} (the port is gone), in “"
        )
        told = [f for f in found if lost in f.text.replace("The link", "the link")]
        assert told, [f.text for f in found]
        assert {f.outcome for f in found if f.outcome} <= {"not-done", "done"}
        touched = [s for _, s in keys[place:-1]] if not comes_back else [step]
        if set(touched) & set(test.whole):
            assert [f.outcome for f in found if f.outcome] == ["not-done"]
            assert found[0].text.startswith("Not done: the link was lost")


@pytest.mark.parametrize(
    ("t", "words"), [(0.0, "0:00.0"), (9.96, "0:10.0"), (59.97, "1:00.0")]
)
def test_a_moment_is_told_as_the_clock_shows_it(t: float, words: str) -> None:
    """Minutes and seconds, rounded once."""
    assert moment(t) == words


def test_a_link_lost_before_the_run_spoils_nothing(make_case: MakeCase) -> None:
    """What was over before the first step is no matter."""
    test = GUIDED["circuit"]
    keys = moments(test)
    columns = readings(keys[-1][0] + 2)
    for t, state in ((0.1, "up"), (3.0, "lost"), (7.0, "back")):
        columns.link.append(LinkChange(t, state))
    found = judge(make_case(columns, test.id, "B1S1", keys))
    assert not any("The link" in finding.text for finding in found)


# --- rates ---------------------------------------------------------------------------


@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
def test_every_test_tells_its_rates(make_case: MakeCase, test: GuidedTest) -> None:
    """What was reached stands beside what was needed, in the pane and in the result."""
    assert test.needs
    keys = moments(test)
    for hz, verdict in ((20.0, "fast enough"), (0.05, "too slow for this test")):
        columns = readings(keys[-1][0] + 2, hz)
        case = make_case(columns, test.id, about(test), keys)
        *_, last = judge(case)
        assert last.outcome == ""
        assert last.text.startswith("Rates reached: ")
        assert f"{hz:.1f} readings/s" in last.text
        assert verdict in last.text
        still = replace(case, now_s=keys[-1][0])
        shown = pace.words(pace.live(test, still))
        assert shown
        assert any(("fast enough" in line) == (hz > 1) for line in shown)


def test_a_rate_is_measured_and_compared(make_case: MakeCase) -> None:
    """Four a second of one, where ten are needed; the one that lacks leads."""
    columns = Columns()
    level(columns, "o2_b1s1_v", 20.0, 60.0, 0.45)
    level(columns, "o2_b2s1_v", 4.0, 60.0, 0.45)
    test = GUIDED["force-snap"]
    case = make_case(columns, test.id, "engine", [(10.0, "settle")])
    assert pace.live(test, replace(case, now_s=12.0)) == ()
    shown = pace.words(pace.live(test, replace(case, now_s=30.0)))
    assert shown == (
        "▲ B2S1 4.0 readings/s; 10 needed: too slow for this test",
        "B1S1 20.0 readings/s; 10 needed: fast enough",
    )


def test_a_reading_that_stopped_is_said(make_case: MakeCase) -> None:
    """Silence is no rate."""
    columns = Columns()
    level(columns, "o2_b1s1_v", 20.0, 30.0, 0.45)
    test = GUIDED["circuit"]
    case = make_case(columns, test.id, "B1S1", [(10.0, "connected")])
    shown = pace.words(pace.live(test, replace(case, now_s=42.0)))
    assert shown == ("▲ no reading of B1S1 for 12 s",)


# --- one bank, on the simulated car --------------------------------------------------

START = (Leg(Do.KEY_ON, 2), Leg(Do.START, 1.2))


@pytest.mark.parametrize(
    "fixed", [INLINE_PRESSURE, INLINE_WIDE], ids=["switching", "wide"]
)
def test_a_car_with_one_bank_has_no_second_one(
    drive_test: Callable[..., Any], fixed: dict[str, Any]
) -> None:
    """Every test runs on it, and no word is said of a bank it has not."""
    spec = CarSpec.random(
        Random(3), **{**fixed, "control": ControlSpec(closed_delay_s=5.0)}
    )
    legs = (*START, Leg(Do.IDLE, 400))
    car = Car(spec, (), Drive("asked", "what the steps ask for", legs), 3, 85.0)
    keys = [
        (14.0, "step", "settle"), (25.0, "step", "rich"), (34.0, "step", "recover"),
        (45.0, "step", END), (25.2, "hand", "propane engine 20"),
        (33.5, "hand", "propane engine 0"),
    ]  # fmt: skip
    found = drive_test(car, "force-gas", "engine", keys, 46.0)
    assert "B2" not in found.words()
    assert {about for _, about in found.outcomes()} == {"B1S1"}, found.words()
    run = runs(found.analysis.columns.marks)[-1]
    for test in GUIDED.values():
        case = Case(
            replace(run, test=test.id, about=about(test), steps={}, until=46.0),
            found.analysis.columns,
            found.analysis.engine.frame,
        )
        assert not [place for place in subjects(test, case) if place.startswith("B2")]
        whole = {s.id: (14.0 + i, 15.0 + i) for i, s in enumerate(test.steps)}
        told = judge(replace(case, run=replace(case.run, steps=whole)))
        assert told
        assert not [f for f in told if "B2" in f.text or f.about.startswith("B2")]
