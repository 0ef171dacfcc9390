"""Every key answers visibly, in every situation; nothing urgent is ever covered."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from textual.screen import ModalScreen

from bankwise.signals.severity import Severity
from bankwise.tui.actions import ACTIONS
from bankwise.tui.canvas import Canvas
from bankwise.tui.frame import draw_frame
from bankwise.tui.help import help_lines
from bankwise.tui.keys import KEYS
from bankwise.tui.panes.table import PANES
from bankwise.tui.settings import load
from bankwise.tui.view import CanvasView

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from bankwise.tui.app import BankwiseApp


def shown(app: BankwiseApp) -> str:
    """What stands on the screen, overlays included."""
    update: Any = app.screen._compositor.render_update(
        full=True, screen_stack=app._background_screens
    )
    return "\n".join("".join(part.text for part in row) for row in update.strips)


async def still(pilot: Pilot[int]) -> Any:
    """The app with one frame drawn and no further one to come."""
    app: Any = pilot.app
    await pilot.pause()
    app.frames.stop()
    app.feed.pull()
    app.draw()
    await pilot.pause()
    return app


def inks(app: BankwiseApp) -> bytes:
    """Characters and looks of the canvas on the screen."""
    canvas = app.screen_stack[0].query_one(CanvasView).shown
    return canvas.chars.tobytes() + canvas.looks.tobytes()


@pytest.mark.parametrize("pane", list(PANES))
async def test_every_key_gives_a_visible_answer(app: BankwiseApp, pane: str) -> None:
    """The picture changes, a line says why not, or a question is asked."""
    async with app.run_test(size=(100, 30)) as pilot:
        await still(pilot)
        app.files = (("/x/a", "a", "2026-03-01 10:00", "8:00", ""),)
        for place, key in enumerate(KEYS):
            if key.action in ("leave", "palette"):
                continue
            app.pane_id = pane
            app.said = ("", 0.0)
            app.draw()
            before, theme = inks(app), app.palette.name
            app.action_act(place)
            changed = inks(app) != before or app.palette.name != theme
            assert changed or isinstance(app.screen, ModalScreen), key.words
            while len(app.screen_stack) > 1:
                await pilot.pause()
                app.pop_screen()


async def test_seen_is_answered_after_the_bell(app: BankwiseApp) -> None:
    """Two keys one after the other: each has its own line."""
    async with app.run_test(size=(80, 24)) as pilot:
        await still(pilot)
        await pilot.press("b")
        assert "the bell is off" in shown(app)
        await pilot.press("a")
        assert "seen: 1 flag" in shown(app)
        await pilot.press("a")
        assert "seen before" in shown(app)


async def test_an_answer_leaves_the_bottom_line_whole(app: BankwiseApp) -> None:
    """Recording, gaps, lag, help, mark and quit stay while a line is said."""
    async with app.run_test(size=(80, 24)) as pilot:
        await still(pilot)
        await pilot.press("b")
        last = shown(app).splitlines()[-1]
    for words in ("REC", "gaps 0", "lag", "? help", "m mark", "q quit"):
        assert words in last


@pytest.mark.parametrize(
    "key", ["question_mark", "l", "g", "M", "0", "ctrl+p", "q", "t"]
)
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_no_overlay_covers_a_stop_flag(
    app: BankwiseApp, reader: Any, key: str, size: tuple[int, int]
) -> None:
    """Whatever is asked or listed, the line of the stop flag and the link stay."""
    span = reader.engine.flags[0]
    span.severity = Severity.STOP
    span.text = "B2 misfires: stop."
    async with app.run_test(size=size) as pilot:
        await still(pilot)
        await pilot.press(key)
        await pilot.pause()
        lines = shown(app).splitlines()
    assert "■ B2 misfires: stop." in lines[1]
    assert "SIMULATED" in lines[0]


async def test_a_stop_flag_that_rises_under_an_overlay_is_seen(
    app: BankwiseApp, reader: Any
) -> None:
    """The screen beneath goes on, and rings."""
    flags, reader.engine.flags = reader.engine.flags, []
    async with app.run_test(size=(80, 24)) as pilot:
        await still(pilot)
        await pilot.press("question_mark")
        flags[0].severity = Severity.STOP
        reader.engine.flags = flags
        assert app.feed is not None
        app.feed._costly.clear()
        app.draw()
        await pilot.pause()
        assert "■ B2" in shown(app).splitlines()[1]


async def test_acknowledging_never_takes_a_stop_flag_away(
    app: BankwiseApp, reader: Any
) -> None:
    """Seen or not, it stays under the top line in every situation."""
    reader.engine.flags[0].severity = Severity.STOP
    async with app.run_test(size=(80, 24)) as pilot:
        await still(pilot)
        await pilot.press("a")
        for pane in PANES:
            app.pane_id = pane
            app.draw()
            await pilot.pause()
            assert "■ B2" in shown(app).splitlines()[1]


async def test_quitting_does_not_say_done_before_the_answer(app: BankwiseApp) -> None:
    """The file will be closed; it is not yet."""
    async with app.run_test(size=(80, 24)) as pilot:
        await still(pilot)
        await pilot.press("q")
        await pilot.pause()
        assert "will be sealed and closed" in shown(app)


async def test_the_order_of_lanes_is_kept_for_the_next_start(
    app: BankwiseApp, tmp_path: Path
) -> None:
    """The first lane moved down is second after a restart."""
    async with app.run_test(size=(80, 24)) as pilot:
        await still(pilot)
        await pilot.press("l", "shift+down", "enter")
    assert load(tmp_path / "screen.json").lanes[:2] == ("trim", "front")


async def test_the_wheel_looks_back_and_a_click_opens_the_flag(
    app: BankwiseApp,
) -> None:
    """The mouse does what keys do, and is never needed."""
    async with app.run_test(size=(80, 24)) as pilot:
        await still(pilot)
        view = app.query_one(CanvasView)
        view.on_mouse_scroll_up(Any)  # type: ignore[arg-type]
        await pilot.pause()
        assert app.look.view.held
        await pilot.click(CanvasView, offset=(5, 1))
        await pilot.pause()
        assert app.pane_id == "flags"


@pytest.mark.parametrize("pane", list(PANES))
def test_the_help_agrees_with_the_keys(pane: str) -> None:
    """Each key once, as it is written on the keyboard, with what it does."""
    lines = help_lines(PANES[pane])
    for key in (*PANES[pane].keys, *KEYS):
        assert lines.count(f"  {key.label:>6}  {key.words}") == 1
    bound = [name for key in KEYS for name in key.keys]
    assert len(bound) == len(set(bound))
    assert {key.action for key in KEYS} == set(ACTIONS)


@pytest.mark.parametrize("pane", sorted(set(PANES) - {"road", "warmup", "review"}))
def test_an_answer_covers_no_text(make_shot: Any, make_look: Any, pane: str) -> None:
    """A situation of words moves up by a row; what it says last is still there."""
    shot, look = make_shot(), make_look()
    for size in ((80, 24), (120, 40)):
        one, two = Canvas.blank(*size), Canvas.blank(size[0], size[1] - 1)
        draw_frame(one, PANES[pane], shot, look, "said")
        draw_frame(two, PANES[pane], shot, look, "")
        assert one.text().splitlines()[:-2] == two.text().splitlines()[:-1]
        assert one.text().splitlines()[-2] == " said"
