"""A recorded run of every guided test on the simulated car: right and wrong outcomes.

The car is touched by hand at the moments that the steps ask for, in virtual time; what
comes out is judged from the session's bytes and marks alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random
from typing import Any

import pytest

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.car.drive import DRIVES, Drive, Leg
from bankwise.adapters.car.drive import Do as Act
from bankwise.adapters.car.engines import SIX, SIX_WIDE
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec, ControlSpec
from bankwise.signals.code_marks import results
from bankwise.signals.columns import Floats
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.runs import runs
from bankwise.signals.guided.table import judge

DriveTest = Callable[..., Any]
Key = tuple[float, str, str]

START = (Leg(Act.KEY_ON, 2), Leg(Act.START, 1.2))
KEY_ON = (Leg(Act.KEY_ON, 400),)


def make_car(
    faults: Sequence[str] = (),
    legs: Sequence[Leg] = KEY_ON,
    *,
    ect_c: float | None = 85.0,
    settled: bool = False,
    fixed: dict[str, Any] = SIX,
    control: ControlSpec | None = None,
) -> Car:
    """A six-cylinder car with two banks that does what is asked."""
    quick = control or ControlSpec(closed_delay_s=5.0)
    spec = CarSpec.random(Random(3), **{**fixed, "control": quick})
    drive = Drive("asked", "what the steps ask for", tuple(legs))
    return Car(spec, tuple(faults), drive, 3, ect_c, settled=settled)


def steps(*moments: tuple[float, str]) -> list[Key]:
    """Steps begun at moments."""
    return [(t, "step", step) for t, step in moments]


def hands(*moments: tuple[float, str]) -> list[Key]:
    """Things done to the car by hand at moments."""
    return [(t, "hand", line) for t, line in moments]


GAS = [
    *steps(
        (20, "settle"), (30, "rich"), (39, "recover"), (50, "lean"), (58, "closed"),
        (61, "rears"), (87, "end"),
    ),
    *hands(
        (30.5, "propane engine 20"), (38.5, "propane engine 0"),
        (50.5, "leak engine 30"), (57.5, "leak engine 0"),
    ),
]  # fmt: skip
HOLDING = (*START, Leg(Act.IDLE, 5), Leg(Act.HOLD, 400, 2000))


def forced(drive_test: DriveTest, *faults: str, **car: Any) -> Any:
    """Propane, then an air leak, on a car with these faults."""
    made = make_car(faults, HOLDING, **car)
    return drive_test(made, "force-gas", "engine", GAS, 94.5)


def test_good_sensors_follow_gas_and_air(drive_test: DriveTest) -> None:
    """All four follow both ways, with a delay and a bounded passage; none flagged."""
    found = forced(drive_test)
    assert found.outcomes() == {
        ("answers-forcing", place) for place in ("B1S1", "B1S2", "B2S1", "B2S2")
    }
    assert "B1S1 forced rich: followed after" in found.words()
    assert "passing in" in found.words()
    flags = {(flag.id, flag.about) for flag in found.analysis.engine.flags}
    assert ("answers-forcing", "B1S1") in flags
    assert not [flag for flag in flags if flag[0] == "ignores-forcing"]


def test_a_sensor_that_reads_lean_ignores_propane(drive_test: DriveTest) -> None:
    """It stays lean while the other bank goes rich: the ledger leads with it."""
    found = forced(drive_test, "front-sensor-reads-lean@2", settled=True)
    assert ("ignores-forcing", "B2S1") in found.outcomes()
    assert ("answers-forcing", "B1S1") in found.outcomes()
    flags = {(flag.id, flag.about) for flag in found.analysis.engine.flags}
    assert ("ignores-forcing", "B2S1") in flags
    first = found.analysis.engine.explanations()[0]
    assert (first.id, first.about) == ("sensor-reads-lean", "B2S1")


@pytest.mark.long
def test_a_dead_rear_sensor_stands_still(drive_test: DriveTest) -> None:
    """Only a rear reading that did not move at all counts as ignoring."""
    found = forced(drive_test, "rear-sensor-dead@2")
    assert ("ignores-forcing", "B2S2") in found.outcomes()
    assert ("answers-forcing", "B1S2") in found.outcomes()


@pytest.mark.long
def test_wide_band_sensors_follow_too(drive_test: DriveTest) -> None:
    """λ leaves 1 both ways."""
    found = forced(drive_test, fixed=SIX_WIDE)
    assert {("answers-forcing", "B1S1"), ("answers-forcing", "B2S1")} <= (
        found.outcomes()
    )


def test_nothing_done_is_no_verdict(drive_test: DriveTest) -> None:
    """Steps without gas and without air condemn no sensor and clear none."""
    made = make_car(("front-sensor-unplugged@2",), HOLDING)
    keys = steps((20, "settle"), (30, "rich"), (39, "recover"), (50, "end"))
    found = drive_test(made, "force-gas", "engine", keys, 51.0)
    assert found.outcomes() == {("not-done", "engine")}
    assert "No sign of a rich mixture" in found.words()


WRONG_WAYS: dict[str, list[Key]] = {
    "nothing fed": hands(),
    "gas before the test": hands((10, "propane engine 20"), (30.5, "propane engine 0")),
    "gas too late": hands((40, "propane engine 20"), (44, "propane engine 0")),
    "stalled": hands((33, "off"), (45, "on"), (46, "start")),
    "throttle instead of gas": hands((32, "hold 3200"), (36, "hold 2000")),
}


@pytest.mark.parametrize(
    "faults",
    [(), pytest.param(("front-sensor-aged@1",), marks=pytest.mark.long)],
    ids=["ok", "aged"],
)
@pytest.mark.parametrize("way", list(WRONG_WAYS))
def test_a_test_done_wrong_condemns_nobody(
    drive_test: DriveTest, way: str, faults: tuple[str, ...]
) -> None:
    """Whatever a tired hand does instead: no sensor ignores, none is cleared."""
    keys = [key for key in GAS if key[1] == "step" and key[0] < 50]
    made = make_car(faults, HOLDING)
    keys = [*keys, *steps((51, "end")), *WRONG_WAYS[way]]
    found = drive_test(made, "force-gas", "engine", keys, 52.0)
    assert found.outcomes() == {("not-done", "engine")}, found.words()


@pytest.mark.long
def test_gas_on_one_bank_does_not_condemn_the_other(drive_test: DriveTest) -> None:
    """The other bank went on switching: it is neither cleared nor condemned."""
    one_bank = [(t, what, line.replace("engine", "B1")) for t, what, line in GAS]
    found = drive_test(make_car((), HOLDING), "force-gas", "engine", one_bank, 94.5)
    assert ("answers-forcing", "B1S1") in found.outcomes()
    assert not {about for _, about in found.outcomes()} & {"B2S1", "B2S2"}


@pytest.mark.long
def test_an_idle_without_a_snap_is_no_snap(drive_test: DriveTest) -> None:
    """Keys alone force nothing, however the loop switches."""
    made = make_car((), (*START, Leg(Act.IDLE, 400)))
    keys = steps((25, "settle"), (35, "rich"), (36, "lean"), (42, "rears"), (67, "end"))
    found = drive_test(made, "force-snap", "engine", keys, 68.0)
    assert found.outcomes() == {("not-done", "engine")}
    assert "no snap seen" in found.words()


def test_a_snap_tells_an_unplugged_sensor(drive_test: DriveTest) -> None:
    """The other bank follows the throttle within a second; this one does not."""
    made = make_car(("front-sensor-unplugged",), (*START, Leg(Act.IDLE, 400)))
    keys = [
        *steps((25, "settle"), (35, "rich"), (36, "lean"), (40, "rears"), (66, "end")),
        *hands((35.2, "snap")),
    ]
    found = drive_test(made, "force-snap", "engine", keys, 67.0)
    assert ("ignores-forcing", "B1S1") in found.outcomes()
    assert ("answers-forcing", "B2S1") in found.outcomes()


CIRCUIT: list[Key] = [
    *steps(
        (12, "connected"), (16, "unplugged"), (23, "first-wire"),
        (26.5, "first-driven"), (27, "second-wire"), (30.5, "second-driven"),
        (31, "reconnected"), (34, "end"),
    ),
    (26.6, "answer", "first-driven yes"),
    (30.6, "answer", "second-driven yes"),
]  # fmt: skip
GOOD_WIRES = hands(
    (17, "unplug B1S1"), (24, "high B1S1"), (24.3, "release B1S1"), (28, "low B1S1"),
    (29, "release B1S1"), (32, "plug B1S1"),
)  # fmt: skip


def test_good_wiring_goes_to_both_ends(drive_test: DriveTest) -> None:
    """A touch of 0.3 s is caught with its level and time; polling went up and back."""
    found = drive_test(make_car(), "circuit", "B1S1", CIRCUIT + GOOD_WIRES, 40.0)
    assert found.outcomes() == {("circuit-good", "B1S1")}
    assert "rests at 0.45 V" in found.words()
    assert "went high to 1.2" in found.words()
    assert "V at 0:24." in found.words()
    columns = found.analysis.columns
    during, after = (
        {name: _hz(columns[name].t, *span) for name in ("o2_b1s1_v", "rpm")}
        for span in ((17.0, 33.0), (36.0, 40.0))
    )
    assert during["o2_b1s1_v"] > 1.2 * after["o2_b1s1_v"]
    assert during["rpm"] < 2
    assert after["rpm"] > 5


def _hz(t: Floats, start: float, end: float) -> float:
    return float(((t > start) & (t < end)).sum() / (end - start))


def test_an_end_not_reached_is_the_wiring(drive_test: DriveTest) -> None:
    """The low end is missing: it blames wiring or input, never the sensor."""
    found = drive_test(make_car(), "circuit", "B1S1", CIRCUIT + GOOD_WIRES[:3], 36.0)
    assert found.outcomes() == {("circuit-bad", "B1S1")}
    assert "never reached the low end: wiring or input" in found.words()
    first = found.analysis.engine.explanations()[0]
    assert (first.id, first.about) == ("sensor-open-circuit", "B1S1")


def test_a_wide_band_sensor_is_not_driven(drive_test: DriveTest) -> None:
    """The test says that it is not for it, and gives no verdict."""
    found = drive_test(make_car(fixed=SIX_WIDE), "circuit", "B1S1", CIRCUIT, 36.0)
    assert found.outcomes() == set()
    assert "wide-band" in found.words()


WIGGLE = steps((12, "wiggle"), (28, "end"))


def test_a_loose_contact_jumps(drive_test: DriveTest) -> None:
    """Each jump is counted with its time."""
    moves = hands(
        (18, "high B1S1"), (18.2, "release B1S1"), (22, "low B1S1"),
        (22.5, "release B1S1"),
    )  # fmt: skip
    found = drive_test(make_car(), "wiggle", "B1S1", WIGGLE + moves, 29.0)
    assert found.outcomes() == {("circuit-bad", "B1S1")}
    assert "4 jumps" in found.words()


def test_a_still_harness_has_no_verdict(drive_test: DriveTest) -> None:
    """No jump proves little, and it says so."""
    found = drive_test(make_car(), "wiggle", "B1S1", WIGGLE, 29.0)
    assert found.outcomes() == set()
    assert "does not prove" in found.words()


DEFAULTS = ControlSpec(closed_delay_s=5.0, dead_sensor_s=8.0, default_long=True)


def unplugged(drive_test: DriveTest, fault: str, said: str) -> tuple[Any, Car]:
    """Bank 2's front sensor unplugged for half a minute at idle."""
    made = make_car((fault,), (*START, Leg(Act.IDLE, 400)), control=DEFAULTS)
    keys = [
        *steps(
            (14, "before"), (34, "unplugged"), (68, "runs-right"), (70, "smell-gone"),
            (72, "plugged"), (75, "end"),
        ),
        (69.0, "answer", f"runs-right {said}"),
        (71.0, "answer", f"smell-gone {said}"),
        *hands((35, "unplug B2S1")),
    ]  # fmt: skip
    return drive_test(made, "unplug", "B2S1", keys, 76.0), made


