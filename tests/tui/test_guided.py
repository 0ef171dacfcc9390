"""The guided tests' situation under keys: every step of every test, on any size."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.columns import Columns, Mark, Vehicle
from bankwise.signals.evidence import FreezeFrame
from bankwise.signals.evidence import Snapshot as Evidence
from bankwise.signals.guided.runs import (
    BROKEN,
    END,
    given_tag,
    result_tag,
    runs,
    step_tag,
)
from bankwise.signals.guided.script import Finding, GuidedTest, Subject
from bankwise.signals.guided.table import GUIDED
from bankwise.tui import big_words, guided_flow
from bankwise.tui.canvas import Canvas
from bankwise.tui.guided_hands import HANDS
from bankwise.tui.messages import MarkNow, Say, Several, Touch
from bankwise.tui.panes.table import PANES
from bankwise.tui.snapshot import Link, PaneState
from bankwise.tui.view import CanvasView

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from bankwise.tui.app import BankwiseApp

SIZES = ((80, 24), (120, 40), (200, 60))


def text_of(app: BankwiseApp) -> str:
    """What stands on the screen."""
    return app.screen_stack[0].query_one(CanvasView).shown.text()


async def press(pilot: Pilot[int], *keys: str) -> None:
    """Presses keys one after another; after each the screen goes on."""
    app: Any = pilot.app
    app.frame()
    app.draw()
    for key in keys:
        await pilot.press(key)
        app.frame()
        app.draw()


async def wait(pilot: Pilot[int], seconds: float) -> None:
    """Lets session time pass, with values coming in."""
    app: Any = pilot.app
    source, reader = app.feed.source, app.feed._reader
    source.at_s += seconds
    reader.columns.end_s = source.at_s
    app.frame()
    app.draw()


def down_to(test: GuidedTest) -> list[str]:
    """The keys that pick a test in the list."""
    return ["down"] * list(GUIDED).index(test.id)


def about_of(test: GuidedTest) -> str:
    """What the first choice of a test is about."""
    return "engine" if test.subject is Subject.ENGINE else "B1S1"


def put_right(columns: Columns, test: GuidedTest) -> None:
    """Stops the made-up car, and its engine, where a test asks for it."""
    for name, asked in (("speed_kmh", test.standing), ("rpm", test.engine_off)):
        if asked:
            columns.signals.pop(name, None)


async def begin(pilot: Pilot[int], test: GuidedTest) -> None:
    """From the list to the first step."""
    app: Any = pilot.app
    app.frame()
    put_right(app.feed._reader.columns, test)
    await press(pilot, "3", *down_to(test), "enter")
    if test.subject is not Subject.ENGINE:
        assert "which one?" in text_of(app)
        await press(pilot, "enter")
    if "displacement" in test.wants:
        assert "litres" in text_of(app)
        await press(pilot, "up", "up", "enter")
    assert "I have read this" in text_of(app)
    for caution in test.cautions:
        assert CAUTIONS[caution].split(",", maxsplit=1)[0][:30] in text_of(app)
    await press(pilot, "enter")
    assert "read the cautions first" in text_of(app)
    await wait(pilot, 2.0)
    await press(pilot, "enter")


@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
async def test_every_step_of_every_test(
    app: BankwiseApp, source: Any, test: GuidedTest
) -> None:
    """One key goes on, a step waits for its least time, marks and rates tell it all."""
    async with app.run_test(size=(80, 24)) as pilot:
        await begin(pilot, test)
        about = about_of(test)
        assert (source.wanted is None) == (not test.rates)
        for place, step in enumerate(test.steps):
            text = text_of(app)
            assert f"step {place + 1} of {len(test.steps)}" in text
            assert "█" in text
            assert step.detail.split()[0] in text
            assert source.marks[-1][1] == step_tag(test.id, step.id, about)
            if step.least_s:
                await press(pilot, "enter")
                assert f"wait {step.least_s:.0f} s" in text_of(app)
                assert source.marks[-1][1] == step_tag(test.id, step.id, about)
                await wait(pilot, step.least_s)
            if step.asks:
                await press(pilot, "enter")
                assert "y for yes" in text_of(app)
                await press(pilot, "y")
            else:
                await press(pilot, "enter")
        await wait(pilot, 1.0)
        text = text_of(app)
    tags = [tag or "" for _, tag in source.marks]
    assert step_tag(test.id, END, about) in tags
    assert source.wanted is None
    assert "back to the list" in text
    answers = [tag for tag in tags if tag.startswith("answer:")]
    assert len(answers) == sum(step.asks for step in test.steps)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
def test_a_step_reads_from_the_passenger_seat(
    make_shot: Callable[..., Any],
    make_look: Callable[..., Any],
    size: tuple[int, int],
    test: GuidedTest,
) -> None:
    """At any size every step is in big words, with its key in sight."""
    shot = make_shot()
    put_right(shot.columns, test)
    width, height = size[0], size[1] - 3
    for place, step in enumerate(test.steps):
        page = guided_flow.Page(guided_flow.RUN, test.id, about_of(test), place)
        canvas = Canvas.blank(width, height)
        look = make_look(state=PaneState(tag=page.tag))
        PANES["guided"].draw(canvas, shot, look)
        lines = canvas.text().splitlines()
        assert sum("█" in line for line in lines) >= big_words.HEIGHT
        assert len(big_words.lines(step.say, width - 2)) <= 2
        foot = lines[height - 2]
        assert any(sign in foot for sign in ("⏎", "wait", "y  yes")), foot
        assert "esc  break off" in foot


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("test", GUIDED.values(), ids=list(GUIDED))
def test_a_car_in_motion_is_stopped_first(
    make_shot: Callable[..., Any],
    make_look: Callable[..., Any],
    size: tuple[int, int],
    test: GuidedTest,
) -> None:
    """The one key says so until the car stands; a road test goes on."""
    shot = make_shot()
    first = guided_flow.Page(guided_flow.RUN, test.id, about_of(test), 0)
    canvas = Canvas.blank(size[0], size[1] - 3)
    state = PaneState(tag=first.tag)
    PANES["guided"].draw(canvas, shot, make_look(state=state))
    foot = canvas.text().splitlines()[size[1] - 5]
    assert ("▲ the car moves (" in foot) == test.standing, foot
    assert "esc  break off" in foot
    after, intent = guided_flow.act("open", shot, state)
    if test.standing:
        assert after == state
        assert isinstance(intent, Say)
        assert "km/h): stop first" in intent.text
        _, broken = guided_flow.act("close", shot, state)
        assert isinstance(broken, Several)
    else:
        assert not isinstance(intent, Say) or "stop first" not in intent.text


@pytest.mark.parametrize("id_", ["circuit", "wiggle"])
def test_an_engine_that_runs_is_turned_off_first(
    make_shot: Callable[..., Any], make_look: Callable[..., Any], id_: str
) -> None:
    """At the plug nothing is pulled and nothing driven while it runs."""
    shot = make_shot()
    shot.columns.signals.pop("speed_kmh")
    page = guided_flow.Page(guided_flow.RUN, id_, "B1S1", 0)
    canvas = Canvas.blank(80, 21)
    PANES["guided"].draw(canvas, shot, make_look(state=PaneState(tag=page.tag)))
    assert "▲ the engine runs (" in canvas.text()
    _, intent = guided_flow.act("open", shot, PaneState(tag=page.tag))
    assert isinstance(intent, Say)
    assert "turn it off, key on" in intent.text


def test_a_diesel_begins_no_test_of_its_mixture(make_shot: Callable[..., Any]) -> None:
    """It is said at the list, before anything is asked for."""
    shot = make_shot()
    shot.columns.extend("fuel_type", np.array([1.0]), np.array([4.0]), np.array([0.1]))
    for place, test in enumerate(GUIDED.values()):
        state, intent = guided_flow.act("open", shot, PaneState(picked=place))
        refused = isinstance(intent, Say) and "diesel" in intent.text
        assert refused == test.spark
        assert (guided_flow.page_of(state).kind == guided_flow.LIST) == test.spark


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    ("hz", "words"),
    [(20.0, "B1S1 20.0 readings/s; 2 needed: fast enough"),
     (1.0, "▲ B1S1 1.0 readings/s; 2 needed: too slow for this test")],
)  # fmt: skip
def test_the_rate_stands_beside_the_rate_needed(
    make_shot: Callable[..., Any],
    make_look: Callable[..., Any],
    size: tuple[int, int],
    hz: float,
    words: str,
) -> None:
    """In plain words, on every size, above the key."""
    shot = make_shot()
    shot.columns.signals.clear()
    t = np.arange(0.0, 90.0, 1 / hz) + 0.001
    shot.columns.extend("o2_b1s1_v", t, np.full(len(t), 0.45), np.full(len(t), 0.01))
    tag = step_tag("circuit", "connected", "B1S1")
    shot.columns.marks.append(Mark(60.0, "", tag))
    page = guided_flow.Page(guided_flow.RUN, "circuit", "B1S1", 0)
    canvas = Canvas.blank(size[0], size[1] - 3)
    PANES["guided"].draw(canvas, shot, make_look(state=PaneState(tag=page.tag)))
    assert canvas.text().splitlines()[size[1] - 6].strip() == words


async def test_breaking_off_says_nothing(app: BankwiseApp, source: Any) -> None:
    """Escape ends the run as not done and puts the rates back."""
    test = GUIDED["force-gas"]
    async with app.run_test() as pilot:
        await begin(pilot, test)
        assert source.wanted is not None
        await press(pilot, "escape")
        assert "begins one" in text_of(app)
    tags = [tag for _, tag in source.marks]
    assert tags[-2:] == [
        step_tag(test.id, BROKEN, "engine"),
        result_tag(test.id, Finding("engine", "", "not-done")),
    ]
    assert source.wanted is None
    assert runs([Mark(1.0, "", tag or "") for tag in tags])[0].broken


async def test_a_running_test_stays_in_sight(app: BankwiseApp, source: Any) -> None:
    """On every other situation one line says that it runs; its key leads back."""
    test = GUIDED["force-gas"]
    async with app.run_test(size=(80, 24)) as pilot:
        await begin(pilot, test)
        app.say("")
        for key in "1256":
            await press(pilot, key)
            text = text_of(app)
            assert "guided test runs, at its own poll rates · 3: back to step 1" in text
        assert source.wanted is not None
        await press(pilot, "3")
        assert "3: back to" not in text_of(app)
        await press(pilot, "escape", "1")
        app.say("")
        await press(pilot, "1")
        assert "3: back to" not in text_of(app)
    assert source.wanted is None


def test_hands_are_lines_the_car_knows(
    make_shot: Callable[..., Any], make_look: Callable[..., Any]
) -> None:
    """Every line belongs to a step; a simulated car says so, a real one does not."""
    for test, by_step in HANDS.items():
        assert by_step.keys() <= {step.id for step in GUIDED[test].steps}
    page = guided_flow.Page(guided_flow.RUN, "circuit", "B1S1", 1)
    state = PaneState(tag=page.tag)
    for kind, said in (("simulated", Touch(("unplug B1S1",))), ("live", None)):
        shot = make_shot(link=Link(kind, "up"))
        canvas = Canvas.blank(80, 21)
        PANES["guided"].draw(canvas, shot, make_look(state=state))
        assert ("u does it for you (unplug B1S1)" in canvas.text()) == bool(said)
        _, intent = guided_flow.act("hand", shot, state)
        assert intent == said if said else isinstance(intent, Say)


async def test_a_jump_is_marked_and_rung_for(
    app: BankwiseApp, source: Any, reader: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each jump once, on whatever situation is shown; a still reading rings nothing."""
    rung: list[bool] = []
    test = GUIDED["wiggle"]
    async with app.run_test() as pilot:
        monkeypatch.setattr(app, "bell", lambda: rung.append(True))
        await begin(pilot, test)
        await wait(pilot, 3.0)
        await press(pilot, "enter")
        for v in (0.45, 0.45, 0.9, 0.45):
            await wait(pilot, 0.5)
            t = np.array([source.at_s])
            reader.columns.extend("o2_b1s1_v", t, np.array([v]), np.array([0.01]))
        await press(pilot, "1")
        await wait(pilot, 0.5)
        await wait(pilot, 0.5)
    jumps = [tag for _, tag in source.marks if (tag or "").startswith("jump:wiggle:")]
    assert len(jumps) == len(set(jumps)) == 2
    assert rung


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("test", ["circuit", "wiggle", "unplug"])
def test_a_test_of_one_sensor_shows_its_trace(
    make_shot: Callable[..., Any],
    make_look: Callable[..., Any],
    size: tuple[int, int],
    test: str,
) -> None:
    """A large figure and the last ten seconds, at any size."""
    page = guided_flow.Page(guided_flow.RUN, test, "B1S1", 0)
    canvas = Canvas.blank(size[0], size[1] - 3)
    PANES["guided"].draw(canvas, make_shot(), make_look(state=PaneState(tag=page.tag)))
    text = canvas.text()
    shown = sum("⠀" < char <= "⣿" for char in text)
    if test != "unplug" or size[0] > 80:
        assert shown > 20
    assert "B1S1" in text


