"""The whole screen under keys, on a made-up drive with a clock that stands still."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from textual.screen import ModalScreen

from bankwise.signals.severity import Severity
from bankwise.tui.keys import KEYS, SITUATIONS
from bankwise.tui.panes.table import PANES
from bankwise.tui.view import CanvasView

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from bankwise.tui.app import BankwiseApp

Until = Callable[["Pilot[int]", Callable[[], object]], Awaitable[None]]

SIZES = ((80, 24), (120, 40), (200, 60))


def text_of(app: BankwiseApp) -> str:
    """What stands on the screen."""
    return app.screen_stack[0].query_one(CanvasView).shown.text()


def braille_in(text: str) -> int:
    """How many cells hold a trace."""
    return sum("⠀" < char <= "⣿" for char in text)


async def press(pilot: Pilot[int], *keys: str) -> None:
    """Presses keys one after another and lets the screen draw."""
    app: Any = pilot.app
    await pilot.pause()
    app.frame()
    app.draw()
    for key in keys:
        await pilot.press(key)
    await pilot.pause()
    app.frame()
    app.draw()


@pytest.mark.parametrize("size", SIZES)
async def test_the_road_test_says_at_a_glance_what_matters(
    app: BankwiseApp, size: tuple[int, int]
) -> None:
    """Trims, difference, loop, flag, recording and link are there at any size."""
    async with app.run_test(size=size) as pilot:
        await press(pilot)
        text = text_of(app)
    for words in (
        "BANK 1 trim",
        "BANK 2 trim",
        "ENGINE rpm",
        "closed loop",
        "OPEN: FAULT",
        "SIMULATED",
        "link up",
        "REC drive.jsonl",
        "B2 subtracts",
        "gaps 0",
        "lag",
    ):
        assert words in text
    assert "█" in text
    assert braille_in(text) > size[0]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("pane", list(PANES))
async def test_every_situation_fills_any_size(
    app: BankwiseApp, size: tuple[int, int], pane: str
) -> None:
    """Its key opens it, its title says so, and something is drawn."""
    key = next(key for name, key, _ in SITUATIONS if name == pane)
    async with app.run_test(size=size) as pilot:
        await press(pilot, key)
        text = text_of(app)
    assert PANES[pane].title.upper() in text
    assert sum(bool(line.strip()) for line in text.splitlines()) >= 6


async def test_holding_stands_still_while_records_come_in(
    app: BankwiseApp, source: Any, until: Until
) -> None:
    """The right edge stays, the source is read on, and one key returns to now."""
    async with app.run_test() as pilot:
        await press(pilot, "space")
        source.at_s = 95.0
        source.mark("while held")
        await until(pilot, lambda: source.waiting == [])
        await press(pilot)
        assert "HELD" in text_of(app)
        assert app.look.view.end_s == 90.0
        await press(pilot, "n")
        assert not app.look.view.held


async def test_one_key_marks_the_moment_it_is_pressed(
    app: BankwiseApp, source: Any
) -> None:
    """The mark is set before anything is asked."""
    async with app.run_test() as pilot:
        await press(pilot, "m")
    assert source.marks == [("mark 2", None)]


async def test_a_note_is_about_the_moment_its_key_was_pressed(
    app: BankwiseApp, source: Any
) -> None:
    """Typing takes time; the note keeps the first moment."""
    async with app.run_test() as pilot:
        await press(pilot, "M")
        source.at_s = 99.0
        await press(pilot, "h", "i", "enter")
    assert source.marks == [("hi", "note-at:90.0")]


async def test_a_flag_opens_its_proof(app: BankwiseApp) -> None:
    """From anywhere: what it leaves open, next check, limits with their source."""
    async with app.run_test(size=(120, 40)) as pilot:
        await press(pilot, "o")
        text = text_of(app)
    assert "Does not prove" in text
    assert "Next check" in text
    assert "banks apart by more than: 15 %" in text
    assert "MOTOR magazine" in text
    assert braille_in(text) > 60


async def test_acknowledging_takes_the_shouting_away(app: BankwiseApp) -> None:
    """The line under the top goes; the flag stays in the list."""
    async with app.run_test(size=(120, 40)) as pilot:
        await press(pilot)
        assert "a: seen" in text_of(app).splitlines()[1]
        await press(pilot, "a")
        assert text_of(app).splitlines()[1] == ""
        assert "mirror-trims" in text_of(app)


async def test_quitting_while_recording_asks(app: BankwiseApp, source: Any) -> None:
    """No goes on recording; yes closes the source and leaves."""
    async with app.run_test() as pilot:
        await press(pilot, "q")
        assert isinstance(app.screen, ModalScreen)
        await press(pilot, "n")
        assert not source.stopped
        await press(pilot, "ctrl+q", "y")
    assert source.stopped
    assert app.return_code == 0


async def test_themes_step_round_and_are_kept(app: BankwiseApp) -> None:
    """Dark, sun, night and dark again; the choice is in the file."""
    names = []
    async with app.run_test() as pilot:
        for _ in range(3):
            await press(pilot, "t")
            names.append(app.palette.name)
    assert names == ["sun", "night", "dark"]
    assert app.choices is not None
    assert '"theme": "dark"' in app.choices.read_text()


async def test_help_lists_every_key(app: BankwiseApp) -> None:
    """Each row of the key table is in the overlay."""
    async with app.run_test(size=(200, 60)) as pilot:
        await press(pilot, "question_mark")
        shown = "\n".join(
            strip.text for strip in app.screen._compositor.render_strips()
        )
    for key in KEYS:
        assert key.words in shown


async def test_cursor_and_anchor_measure(app: BankwiseApp) -> None:
    """Two cursors say the time between them and the switches of each front sensor."""
    async with app.run_test(size=(120, 40)) as pilot:
        await press(pilot, "x", *["shift+right"] * 3)
        text = text_of(app)
    assert "Δt" in text
    assert "B1S1 ≥" in text


async def test_a_resize_storm_leaves_a_whole_screen(
    app: BankwiseApp, until: Until
) -> None:
    """After many sizes, down to tiny ones, the last one is drawn whole."""
    async with app.run_test(size=(120, 40)) as pilot:
        for width, height in ((81, 25), (20, 5), (250, 70), (40, 12), (100, 30)):
            await pilot.resize_terminal(width, height)
            await pilot.pause(0.02)
        view = app.screen_stack[0].query_one(CanvasView)
        await until(pilot, lambda: (view.shown.width, view.shown.height) == (100, 30))
        assert "ROAD TEST" in view.shown.text()


async def test_a_source_that_fails_to_record_says_so(
    app: BankwiseApp, source: Any
) -> None:
    """A full disk is on the bottom line, in words."""
    source.recording = type(source.recording)(None, 0, None, "the disk is full")
    async with app.run_test() as pilot:
        await press(pilot)
        assert "NOT RECORDING: the disk is full" in text_of(app)


async def test_lanes_are_chosen_and_kept(app: BankwiseApp) -> None:
    """Hiding the first lane takes it off the screen and out of the file."""
    async with app.run_test() as pilot:
        await press(pilot, "l", "space", "enter")
    assert "front" not in app.look.lanes
    assert app.choices is not None
    assert '"front"' not in app.choices.read_text()


async def test_a_key_of_the_situation_goes_before_the_same_key_elsewhere(
    app: BankwiseApp, reader: Any
) -> None:
    """On the flags `a` acknowledges the one picked, elsewhere all that are up."""
    span = reader.engine.flags[0]
    other = type(span)(**(vars(span) | {"id": "trim-at-limit", "first_s": 80.0}))
    reader.engine.flags.append(other)
    async with app.run_test(size=(100, 30)) as pilot:
        await press(pilot, "5", "a")
        assert app.look.acknowledged == {("trim-at-limit", "B2")}
        await press(pilot, "1", "a")
        assert len(app.look.acknowledged) == 2


async def test_ctrl_c_asks_like_any_other_way_to_leave(
    app: BankwiseApp, source: Any
) -> None:
    """A habit must not end a recording unasked."""
    async with app.run_test() as pilot:
        await press(pilot, "ctrl+c")
        assert isinstance(app.screen, ModalScreen)
        assert not source.stopped


async def test_the_palette_does_what_the_keys_do(app: BankwiseApp) -> None:
    """Every key of the table is a command by name."""
    async with app.run_test() as pilot:
        await press(pilot)
        commands = list(app.get_system_commands(app.screen))
        assert len(commands) == len(KEYS) - 1
        next(c for c in commands if c.title.startswith("Figures")).callback()
        assert app.pane_id == "figures"


async def test_bell_rings_on_what_needs_acting_on_and_can_be_silenced(
    app: BankwiseApp, reader: Any, source: Any
) -> None:
    """Once a rising act or stop flag; not for watch, not when off, not long after."""
    rung: list[int] = []

    def ring() -> None:
        rung.append(1)

    def rise(severity: Severity) -> None:
        reader.events = [
            SimpleNamespace(
                t=1.0,
                id="x",
                state="raised",
                about="B1",
                severity=severity,
                text="x",
            )
        ]

    async with app.run_test() as pilot:
        await press(pilot)
        app.bell = ring  # type: ignore[method-assign]
        for severity in (Severity.WATCH, Severity.ACT, Severity.STOP):
            rise(severity)
            source.mark("so that there is something to read")
            app.frame()
        assert len(rung) == 2
        await press(pilot, "b")
        rise(Severity.STOP)
        source.mark("again")
        app.frame()
        assert len(rung) == 2