def test_without_the_lying_sensor_it_runs_right(drive_test: DriveTest) -> None:
    """The mixture is right on default fuelling, and the sensor is believed no more."""
    found, car = unplugged(drive_test, "front-sensor-reads-lean@2", "yes")
    assert car.truth["lambda_b2"] == pytest.approx(1.0, abs=0.05)
    assert found.outcomes() == {("right-unplugged", "B2S1")}
    assert "B1's trims stay" in found.words()
    assert "left closed loop" in found.words()


@pytest.mark.long
def test_without_a_good_sensor_it_runs_as_wrong(drive_test: DriveTest) -> None:
    """Rich injectors stay rich: the mixture is wrong, not the sensor."""
    found, car = unplugged(drive_test, "injectors-rich@2", "no")
    assert car.truth["lambda_b2"] < 0.95
    assert found.outcomes() == {("wrong-unplugged", "B2S1")}


def test_a_plug_left_on_is_seen(drive_test: DriveTest) -> None:
    """Answers alone are no result: the data must show the plug off."""
    made = make_car((), (*START, Leg(Act.IDLE, 400)))
    keys = [
        *steps((14, "before"), (30, "unplugged"), (45, "runs-right"), (48, "end")),
        (46.0, "answer", "runs-right yes"),
    ]
    found = drive_test(made, "unplug", "B2S1", keys, 49.0)
    assert found.outcomes() == {("not-done", "B2S1")}