def test_a_replay_shows_the_runs_of_the_session(
    make_shot: Callable[..., Any], make_look: Callable[..., Any]
) -> None:
    """Runs are listed under the tests and open with the result; no test begins."""
    shot = make_shot(link=Link("replay", "closed"))
    put_right(shot.columns, GUIDED["idle-2500"])
    for t, step in ((10.0, "idle"), (45.0, "held"), (80.0, "rest"), (85.0, END)):
        shot.columns.marks.append(Mark(t, step, step_tag("idle-2500", step, "engine")))
    canvas = Canvas.blank(100, 30)
    PANES["guided"].draw(canvas, shot, make_look())
    assert "0:10  Idle against 2500 rpm" in canvas.text()
    begun = PaneState(picked=0)
    state, intent = guided_flow.act("open", shot, begun)
    assert isinstance(intent, Say)
    assert state == begun
    state, intent = guided_flow.act("open", shot, PaneState(picked=len(GUIDED)))
    assert intent is None
    shown = Canvas.blank(100, 30)
    PANES["guided"].draw(shown, shot, make_look(state=state))
    assert "0:10 to 1:25" in shown.text()
    assert "cannot tell" in shown.text()
    assert "0:45  Hold 2500 rpm 35 s" in shown.text()
    assert "Rates reached: " in shown.text()
    state, _ = guided_flow.act("close", shot, state)
    assert guided_flow.page_of(state).kind == guided_flow.LIST


