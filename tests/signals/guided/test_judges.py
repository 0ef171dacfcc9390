"""Judgements on hand-written series: right, wrong, too slow, with a hole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bankwise.signals.columns import Columns, Floats, Mark, Vehicle
from bankwise.signals.guided.breathing import litres
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.circuit import DRIVEN, hits
from bankwise.signals.guided.reading import Trace, answer
from bankwise.signals.guided.road import FREEZE_FRAME, frame_words, legs
from bankwise.signals.guided.runs import (
    END,
    answer_tag,
    given_tag,
)
from bankwise.signals.guided.steady import Pair
from bankwise.signals.guided.table import judge
from bankwise.signals.guided.wiggle import jumps

MakeCase = Callable[..., Case]
Wave = Callable[[Floats], Floats] | float


def trace(v: list[float], hz: float = 20.0, *, wide: bool = False) -> Trace:
    """Values from time 10 on, evenly spaced."""
    t = 10 + np.arange(len(v)) / hz
    return Trace(t, np.array(v), np.full(len(v), 0.02), wide)


def put(
    columns: Columns, name: str, hz: float, until: float, wave: Wave, start: float = 0.0
) -> None:
    """Adds a signal: a wave over time, or a level."""
    t = np.arange(start, until, 1 / hz) + 0.001
    v = np.full(len(t), wave) if isinstance(wave, float | int) else wave(t)
    columns.extend(name, t, v, np.full(len(t), 0.01))
    columns.end_s = max(columns.end_s, until)


def steps(*levels: tuple[float, float]) -> Callable[[Floats], Floats]:
    """A staircase: (from time, level)."""

    def wave(t: Floats) -> Floats:
        out = np.full(len(t), levels[0][1])
        for start, level in levels:
            out[t >= start] = level
        return out

    return wave


# --- one sensor's answer -------------------------------------------------------------


def test_an_answer_has_a_delay_and_a_passage_between_bounds() -> None:
    """Lean until 10.5 s, two values on the way, rich from 10.65 s on: hand-counted."""
    seen = trace([0.1] * 10 + [0.35, 0.5] + [0.8] * 30)
    told = answer(seen, 10.0, rich=True, hold_s=1.0)
    assert told.followed
    assert told.delay_s == pytest.approx((0.54, 0.61))
    assert told.passage_s == pytest.approx((0.03, 0.17))
    assert told.extreme == pytest.approx(0.8)


def test_one_that_stays_does_not_follow() -> None:
    """Its farthest value is told."""
    told = answer(trace([0.1] * 40 + [0.4]), 10.0, rich=True, hold_s=1.0)
    assert told.followed is False
    assert told.extreme == pytest.approx(0.4)


def test_a_short_visit_does_not_count() -> None:
    """Half a second rich may be a sensor's own switching: neither yes nor no."""
    told = answer(trace([0.1] * 20 + [0.8] * 10 + [0.1] * 20), 10.0, True, 1.0)
    assert told.followed is None
    assert told.touched


def test_a_stay_must_outlast_the_sensors_own() -> None:
    """1.5 s rich is an answer, unless it stays a second by itself."""
    seen = trace([0.1] * 20 + [0.8] * 30 + [0.1] * 20)
    assert answer(seen, 10.0, True, 1.0).followed
    assert answer(seen, 10.0, True, 1.0, 2.0).followed is None


def test_who_is_there_already_has_not_answered() -> None:
    """Rich from the first value on says nothing; leaving and coming back does."""
    told = answer(trace([0.8] * 60), 10.0, rich=True, hold_s=1.0)
    assert told.followed is None
    assert told.already
    back = trace([0.8] * 30 + [0.1] * 10 + [0.8] * 30)
    assert answer(back, 10.0, rich=True, hold_s=1.0).delay_s == pytest.approx(
        (1.94, 2.01)
    )


@pytest.mark.parametrize("hz", [1.0, 1.9])
def test_too_slow_is_no_verdict(hz: float) -> None:
    """Fewer than two values in the time it must hold say nothing."""
    told = answer(trace([0.1] * 20, hz), 10.0, rich=True, hold_s=1.0)
    assert told.followed is None
    assert "sampled at" in told.why