ROAD = (
    *START, Leg(Act.IDLE, 5), Leg(Act.GO, 17, 55), Leg(Act.PULL, 9, 110),
    Leg(Act.COAST, 10), Leg(Act.GO, 20, 70),
)  # fmt: skip
PULL = steps((10, "ready"), (24, "pull"), (48, "coast"), (52, "end"))


def test_both_ends_on_the_road(drive_test: DriveTest) -> None:
    """Fronts lean in the cut and rich wide open; rears after their catalyst."""
    found = drive_test(make_car((), ROAD), "cut-and-pull", "engine", PULL, 53.0)
    assert found.outcomes() == {("done", "engine")}
    for place in ("B1S1", "B2S1"):
        assert f"{place} in the fuel cut: lean" in found.words()
        assert f"{place} at full throttle: rich" in found.words()
    assert "g of air" in found.words()


@pytest.mark.long
def test_a_lying_sensor_is_not_rich_wide_open(drive_test: DriveTest) -> None:
    """The pulled-down sensor reaches one end only."""
    found = drive_test(
        make_car(("front-sensor-reads-lean",), ROAD),
        "cut-and-pull", "engine", PULL, 53.0,
    )  # fmt: skip
    assert "B1S1 at full throttle: not rich" in found.words()
    assert "B2S1 at full throttle: rich" in found.words()


