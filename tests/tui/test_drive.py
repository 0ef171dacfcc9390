"""The whole of it: the simulated car, the live stack, the engine and the screen."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING

from bankwise.adapters.analysis import analyse
from bankwise.adapters.capture import capture
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.records import Record
from bankwise.adapters.replay import Replay
from bankwise.adapters.session_file import Session, read_session
from bankwise.replay_logs import shipped
from bankwise.tui.app import BankwiseApp
from bankwise.tui.openings import open_demo
from bankwise.tui.view import CanvasView

if TYPE_CHECKING:
    from textual.pilot import Pilot

Until = Callable[["Pilot[int]", Callable[[], object]], Awaitable[None]]

NEWCOMER_S = 90.0
"""Session time within which a newcomer has seen a flag rise. Source: our choice."""


def text_of(app: BankwiseApp) -> str:
    """What stands on the screen."""
    return app.screen_stack[0].query_one(CanvasView).shown.text()


def test_the_demo_s_first_flag_comes_while_a_newcomer_still_looks() -> None:
    """In the drive's own time, whatever the machine has to do besides."""
    story = STORIES["demo"]
    records: list[Record] = []
    link = VirtualLink(plug_in(story.car(), story.spec, seed=story.seed))
    header = capture(link, NEWCOMER_S, emit=records.append)
    assert header is not None
    flags = analyse(Session(header, records, 0, ())).engine.flags
    assert any(flag.severity.value in ("act", "stop") for flag in flags)


async def test_a_newcomer_sees_the_demo_s_first_flag(
    tmp_path: Path, until: Until
) -> None:
    """Loop closed, traces moving, a flag up in plain words, codes read, file kept."""
    source = open_demo("demo", tmp_path, faster=12.0)
    app = BankwiseApp(source, sessions_dir=tmp_path, quiet=True)
    async with app.run_test(size=(120, 40)) as pilot:
        await until(
            pilot,
            lambda: (
                app.shot is not None
                and any(flag.severity.value == "act" for flag in app.shot.active)
            ),
        )
        assert app.shot is not None
        text = text_of(app)
        assert (app.shot.ticks["closed_b1"] == 1).any()
        assert (app.shot.ticks["closed_b2"] == 1).any()
        assert sum("⠀" < char <= "⣿" for char in text) > 200
        assert "Next:" in text
        await pilot.press("m")
        await until(pilot, lambda: app.shot is not None and app.shot.columns.marks)
        app.end()
    files = list(tmp_path.glob("*.jsonl"))
    assert len(files) == 1
    kinds = {type(record).__name__ for record in read_session(files[0]).records}
    assert {"Exchange", "FlagRecord", "MarkRecord", "EndRecord"} <= kinds


async def test_a_replay_plays_steps_and_seeks(tmp_path: Path, until: Until) -> None:
    """Space stands still, a step is half a second, back is as good as on."""
    session = read_session(shipped()["bank-breathes-less"])
    replay = Replay(session, 1.0, 60.0, clock=lambda: 0.0)
    app = BankwiseApp(replay, sessions_dir=tmp_path, quiet=True)
    async with app.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: app.shot is not None)
        await pilot.press("space")
        assert replay.paused
        await pilot.press("full_stop")
        assert replay.now() == 60.5
        await pilot.press("comma", "comma")
        assert replay.now() == 59.5
        await until(pilot, lambda: app.shot and app.shot.columns.end_s <= 59.6)
        await pilot.press("greater_than_sign")
        assert replay.speed == 2.0
        await pilot.press("space")
        assert not replay.paused
        await pilot.press("g", "2", "colon", "0", "0", "enter")
        assert replay.now() == 120.0
        await pilot.press("q")
    assert app.return_code == 0