def test_a_hole_is_no_verdict_but_what_was_seen_counts() -> None:
    """A silence of 3 s may hide an answer; an answer beside it stands."""
    t = np.concatenate([10 + np.arange(20) / 20, 14 + np.arange(40) / 20])
    lean = Trace(t, np.full(60, 0.1), np.full(60, 0.02), wide=False)
    told = answer(lean, 10.0, rich=True, hold_s=1.0)
    assert told.followed is None
    assert "a hole of 3" in told.why
    v = np.where(t >= 14.5, 0.8, 0.1)
    assert answer(Trace(t, v, lean.d, wide=False), 10.0, True, 1.0).followed


def test_a_stay_is_not_stretched_over_a_hole() -> None:
    """Rich before and after 3 s of silence, 0.2 s each: not held for a second."""
    t = np.concatenate([10 + np.arange(5) / 20, 13.2 + np.arange(5) / 20])
    seen = Trace(t, np.full(10, 0.8), np.full(10, 0.02), wide=False)
    assert answer(seen, 10.0, rich=True, hold_s=1.0).followed is None


def test_wide_band_goes_the_other_way() -> None:
    """λ below 0.95 is rich, above 1.05 lean."""
    seen = trace([1.0] * 10 + [0.85] * 30, wide=True)
    assert answer(seen, 10.0, rich=True, hold_s=1.0).followed
    assert answer(seen, 10.0, rich=False, hold_s=1.0).followed is False


# --- force ---------------------------------------------------------------------------


def forcing(
    make_case: MakeCase,
    b1: Any,
    b2: Any,
    trims: Any,
    hz: float = 20.0,
    trims2: Any = 0.0,
    **more: Any,
) -> Any:
    """A gas test: rich 30-40, lean 50-60, over at 90; bank 2 trims as `trims2`."""
    columns = Columns()
    put(columns, "o2_b1s1_v", hz, 95, b1)
    put(columns, "o2_b2s1_v", hz, 95, b2)
    put(columns, "stft_b1_pct", 3, 95, trims)
    put(columns, "stft_b2_pct", 3, 95, trims2)
    for name, wave in more.items():
        put(columns, name, 5, 95, wave)
    moments = (
        (20, "settle"), (30, "rich"), (40, "recover"), (50, "lean"), (60, "closed"),
        (63, "rears"), (90, END),
    )  # fmt: skip
    found = judge(make_case(columns, "force-gas", "engine", moments))
    return {(f.outcome, f.about) for f in found if f.outcome}, found


FOLLOWS = steps((0, 0.45), (31, 0.85), (40, 0.45), (51, 0.1), (60, 0.45))
LIES_LEAN = steps((0, 0.05))
CORRECTED = steps((0, 0.0), (32, -8.0), (40, 0.0), (52, 8.0), (60, 0.0))
IDLE_WAVE = steps((0, 0.0))


def test_one_follows_and_one_lies(make_case: MakeCase) -> None:
    """The same stimulus, and a rear sensor that saw it: cleared and condemned."""
    outcomes, _ = forcing(make_case, FOLLOWS, LIES_LEAN, CORRECTED, o2_b2s2_v=0.8)
    assert outcomes == {
        ("answers-forcing", "B1S1"),
        ("ignores-forcing", "B2S1"),
    }


def test_a_bank_that_may_really_be_lean_is_not_condemned(make_case: MakeCase) -> None:
    """No rear sensor, or one that agrees: more gas first, no verdict."""
    for rear in ({}, {"o2_b2s2_v": 0.05}):
        outcomes, found = forcing(make_case, FOLLOWS, LIES_LEAN, CORRECTED, **rear)
        assert outcomes == {("answers-forcing", "B1S1")}
        assert "may really be so lean" in " ".join(f.text for f in found)


def test_an_open_sensor_is_condemned_without_a_rear(make_case: MakeCase) -> None:
    """No mixture reads 0.45 V steadily."""
    outcomes, _ = forcing(make_case, FOLLOWS, 0.45, CORRECTED)
    assert outcomes == {("answers-forcing", "B1S1"), ("ignores-forcing", "B2S1")}


def test_a_trim_that_answers_contradicts_its_own_sensor(make_case: MakeCase) -> None:
    """The trim listens to the front sensor: when it moved, no verdict on the latter."""
    outcomes, found = forcing(
        make_case, FOLLOWS, LIES_LEAN, CORRECTED, trims2=CORRECTED, o2_b2s2_v=0.8
    )
    assert ("ignores-forcing", "B2S1") not in outcomes
    assert "its trim moved -8.0 %" in " ".join(f.text for f in found)