@pytest.mark.parametrize(
    ("length_s", "words"), [(90.0, "broken off: the session ended"), (200.0, "under")]
)
def test_a_run_that_the_session_cut_off_is_not_under_way(
    make_shot: Callable[..., Any],
    make_look: Callable[..., Any],
    length_s: float,
    words: str,
) -> None:
    """At a recorded session's end a test without an end was broken off."""
    shot = make_shot(link=Link("replay", "closed", length_s=length_s))
    shot.columns.marks.append(Mark(10.0, "", step_tag("idle-2500", "idle", "engine")))
    canvas = Canvas.blank(100, 30)
    page = guided_flow.Page(guided_flow.RESULT, "0")
    look = make_look(state=PaneState(tag=page.tag))
    PANES["guided"].draw(canvas, shot, look)
    assert words in canvas.text()


def test_a_replay_not_yet_there_shows_nothing_of_a_later_run(
    make_shot: Callable[..., Any], make_look: Callable[..., Any]
) -> None:
    """After a seek back the page says that its run is not reached."""
    page = guided_flow.Page(guided_flow.RESULT, "3")
    canvas = Canvas.blank(80, 24)
    look = make_look(state=PaneState(tag=page.tag))
    PANES["guided"].draw(canvas, make_shot(), look)
    assert "not reached yet" in canvas.text()