def test_standing_still_is_no_drive(drive_test: DriveTest) -> None:
    """Without a cut and a pull nothing was done."""
    made = make_car((), (*START, Leg(Act.IDLE, 400)))
    keys = steps((10, "ready"), (14, "pull"), (20, "end"))
    found = drive_test(made, "cut-and-pull", "engine", keys, 21.0)
    assert found.outcomes() == {("not-done", "engine")}


STEADY = steps((12, "idle"), (44, "held"), (80, "rest"), (82, "end"))
STANDING = (*START, Leg(Act.IDLE, 40), Leg(Act.HOLD, 40, 2500), Leg(Act.IDLE, 60))


def test_a_runner_leak_fades_at_2500(drive_test: DriveTest) -> None:
    """B1 adds at idle, less at 2500 rpm, and the banks differ."""
    made = make_car(("unmetered-air-one-bank",), STANDING, settled=True)
    found = drive_test(made, "idle-2500", "engine", STEADY, 83.0)
    assert ("done", "engine") in found.outcomes()
    assert "a leak" in found.words()
    assert "B2" in found.words()
    assert "The banks differ" in found.words()


@pytest.mark.long
def test_a_healthy_car_is_usual_at_both(drive_test: DriveTest) -> None:
    """No pattern is named."""
    found = drive_test(make_car((), STANDING), "idle-2500", "engine", STEADY, 83.0)
    assert found.words().count("usual at both") == 2