def switching(period_s: float) -> Callable[[Floats], Floats]:
    """A sensor's own switching, square."""

    def wave(t: Floats) -> Floats:
        return np.where((t % period_s) < period_s / 2, 0.85, 0.1)

    return wave


@pytest.mark.parametrize("period_s", [0.8, 1.5, 2.0, 3.1, 6.0])
def test_a_closed_loop_alone_gives_no_verdict(
    make_case: MakeCase, period_s: float
) -> None:
    """Nothing was fed: however slowly a loop switches, nobody follows or ignores."""
    wave = switching(period_s)
    for trims in (IDLE_WAVE, lambda t: 2 * np.sin(t), lambda t: t / 60):
        outcomes, found = forcing(make_case, wave, wave, trims, trims2=trims)
        assert outcomes == {("not-done", "engine")}
        *judged, rates = found
        assert all("not" in f.text for f in judged)
        assert rates.text.startswith("Rates reached: ")


def test_a_loop_that_takes_the_gas_out_has_followed(make_case: MakeCase) -> None:
    """A trickle leaves the sensor switching; its trim tells that it answered."""
    outcomes, found = forcing(make_case, switching(1.2), switching(1.2), CORRECTED)
    assert outcomes == {("answers-forcing", "B1S1")}
    assert "took the stimulus out by -8.0 %" in " ".join(f.text for f in found)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"rpm": steps((0, 2000.0), (34, 0.0), (45, 2000.0))}, "stood still"),
        ({"ect_c": 35.0}, "warm the engine up"),
        ({"fuel_status_b1": 1.0, "fuel_status_b2": 1.0}, "open loop"),
        ({"throttle_pct": steps((0, 20.0), (32, 50.0), (36, 20.0))}, "throttle"),
    ],
    ids=["stalled", "cold", "open loop", "throttle moved"],
)
def test_an_unfit_engine_is_not_judged(
    make_case: MakeCase, more: dict[str, Any], words: str
) -> None:
    """Stalled, cold, open loop, a foot that moves: the direction says nothing."""
    outcomes, found = forcing(
        make_case, FOLLOWS, LIES_LEAN, CORRECTED, o2_b2s2_v=0.8, **more
    )
    assert words in found[0].text
    assert ("not-done", "engine") in outcomes
    assert ("ignores-forcing", "B2S1") not in outcomes or "Forced rich" in found[0].text


def test_too_slow_condemns_nobody(make_case: MakeCase) -> None:
    """At one value a second nothing is said of any sensor."""
    outcomes, found = forcing(make_case, LIES_LEAN, LIES_LEAN, IDLE_WAVE, hz=1.0)
    assert outcomes == set()
    text = " ".join(f.text for f in found)
    assert "ignores" not in text
    assert "sampled at 1.0 Hz" in text


def test_one_way_only_is_said(make_case: MakeCase) -> None:
    """Without the lean step a sensor that followed rich is not cleared."""
    columns = Columns()
    put(columns, "o2_b1s1_v", 20, 60, FOLLOWS)
    case = make_case(
        columns, "force-gas", "engine", ((20, "settle"), (30, "rich"), (45, END))
    )
    told = [(f.outcome, f.about) for f in judge(case) if f.outcome]
    assert told == [("forced-one-way", "B1S1")]


def test_while_a_step_runs_nobody_is_condemned(make_case: MakeCase) -> None:
    """A sensor that has not followed yet may still do so."""
    columns = Columns()
    put(columns, "o2_b1s1_v", 20, 32, LIES_LEAN)
    put(columns, "stft_b1_pct", 3, 32, CORRECTED)
    case = make_case(columns, "force-gas", "engine", ((20, "settle"), (30, "rich")))
    assert judge(case) == ()


# --- circuit and wiggle --------------------------------------------------------------


def circuit(
    make_case: MakeCase,
    wave: Any,
    hz: float = 40.0,
    rpm: float | Wave = 0.0,
    driven: bool | None = True,
) -> Any:
    """Unplugged at 10, first wire 20-25, second 25-30, over at 35."""
    columns = Columns()
    put(columns, "o2_b2s1_v", hz, 36, wave)
    put(columns, "rpm", 2.0, 36, rpm)
    moments = (
        (5, "connected"), (10, "unplugged"), (20, "first-wire"),
        (24.5, "first-driven"), (25, "second-wire"), (29.5, "second-driven"),
        (30, "reconnected"), (35, END),
    )  # fmt: skip
    case = make_case(columns, "circuit", "B2S1", moments)
    given = {} if driven is None else dict.fromkeys(DRIVEN.values(), driven)
    found = judge(replace(case, run=replace(case.run, answers=given)))
    return [f.outcome for f in found if f.outcome], " ".join(f.text for f in found)