def test_escape_leads_back_step_by_step(make_shot: Callable[..., Any]) -> None:
    """From the cautions to the choice, then to the list, at the test's own row."""
    shot = make_shot()
    place = list(GUIDED).index("circuit")
    state, _ = guided_flow.act("open", shot, PaneState(picked=place))
    state, _ = guided_flow.act("down", shot, state)
    state, _ = guided_flow.act("open", shot, state)
    page = guided_flow.page_of(state)
    assert (page.kind, page.about) == (guided_flow.CARE, "B1S2")
    state, _ = guided_flow.act("close", shot, state)
    assert guided_flow.page_of(state).kind == guided_flow.SUBJECT
    state, _ = guided_flow.act("close", shot, state)
    assert guided_flow.page_of(state).kind == guided_flow.LIST
    assert state.picked == place


def test_facts_are_kept_in_the_session(make_shot: Callable[..., Any]) -> None:
    """The freeze frame's window and a displacement stand in marks before the run."""
    frame = FreezeFrame("7E8", 0, "P0171", {"rpm": 1875.0, "load_pct": 38.0})
    shot = replace(make_shot(), evidence=Evidence({}, frames=(frame,)))
    page = guided_flow.Page(guided_flow.CARE, "road-plan", "engine")
    _, intent = guided_flow.act("open", shot, PaneState(tag=page.tag))
    assert isinstance(intent, Several)
    first = intent.intents[0]
    assert isinstance(first, MarkNow)
    assert first.tag == given_tag("road-plan", "freeze-frame", "1875,38")