WARM = steps((5, "key-on"), (14, "start"), (20, "idle"), (80, "end"))
COLD_START = (Leg(Act.KEY_ON, 14), Leg(Act.START, 1.2), Leg(Act.IDLE, 400))


def test_a_cold_start_is_timed(drive_test: DriveTest) -> None:
    """Wake-up of each sensor and closed loop of each bank, beside their limits."""
    found = drive_test(
        make_car((), COLD_START, ect_c=None), "warm-up", "engine", WARM, 81.0
    )
    assert found.outcomes() == {("done", "engine")}
    assert "Cold start: coolant" in found.words()
    for place in ("B1S1", "B1S2", "B2S1", "B2S2"):
        assert f"{place} awake after" in found.words()
    assert "B2 closed loop after" in found.words()
    assert "limit 120 s: in time" in found.words()


@pytest.mark.long
def test_a_warm_start_is_no_cold_start(drive_test: DriveTest) -> None:
    """It says so first, and the test counts as not done."""
    found = drive_test(
        make_car((), COLD_START, ect_c=80.0), "warm-up", "engine", WARM, 81.0
    )
    assert found.outcomes() == {("not-done", "engine")}
    assert found.words().startswith("Not cold: coolant 80 °C")


@pytest.mark.long
def test_legs_are_ticked_off_as_driven(drive_test: DriveTest) -> None:
    """The mixed drive has every leg, the freeze frame's window among them."""
    made = make_car((), DRIVES["mixed"].legs)
    keys = [
        (9.0, "given", "freeze-frame 2000,40,90"),
        *steps((10, "drive"), (300, "end")),
    ]
    found = drive_test(made, "road-plan", "engine", keys, 301.0)
    assert found.outcomes() == {("done", "engine")}
    assert "7 of 7 legs" in found.words()
    assert "1625–2375 rpm" in found.words()


@pytest.mark.long
def test_a_late_cam_mirrors(drive_test: DriveTest) -> None:
    """The bank that breathes less subtracts what the other adds, and says why."""
    legs = (
        *START, Leg(Act.IDLE, 45), Leg(Act.GO, 40, 50), Leg(Act.GO, 40, 95),
        Leg(Act.PULL, 9, 125), Leg(Act.COAST, 8),
    )  # fmt: skip
    made = make_car(("bank-breathes-less@2",), legs, settled=True)
    keys = steps(
        (10, "idle"), (46, "drive"), (128, "pull"), (140, "coast"), (145, "end")
    )
    found = drive_test(made, "breathing", "engine", keys, 147.0)
    assert ("done", "engine") in found.outcomes()
    assert "B2 subtracts what B1 adds" in found.words()
    assert "Filling at full throttle" in found.words()