OPEN = (10, 0.45)


@pytest.mark.parametrize(
    ("levels", "outcome", "words"),
    [
        (((21, 1.1), (21.5, 0.45), (26, 0.0), (27, 0.45)), "circuit-good", "both ends"),
        (((21, 1.1), (21.5, 0.45)), "circuit-bad", "never reached the low end"),
        (((26, 0.0), (27, 0.45)), "circuit-bad", "never reached the high end"),
        ((), "circuit-bad", "does not follow its wires"),
        (((21, 1.1), (21.02, 0.45), (26, 0.0), (26.02, 0.45)), "circuit-good", "high"),
        (((21, 1.1), (26, 0.45), (27, 0.0), (28, 0.45)), "circuit-good", "both ends"),
        (((21, 1.1), (26, 0.0), (28, 0.45)), "circuit-good", "both ends"),
        (((21, 1.1), (26, 0.45), (27, 1.1)), "circuit-bad", "never reached the low"),
    ],
    ids=[
        "good",
        "no low",
        "no high",
        "dead",
        "one value each",
        "let go late",
        "changed at once",
        "the same twice",
    ],
)
def test_the_circuit_is_judged_by_its_ends(
    make_case: MakeCase, levels: Any, outcome: str, words: str
) -> None:
    """Both ends reached is good, whatever order; one single value is a hit."""
    outcomes, text = circuit(make_case, steps((0, 0.6), OPEN, *levels))
    assert outcomes == [outcome]
    assert words in text


def test_a_wire_still_held_is_no_hit_of_the_next(make_case: MakeCase) -> None:
    """The first wire's level goes on in the second's step: nobody is accused."""
    outcomes, text = circuit(make_case, steps((0, 0.6), OPEN, (21, 1.1), (31, 0.45)))
    assert outcomes == []
    assert "second wire: cannot tell, the reading was still 1.10 V" in text
    assert text.count("went high") == 1
    assert "no verdict, the reading was still" in text


def test_a_running_engine_gives_no_circuit_verdict(make_case: MakeCase) -> None:
    """A closed loop moves the reading by itself: nothing is concluded."""
    outcomes, text = circuit(make_case, steps((0, 0.6), OPEN), rpm=750.0)
    assert outcomes == []
    assert "the engine ran" in text


def test_no_rest_at_bias_is_no_verdict(make_case: MakeCase) -> None:
    """At zero it is a shorted wire or a plug still on: the person looks first."""
    outcomes, text = circuit(make_case, steps((0, 0.02)))
    assert outcomes == []
    assert "not where an open input rests" in text
    assert "plug is off" in text


def test_an_engine_stopped_before_the_plug_is_no_hindrance(
    make_case: MakeCase,
) -> None:
    """Only from the pulled plug on must it stand still."""
    wave = steps((0, 0.6), OPEN, (21, 1.1), (21.5, 0.45), (26, 0.0), (27, 0.45))
    outcomes, _ = circuit(make_case, wave, rpm=steps((0, 800.0), (8, 0.0)))
    assert outcomes == ["circuit-good"]


@pytest.mark.parametrize("driven", [False, None])
def test_a_wire_not_driven_cannot_fail(
    make_case: MakeCase, driven: bool | None
) -> None:
    """Nobody touched a wire, or nobody said so: no verdict."""
    outcomes, text = circuit(make_case, steps((0, 0.6), OPEN), driven=driven)
    assert outcomes == []
    assert "must be driven for a verdict" in text


def test_a_slow_link_gives_no_circuit_verdict(make_case: MakeCase) -> None:
    """At less than a value a second a touch may be missed: it says so."""
    outcomes, text = circuit(make_case, steps((0, 0.6), OPEN), hz=0.7)
    assert outcomes == []
    assert "too few values" in text


def test_a_plug_still_on_gives_no_verdict(make_case: MakeCase) -> None:
    """A reading that switches has not been unplugged."""
    outcomes, text = circuit(make_case, lambda t: 0.45 + 0.4 * np.sin(6 * t))
    assert outcomes == []
    assert "does not rest" in text