def test_a_known_displacement_is_not_asked_for(make_shot: Callable[..., Any]) -> None:
    """The session's own, or one given before, is taken."""
    place = list(GUIDED).index("breathing")
    for known in (True, False):
        shot = make_shot()
        shot.columns.vehicle = Vehicle(displacement_l=3.5 if known else None)
        state, _ = guided_flow.act("open", shot, PaneState(picked=place))
        kind = guided_flow.CARE if known else guided_flow.FACT
        assert guided_flow.page_of(state).kind == kind


def test_a_lost_link_does_not_hold_the_result_back(
    make_shot: Callable[..., Any],
) -> None:
    """When no value comes any more, what was seen is judged."""
    shot = make_shot()
    for t, step in ((10.0, "settle"), (40.0, END)):
        shot.columns.marks.append(Mark(t, "", step_tag("force-gas", step, "engine")))
    shot.columns.end_s = 39.0
    page = guided_flow.Page(guided_flow.ENDED, "force-gas", "engine", 5, 40.0)
    waiting = replace(shot, now_s=42.0)
    state, _ = guided_flow.watch(waiting, PaneState(tag=page.tag))
    assert guided_flow.page_of(state).kind == guided_flow.ENDED
    state, _ = guided_flow.watch(replace(shot, now_s=46.0), state)
    assert guided_flow.page_of(state).kind == guided_flow.RESULT


def test_big_words_have_a_glyph_for_every_sign_of_every_step() -> None:
    """What a step says is written whole."""
    for test in GUIDED.values():
        for step in test.steps:
            for sign in step.say.upper():
                assert big_words.width(sign) > 0 or sign == " ", (test.id, sign)


@pytest.mark.parametrize("key", ["y", "n"])
async def test_a_question_is_answered_by_one_key(
    app: BankwiseApp, source: Any, key: str
) -> None:
    """Yes and no are kept in the session, though the keys mean else elsewhere."""
    test = GUIDED["unplug"]
    async with app.run_test() as pilot:
        await begin(pilot, test)
        for step in test.steps[:2]:
            await wait(pilot, step.least_s)
            await press(pilot, "enter")
        assert "y  yes" in text_of(app)
        await press(pilot, key)
    word = {"y": "yes", "n": "no"}[key]
    assert f"answer:unplug:runs-right:B1S1:{word}" in [tag for _, tag in source.marks]