IDLING = (*START, Leg(Act.IDLE, 400))
COLD = {"ect_c": 5.0, "control": ControlSpec(closed_delay_s=300.0)}
UNPLUG = [
    *steps(
        (14, "before"), (34, "unplugged"), (58, "runs-right"), (60, "smell-gone"),
        (62, "plugged"), (63, "end"),
    ),
    (59.0, "answer", "runs-right yes"),
    (61.0, "answer", "smell-gone yes"),
]  # fmt: skip
KEYED = {"legs": KEY_ON, "ect_c": None}
BEGUN = {"legs": (Leg(Act.KEY_ON, 14), Leg(Act.START, 1.2)), "ect_c": None}
AT_2500 = steps((12, "idle"), (34, "held"), (55, "end"))
NO_START = steps((5, "key-on"), (14, "start"), (20, "end"))
SPOILT: dict[str, tuple[str, str, list[Key], dict[str, Any], str]] = {
    "unplug: the other bank's plug": (
        "unplug", "B2S1", [*UNPLUG, *hands((35, "unplug B1S1"))], {}, "Find B2S1",
    ),
    "unplug: the rear plug": (
        "unplug", "B2S1", [*UNPLUG, *hands((35, "unplug B2S2"))], {}, "Find B2S1",
    ),
    "unplug: stalled": (
        "unplug", "B2S1",
        [*UNPLUG, *hands((35, "off"), (36, "unplug B2S1"), (38, "on"))], {},
        "the engine did not run with the plug off",
    ),
    "unplug: off before": (
        "unplug", "B2S1", UNPLUG, {"faults": ("front-sensor-unplugged@2",)},
        "do the circuit check",
    ),
    "unplug: cold": (
        "unplug", "B2S1", [*UNPLUG, *hands((35, "unplug B2S1"))], COLD,
        "not seen in closed loop before",
    ),
    "idle-2500: never held": (
        "idle-2500", "engine", AT_2500, {}, "2500 rpm was not held",
    ),
    "idle-2500: cold": (
        "idle-2500", "engine", [*AT_2500, *hands((34, "hold 2500"))], COLD, "not warm",
    ),
    "road-plan: nothing driven": (
        "road-plan", "engine", steps((10, "drive"), (25, "end")), {},
        "Drive a warm car",
    ),
    "breathing: cold": (
        "breathing", "engine", steps((5, "idle"), (25, "end")), COLD,
        "Warm the engine up",
    ),
    "warm-up: never started": (
        "warm-up", "engine", NO_START, KEYED, "start it when asked",
    ),
    "warm-up: key off": (
        "warm-up", "engine", [*NO_START, *hands((3.0, "off"))], KEYED, "key on",
    ),
    "warm-up: stalled": (
        "warm-up", "engine",
        [
            *steps((5, "key-on"), (14, "start"), (20, "idle"), (45, "end")),
            *hands((25, "off"), (28, "on"), (30, "start")),
        ],
        BEGUN, "stopped before closed loop",
    ),
    "warm-up: ended early": (
        "warm-up", "engine", steps((5, "key-on"), (14, "start"), (25, "end")), BEGUN,
        "Wait at idle until",
    ),
}  # fmt: skip
"""What a tired hand does instead: test, place, keys, car, and what it is told."""
QUICK = ("unplug: the other bank's plug", "warm-up: ended early")


@pytest.mark.parametrize(
    "way",
    [
        way if way in QUICK else pytest.param(way, marks=pytest.mark.long)
        for way in SPOILT
    ],
)
def test_no_verdict_from_what_was_not_done(drive_test: DriveTest, way: str) -> None:
    """It ends as not done, with a sentence that says what to do instead."""
    test, about, keys, car, words = SPOILT[way]
    made = make_car(**{"legs": IDLING, **car})
    end = max(t for t, what, _ in keys if what == "step")
    found = drive_test(made, test, about, keys, end + 1.0)
    assert found.outcomes() == {("not-done", about)}, found.words()
    assert words in found.words()


@pytest.mark.long
@pytest.mark.parametrize("said", ["yes", "no"])
def test_a_sound_bank_has_no_verdict_however_answered(
    drive_test: DriveTest, said: str
) -> None:
    """Its trims were usual, so neither sensor nor mixture can be accused."""
    made = make_car((), IDLING, control=DEFAULTS)
    keys = [(t, what, v.replace("yes", said)) for t, what, v in UNPLUG]
    keys += hands((35, "unplug B2S1"))
    found = drive_test(made, "unplug", "B2S1", keys, 64.0)
    assert found.outcomes() == set()
    assert "asked for nothing unusual" in found.words()


def test_a_replay_shows_the_same_results(drive_test: DriveTest) -> None:
    """Whatever came after the run, and however it is fed, the findings are equal."""
    keys = CIRCUIT + GOOD_WIRES
    found = drive_test(make_car(), "circuit", "B1S1", keys, 60.0)
    kept = [(m.t, what, about) for m, what, about in results(found.analysis.columns)]
    assert [(what, about) for _, what, about in kept] == [("circuit-good", "B1S1")]
    for size in (1, 17, 400):
        again = Analysis(found.header)
        for start in range(0, len(found.records), size * 50):
            again.feed(found.records[start : start + size * 50])
        again.finish()
        run = runs(again.columns.marks)[-1]
        case = Case(run, again.columns, again.engine.frame)
        assert judge(case) == found.findings
    early = Analysis(found.header)
    early.feed([r for r in found.records if r.t < 34.5])
    run = runs(early.columns.marks)[-1]
    assert judge(Case(run, early.columns, early.engine.frame)) == found.findings