def test_every_hit_is_caught_with_level_and_time() -> None:
    """One value high, three low: two hits, in order."""
    seen = trace([0.45] * 5 + [1.1] + [0.45] * 5 + [0.1, 0.02, 0.1] + [0.45] * 3)
    found = hits(seen, 0.45)
    assert [(hit.high, round(hit.level, 2)) for hit in found] == [
        (True, 1.1),
        (False, 0.02),
    ]
    assert found[0].t == pytest.approx(10.25)
    assert found[0].seen_s == 0.0
    assert found[1].seen_s == pytest.approx(0.1)


def test_jumps_are_between_neighbours() -> None:
    """A slow drift is none; there and back is two."""
    t = np.arange(200) / 20
    v = 0.3 + 0.02 * t
    assert len(jumps(v, t)) == 0
    v[100] = 0.9
    assert jumps(v, t) == pytest.approx([5.0, 5.05])


def test_a_slow_wiggle_says_so(make_case: MakeCase) -> None:
    """No jump at 3 Hz does not clear a harness."""
    columns = Columns()
    put(columns, "o2_b1s2_v", 3, 40, 0.45)
    case = make_case(columns, "wiggle", "B1S2", ((5, "wiggle"), (35, END)))
    found, rates = judge(case)
    assert rates.text == (
        "Rates reached: B1S2 3.0 readings/s; 5 needed: too slow for this test."
    )
    assert found.outcome == ""
    assert "may be missed" in found.text


# --- unplug --------------------------------------------------------------------------


def unplugging(
    make_case: MakeCase,
    said: tuple[bool, bool] | None,
    *more: tuple[str, float, Any],
    other: float = 0.0,
) -> Any:
    """B2S1 off from 40 s; bank 1's trim moves by `other` meanwhile."""
    columns = Columns()
    put(columns, "rpm", 5, 110, 780.0)
    put(columns, "o2_b2s1_v", 5, 110, steps((0, 0.05), (41, 0.45)))
    put(columns, "stft_b1_pct", 2, 110, steps((0, 1.0), (40, 1.0 + other)))
    put(columns, "stft_b2_pct", 2, 110, steps((0, 25.0), (45, 0.0)))
    put(columns, "fuel_status_b1", 2, 110, 2.0)
    put(columns, "fuel_status_b2", 2, 110, steps((0, 2.0), (45, 8.0)))
    for name, hz, wave in more:
        columns.signals.pop(name, None)
        if hz:
            put(columns, name, hz, 110, wave)
    if said is not None:
        for t, step, yes in ((95, "runs-right", said[0]), (97, "smell-gone", said[1])):
            tag = answer_tag("unplug", step, "B2S1", yes=yes)
            columns.marks.append(Mark(float(t), "", tag))
    moments = (
        (10, "before"), (40, "unplugged"), (94, "runs-right"), (96, "smell-gone"),
        (98, "plugged"), (105, END),
    )  # fmt: skip
    found = judge(make_case(columns, "unplug", "B2S1", moments))
    return [f.outcome for f in found if f.outcome], " ".join(f.text for f in found)


@pytest.mark.parametrize(
    ("said", "outcomes"),
    [
        ((True, True), ["right-unplugged"]),
        ((False, False), ["wrong-unplugged"]),
        ((True, False), []),
        ((False, True), []),
        (None, ["not-done"]),
    ],
)
def test_the_person_answers_and_the_data_agrees(
    make_case: MakeCase, said: Any, outcomes: list[str]
) -> None:
    """Two yes or two no decide; anything between does not."""
    assert unplugging(make_case, said)[0] == outcomes


def test_another_bank_that_moves_spoils_it(make_case: MakeCase) -> None:
    """Something else changed at the same time: no verdict."""
    outcomes, text = unplugging(make_case, (True, True), other=9.0)
    assert outcomes == []
    assert "B1's trims moved" in text


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("rpm", 5, steps((0, 780.0), (60, 0.0))), "the engine did not run with"),
        (("rpm", 0, 0.0), "engine speed was not seen"),
        (("rpm", 5, steps((0, 780.0), (60, 2400.0))), "Let it idle in both"),
        (("o2_b2s1_v", 5, 0.45), "do the circuit check"),
        (("o2_b2s1_v", 0.1, 0.1), "faster adapter"),
        (("fuel_status_b2", 2, 8.0), "not seen in closed loop before"),
        (("fuel_status_b2", 2, 2.0), "not seen to leave closed loop"),
        (("fuel_status_b1", 2, steps((0, 2.0), (60, 8.0))), "Leave it alone"),
        (("stft_b1_pct", 0, 0.0), "Leave it alone"),
        (("stft_b2_pct", 2, 4.0), "nothing unusual before"),
        (("stft_b2_pct", 0, 0.0), "trims were not seen before"),
    ],
)
@pytest.mark.parametrize("yes", [True, False])
def test_answers_alone_give_no_verdict(
    make_case: MakeCase, more: tuple[str, float, Any], words: str, yes: bool
) -> None:
    """Whatever was not as asked: no verdict on sensor or mixture, and what to do."""
    if more[0] == "stft_b1_pct":
        # A bank that shows its sensor counts as a bank.
        more = ("stft_b1_pct", 0.02, 0.0)
    outcomes, text = unplugging(make_case, (yes, yes), more)
    assert set(outcomes) <= {"not-done"}
    assert words in text


