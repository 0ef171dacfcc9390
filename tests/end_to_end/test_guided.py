"""Guided tests through the whole screen, over real TCP, on a car that is touched."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from bankwise.adapters.analysis import analyse
from bankwise.adapters.car.server import ProcessServer
from bankwise.adapters.live import Live
from bankwise.adapters.replay import Replay
from bankwise.adapters.session_file import read_session
from bankwise.signals.code_marks import results
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.runs import runs
from bankwise.signals.guided.table import GUIDED, judge
from bankwise.tui import guided_flow
from bankwise.tui.app import BankwiseApp
from bankwise.tui.view import CanvasView

if TYPE_CHECKING:
    from textual.pilot import Pilot

FASTER = 3.0
"""The simulated car's clock in these tests: hands and keys are as slow as anywhere."""
WAIT_S = 300.0

Hand = Callable[[str], Any]


def text_of(app: BankwiseApp) -> str:
    """What stands on the screen."""
    return app.screen_stack[0].query_one(CanvasView).shown.text()


async def until(condition: Callable[[], bool]) -> None:
    """Waits for something on the screen or in the session."""
    loop = asyncio.get_running_loop()
    end = loop.time() + WAIT_S
    while not condition():
        assert loop.time() < end, "it did not happen in time"
        await asyncio.sleep(0.02)


async def go_through(
    pilot: Pilot[int], test: str, hands: dict[str, list[str]], say: Hand
) -> str:
    """Makes a guided test with the keys a person presses; returns the result page.

    Args:
        pilot: of the app.
        test: id of the test.
        hands: what hands do to the car in a step, by step.
        say: takes what hands do.
    """
    app: Any = pilot.app
    await pilot.press("3", *["down"] * list(GUIDED).index(test), "enter")
    await until(lambda: bool(app.states["guided"].tag))
    if "which one?" in text_of(app):
        await pilot.press("enter")
    await asyncio.sleep((guided_flow.CARE_S + 0.5) / FASTER)
    await pilot.press("enter")

    def page() -> guided_flow.Page:
        return guided_flow.page_of(app.states["guided"])

    for step in GUIDED[test].steps:
        await until(lambda s=step: page().kind == "run" and page().now == s)  # type: ignore[misc]
        await until(
            lambda: (
                guided_flow.the_run(page(), app.shot).span(page().now.id) is not None
            )
        )
        for line in hands.get(step.id, []):
            pause, _, words = line.rpartition("|")
            await asyncio.sleep(float(pause or 0) / FASTER)
            say(words)
        await until(lambda: guided_flow.left_s(page(), app.shot) == 0)
        await pilot.press("y" if step.asks else "enter")
    await until(lambda: page().kind == guided_flow.RESULT)
    await until(lambda: "back to the list" in text_of(app))
    return text_of(app)


async def watched(
    story: str,
    path: Path,
    ready: Callable[[Any], bool],
    first: str,
    make: Callable[[Pilot[int], Hand], Awaitable[str]],
    after_s: float = 0.0,
) -> str:
    """Watches a car over TCP through the screen, and makes a test on it.

    `first` is said before the drive begins, or once it is `after_s` old.
    """
    with ProcessServer(story, "--faster", f"{FASTER:g}") as server:
        if not after_s:
            server.say(first)
        live = Live(server.address, path, kind="simulated", clock_rate=FASTER)
        app = BankwiseApp(live, sessions_dir=path.parent, quiet=True)
        async with app.run_test(size=(120, 40)) as pilot:
            await until(
                lambda: app.shot is not None and app.shot.columns.end_s > after_s
            )
            if after_s:
                server.say(first)
            await until(lambda: ready(app.shot))
            page = await make(pilot, server.say)
            await asyncio.sleep(0.3)
        live.stop()
    return page


def told(path: Path) -> tuple[set[tuple[str, str]], str]:
    """Outcomes noted while driving, which a later judgement must repeat."""
    analysis = analyse(read_session(path))
    columns = analysis.columns
    noted = {(what, about) for _, what, about in results(columns)}
    case = Case(runs(columns.marks)[-1], columns, analysis.engine.frame)
    again = judge(case)
    assert {(f.outcome, f.about) for f in again if f.outcome} == noted
    return noted, "\n".join(finding.text for finding in again)


async def test_the_circuit_check_over_tcp(tmp_path: Path) -> None:
    """Keys, hands and wires: both ends are caught, and the file tells it again."""
    path = tmp_path / "circuit.jsonl"
    hands = {
        "unplugged": ["0.5|unplug B1S1"],
        "first-wire": ["0.5|high B1S1", "1|release B1S1"],
        "second-wire": ["0.5|low B1S1", "1|release B1S1"],
        "reconnected": ["0.5|plug B1S1"],
    }
    page = await watched(
        "healthy",
        path,
        lambda shot: len(shot.columns["o2_b1s1_v"]) > 5,
        "on",
        lambda pilot, say: go_through(pilot, "circuit", hands, say),
    )
    assert "circuit-good" in page, page
    noted, words = told(path)
    assert noted == {("circuit-good", "B1S1")}
    assert "went high to 1.2" in words
    await shown_again(path)


async def shown_again(path: Path) -> None:
    """A replay of the file lists the run and opens its result."""
    replay = Replay(read_session(path), 1000.0, 0.0)
    app = BankwiseApp(replay, sessions_dir=path.parent, quiet=True)
    async with app.run_test(size=(120, 40)) as pilot:
        await until(lambda: app.shot is not None and bool(results(app.shot.columns)))
        await pilot.press("3", *["down"] * len(GUIDED))
        await until(lambda: "B1S1 circuit-good" in text_of(app))
        await pilot.press("enter")
        await until(lambda: "back to the list" in text_of(app))
        assert "rests at 0.4" in text_of(app)


@pytest.mark.long
async def test_forcing_over_tcp(tmp_path: Path) -> None:
    """The sensor that reads lean is condemned, the other three are cleared."""
    path = tmp_path / "force.jsonl"
    hands = {
        "feed-rich": ["0.5|propane engine 20"],
        "rich": ["8|propane engine 0"],
        "feed-lean": ["0.5|leak engine 30"],
        "lean": ["8|leak engine 0"],
    }
    page = await watched(
        "demo",
        path,
        lambda shot: shot.value("closed_b1") == 1 and shot.value("closed_b2") == 1,
        "idle",
        lambda pilot, say: go_through(pilot, "force-gas", hands, say),
        after_s=15.0,
    )
    assert "ignores-forcing" in page, page
    noted, _ = told(path)
    assert ("ignores-forcing", "B2S1") in noted
    assert ("answers-forcing", "B1S1") in noted