# --- idle against 2500 ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("idle", "held", "words"),
    [
        (18, 2, "leak"),
        (2, 14, "fuel supply"),
        (14, 15, "alike at both"),
        (20, 11, "alike at both"),
        (16, 7, "fading"),
        (-16, -1, "takes away at idle only"),
        (-2, -14, "breathes less"),
        (-12, -13, "alike at both"),
        (4, 6, ""),
    ],
)
def test_patterns_have_names(idle: float, held: float, words: str) -> None:
    """Hand-made pairs: each pattern is named, a usual pair is not."""
    found = Pair(idle, held).pattern(10.0, 5.0)
    assert words in found
    assert bool(words) == bool(found)


def steadily(
    make_case: MakeCase, held_rpm: float = 2500.0, hz: float = 2.0, status: float = 2.0
) -> Any:
    """Idle 10-45 s, held 45-80 s, one bank that fades."""
    columns = Columns()
    put(columns, "rpm", max(hz, 0.2), 85, steps((0, 750), (46, held_rpm)))
    put(columns, "stft_b1_pct", hz, 85, steps((0, 6.0), (47, 1.0)))
    put(columns, "ltft_b1_pct", hz, 85, steps((0, 8.0), (47, 1.0)))
    put(columns, "fuel_status_b1", hz, 85, status)
    moments = ((10, "idle"), (45, "held"), (80, "rest"), (82, END))
    found = judge(make_case(columns, "idle-2500", "engine", moments))
    return [f.outcome for f in found if f.outcome], " ".join(f.text for f in found)


def test_total_trims_are_compared(make_case: MakeCase) -> None:
    """Short plus long: +14 at idle, +2 at 2500 rpm."""
    outcomes, text = steadily(make_case)
    assert outcomes == ["done"]
    assert "+14.0 % at idle, +2.0 % at 2500 rpm: adds at idle only" in text


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"held_rpm": 1900.0}, "2500 rpm was not held"),
        ({"hz": 0.1}, "too few values"),
        ({"status": 8.0}, "not in closed loop"),
    ],
)
def test_what_was_not_steady_is_not_judged(
    make_case: MakeCase, options: Any, words: str
) -> None:
    """Another speed, too few values or open loop: said, and no result."""
    outcomes, text = steadily(make_case, **options)
    assert outcomes == ["not-done"]
    assert words in text
    assert "then hold 2500 rpm as long" in text


# --- cut and pull


PARKED = 0.45
HOLE = (62.0, 65.0)


@pytest.mark.parametrize(
    ("front", "hz", "command", "words"),
    [
        (0.2, 10.0, 0.88, "not rich (0.20 V)"),
        (PARKED, 10.0, 0.88, "do the circuit check"),
        (0.2, 1.0, 0.88, "use a faster adapter"),
        (0.2, 10.0, 1.0, "asks for λ 1.00"),
        (0.2, -10.0, 0.88, "a hole of"),
    ],
    ids=["lying", "cold or unplugged", "slow", "no enrichment", "hole"],
)
def test_a_pull_blames_only_what_it_saw(
    make_case: MakeCase, front: float, hz: float, command: float, words: str
) -> None:
    """A sensor is called not rich only when the other one was and it was awake."""
    columns = Columns()
    put(columns, "rpm", 5, 90, steps((0, 1800.0), (60, 3500.0), (66, 1800.0)))
    put(columns, "throttle_pct", 5, 90, steps((0, 15.0), (60, 90.0), (66, 20.0)))
    put(columns, "speed_kmh", 2, 90, 60.0)
    put(columns, "load_pct", 5, 90, steps((0, 30.0), (60, 95.0), (66, 30.0)))
    put(columns, "lambda_cmd", 2, 90, steps((0, 1.0), (60, command), (66, 1.0)))
    put(columns, "fuel_status_b1", 2, 90, steps((0, 2.0), (60, 4.0), (66, 2.0)))
    put(columns, "o2_b1s1_v", abs(hz), 90, front)
    put(columns, "o2_b2s1_v", 10, 90, steps((0, 0.3), (60, 0.88), (66, 0.3)))
    if hz < 0:
        column = columns["o2_b1s1_v"]
        kept = (column.t < HOLE[0]) | (column.t > HOLE[1])
        t, v = column.t[kept].copy(), column.v[kept].copy()
        columns.signals.pop("o2_b1s1_v")
        columns.extend("o2_b1s1_v", t, v, np.full(len(t), 0.01))
    moments = ((20, "ready"), (55, "pull"), (80, "coast"), (86, END))
    found = judge(make_case(columns, "cut-and-pull", "engine", moments))
    text = " ".join(f.text for f in found if f.about == "B1S1")
    assert words in text
    assert ("not rich" in text) == (words.startswith("not rich"))


# --- warm-up, road, breathing --------------------------------------------------------


def test_a_start_not_seen_is_said(make_case: MakeCase) -> None:
    """An engine that already runs has no start to time."""
    columns = Columns()
    put(columns, "rpm", 5, 40, 800.0)
    put(columns, "ect_c", 1, 40, 88.0)
    put(columns, "iat_c", 1, 40, 25.0)
    case = make_case(columns, "warm-up", "engine", ((5, "key-on"), (35, END)))
    text = " ".join(f.text for f in judge(case))
    assert "Not cold: coolant 88 °C" in text
    assert "start was not seen" in text
    assert [f.outcome for f in judge(case) if f.outcome] == ["not-done"]


@pytest.mark.parametrize(("told", "odd"), [("2.9", False), ("9", True)])
def test_a_filling_that_cannot_be_blames_no_bank(
    make_case: MakeCase, told: str, odd: bool
) -> None:
    """With a displacement three times too large it asks for that first."""
    columns = Columns()
    put(columns, "rpm", 5, 60, steps((0, 1500.0), (30, 3500.0)))
    put(columns, "throttle_pct", 5, 60, steps((0, 14.0), (30, 92.0)))
    put(columns, "speed_kmh", 2, 60, 60.0)
    put(columns, "load_pct", 5, 60, steps((0, 30.0), (30, 95.0)))
    put(columns, "maf_gps", 5, 60, steps((0, 10.0), (30, 82.0)))
    put(columns, "iat_c", 1, 60, 20.0)
    put(columns, "baro_kpa", 1, 60, 100.0)
    tag = given_tag("breathing", "displacement", told)
    columns.marks.append(Mark(1.0, "", tag))
    case = make_case(columns, "breathing", "engine", ((5, "idle"), (55, END)))
    text = " ".join(f.text for f in judge(case))
    assert "Filling at full throttle" in text
    assert ("Check the displacement" in text) == odd
    assert "low in" not in text


def on_the_road(make_case: MakeCase, given: str = "") -> Case:
    """Warm idle for 70 s, then a steady cruise of 30 s."""
    columns = Columns()
    put(columns, "rpm", 5, 110, steps((0, 750), (80, 1900)))
    put(columns, "speed_kmh", 2, 110, steps((0, 0.0), (80, 70.0)))
    put(columns, "throttle_pct", 5, 110, steps((0, 12.0), (80, 22.0)))
    put(columns, "load_pct", 2, 110, steps((0, 20.0), (80, 38.0)))
    put(columns, "ect_c", 1, 110, 90.0)
    put(columns, "stft_b1_pct", 2, 110, 0.0)
    if given:
        tag = given_tag("road-plan", FREEZE_FRAME, given)
        columns.marks.append(Mark(1.0, "", tag))
    return make_case(columns, "road-plan", "engine", ((2, "drive"), (108, END)))


def test_legs_are_ticked_off_by_their_time(make_case: MakeCase) -> None:
    """Idle is done, the cruise too short, the rest missing."""
    case = on_the_road(make_case, "1900,40,90")
    found = {leg.id: leg for leg in legs(case)}
    assert found["idle"].done
    assert 10 < found["cruise"].seen_s < 60
    assert not found["pull"].seen_s
    assert found[FREEZE_FRAME].done
    text = " ".join(f.text for f in judge(case))
    assert "Missing: full throttle" in text
    assert "Too short: steady cruise" in text
    assert "A verdict still lacks" in text


def test_without_a_freeze_frame_it_says_so(make_case: MakeCase) -> None:
    """The window is a leg only when it is known."""
    case = on_the_road(make_case)
    assert FREEZE_FRAME not in {leg.id for leg in legs(case)}
    assert "No freeze frame is known" in " ".join(f.text for f in judge(case))


def test_a_window_elsewhere_is_not_entered(make_case: MakeCase) -> None:
    """3500 rpm at high load was not driven."""
    found = {leg.id: leg for leg in legs(on_the_road(make_case, "3500,80,90"))}
    assert not found[FREEZE_FRAME].done


def test_a_freeze_frame_goes_into_a_mark_and_back() -> None:
    """Speed, load and coolant, in this order."""
    words = frame_words({"ect_c": 92.0, "rpm": 1875.0, "load_pct": 38.4})
    assert words == "1875,38.4,92"


def breathing(make_case: MakeCase, one: Any, two: Any, **more: Any) -> Any:
    """Idle to 60 s, then more and more air; two banks' trims over it."""
    columns = Columns(vehicle=Vehicle(displacement_l=3.0))
    put(columns, "rpm", 5, 200, steps((0, 750), (60, 1800), (130, 2600)))
    put(columns, "load_pct", 2, 200, steps((0, 20), (60, 30), (130, 55)))
    put(columns, "speed_kmh", 2, 200, steps((0, 0), (60, 50), (130, 90)))
    put(columns, "throttle_pct", 5, 200, steps((0, 12), (60, 18), (130, 30)))
    put(columns, "maf_gps", 5, 200, steps((0, 3.5), (60, 12), (130, 32)))
    put(columns, "ect_c", 1, 200, 90.0)
    put(columns, "module_v", 1, 200, 14.0)
    for bank, wave in ((1, one), (2, two)):
        put(columns, f"stft_b{bank}_pct", 2, 200, 0.0)
        put(columns, f"ltft_b{bank}_pct", 2, 200, wave)
        put(columns, f"fuel_status_b{bank}", 2, 200, 2.0)
    for name, wave in more.items():
        put(columns, name, 2, 200, wave)
    case = make_case(columns, "breathing", "engine", ((5, "idle"), (198, END)))
    found = judge(case)
    return " ".join(f.text for f in found)


def test_mirror_images_are_explained(make_case: MakeCase) -> None:
    """Growing with flow it is a restriction; the bank that subtracts breathes less."""
    text = breathing(
        make_case,
        steps((0, 2.0), (60, 8.0), (130, 16.0)),
        steps((0, -2.0), (60, -8.0), (130, -16.0)),
    )
    assert "Mirror: B2 subtracts what B1 adds, and grows with airflow" in text
    assert "B2 breathes less" in text


def test_a_rich_bank_alone_is_no_mirror(make_case: MakeCase) -> None:
    """One bank off, the other at rest, with a meter: something else."""
    text = breathing(make_case, steps((0, 0.0)), steps((0, -18.0)))
    assert "not as mirror images" in text


@pytest.mark.parametrize(
    ("desired", "actual", "words"),
    [
        (0.0, 0.0, "proves nothing"),
        (20.0, 5.0, "-15.0° from where it is asked to be"),
        (20.0, 19.0, "-1.0° from"),
    ],
)
def test_cam_positions_are_compared(
    make_case: MakeCase, desired: float, actual: float, words: str
) -> None:
    """Both at zero all the time is the parked control of a reduced mode."""
    text = breathing(
        make_case, 0.0, 0.0, cam_desired_b1_deg=desired, cam_actual_b1_deg=actual
    )
    assert words in text
    assert ("more than 10°" in text) == (abs(actual - desired) > 10)


def test_a_displacement_that_was_given_is_used(make_case: MakeCase) -> None:
    """From the session, else from the mark, else not known."""
    for told, expected in (("3.5", 3.5), ("-2", np.nan), ("x", np.nan)):
        columns = Columns()
        put(columns, "rpm", 1, 20, 800.0)
        tag = given_tag("breathing", "displacement", told)
        columns.marks.append(Mark(1.0, "", tag))
        case = make_case(columns, "breathing", "engine", ((2, "idle"), (15, END)))
        assert litres(case) == pytest.approx(expected, nan_ok=True)
