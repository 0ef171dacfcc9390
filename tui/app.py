"""The screen: takes a source, shows its session, and hands keys to the right place.

It owns the frame timer and the screen's state, and nothing else: what is drawn is in
the panes, what a key means is in the key table, what is true is in the engine.
"""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import ClassVar

from textual import events
from textual.app import App, ComposeResult, SystemCommand
from textual.screen import Screen

from bankwise.adapters.source import Source
from bankwise.tui import settings
from bankwise.tui.actions import BINDINGS, pane_act, perform, start, watch_panes
from bankwise.tui.afterword import tell_afterwards
from bankwise.tui.drawn import Drawn
from bankwise.tui.feed import Feed, Told
from bankwise.tui.frame import draw_frame, fits
from bankwise.tui.guided_banner import banner
from bankwise.tui.key_answers import answer
from bankwise.tui.keys import KEYS
from bankwise.tui.panes import Pane
from bankwise.tui.panes.table import PANES
from bankwise.tui.prompts import Caution
from bankwise.tui.snapshot import Look, PaneState, Snapshot
from bankwise.tui.terminal import Lateness, on_ending, unsent
from bankwise.tui.themes import PALETTES
from bankwise.tui.view import CanvasView

FRAME_S = 0.1
"""Time between two frames. Unit: s. Source: our choice; measured to cost under 10 %."""

_SAY_S = 4.0


class BankwiseApp(App[int]):
    """The whole screen.

    Args:
        source: what to watch, not yet started; None opens the start screen.
        sessions_dir: where sessions are kept.
        start_pane: id of the first situation.
        choices: file of the lasting choices; None keeps none.
        theme_name: overrides the kept theme.
        make_feed: makes the feed of a source.
        viewer: True when this screen may only look.
        quiet: True leaves out the caution on opening, for pictures and tests.
    """

    CSS_PATH = "screen.tcss"
    TITLE = "bankwise"
    BINDINGS: ClassVar = BINDINGS

    def __init__(
        self,
        source: Source | None,
        *,
        sessions_dir: Path,
        start_pane: str = "road",
        choices: Path | None = None,
        theme_name: str | None = None,
        make_feed: Callable[[Source], Feed] = Feed,
        quiet: bool = False,
        viewer: bool = False,
    ) -> None:
        super().__init__()
        kept = settings.load(choices) if choices else settings.Settings()
        self.choices = choices
        self.palette = PALETTES[theme_name or kept.theme]
        look = settings.first_look(kept, plain=self.no_color)
        self.look = replace(look, drawn=Drawn())
        self.sessions_dir = sessions_dir
        self.make_feed = make_feed
        self.feed: Feed | None = None
        self.shot: Snapshot | None = None
        self.pane_id = start_pane
        self.states: dict[str, PaneState] = {}
        self.files: tuple[tuple[str, ...], ...] = ()
        self.notes: tuple[str, ...] = ()
        self._first_source = source
        self.lateness = Lateness(FRAME_S)
        self.said = ("", 0.0)
        self.frames_skipped = 0
        self._cautioned = quiet or viewer
        self.viewer = viewer

    def compose(self) -> ComposeResult:
        """One widget; everything on it is drawn."""
        yield CanvasView(self.palette)

    def on_mount(self) -> None:
        """Sets the theme, starts the source and the frames."""
        for palette in PALETTES.values():
            self.register_theme(palette.textual())
        self.theme = f"bankwise-{self.palette.name}"
        on_ending(self.end)
        if self._first_source is not None:
            self.watch_source(self._first_source)
        else:
            start(self, None)
        # What lives now lives to the end; the collector need not walk it each time.
        gc.collect()
        gc.freeze()
        self.frames = self.set_interval(FRAME_S, self.frame)

    @property
    def pane(self) -> Pane:
        """The situation shown."""
        return PANES[self.pane_id]

    def watch_source(self, source: Source) -> None:
        """Shows this source from now on; the one before is closed in good order."""
        if self.feed is not None:
            self.feed.source.stop()
        self.feed = self.make_feed(source)
        self.states.clear()
        self.look = replace(
            self.look,
            view=self.look.view.back_to_now(),
            acknowledged=frozenset(),
            drawn=Drawn(),
        )
        source.start()
        if not self._cautioned and source.kind != "replay":
            self._cautioned = True
            self.push_screen(Caution())

    def say(self, text: str) -> None:
        """Shows one line above the bottom for a few seconds."""
        self.said = (text, time.monotonic() + _SAY_S)

    def frame(self) -> None:
        """Reads what came in and, unless the terminal is behind, draws it."""
        self.lateness.frame(time.monotonic())
        if self.feed is None:
            return
        self._announce(self.feed.pull())
        if unsent(self._driver) > 0:
            self.frames_skipped += 1
            return
        if self.lateness.frames % self.pane.every == 0:
            self.draw()

    def draw(self) -> None:
        """Draws the situation and the fixed lines about it."""
        # A frame may still come while the screen is put up or taken down.
        views = self.screen_stack[0].query(CanvasView) if self.screen_stack else ()
        view = next(iter(views), None)
        if view is None or self.feed is None:
            return
        width, height = view.size
        if not fits(width, height):
            return
        shot = self.feed.snapshot(self.pane.needs, self.lateness.ms)
        self.shot = shot
        watch_panes(self, shot)
        canvas = view.draft(width, height)
        said = self.said[0] if time.monotonic() < self.said[1] else ""
        said = said or banner(self.pane_id, self.states)
        draw_frame(canvas, self.pane, shot, self.pane_look(), said)
        view.present(canvas, self.palette)

    def action_act(self, place: int) -> None:
        """Does what the key of that place in the table does."""
        perform(self, KEYS[place])
        self.draw()

    def on_key(self, event: events.Key) -> None:
        """Keys that belong to the situation shown only."""
        for key in self.pane.keys:
            if event.key in key.keys and len(self.screen_stack) == 1:
                event.stop()
                event.prevent_default()
                answer(self, key, partial(pane_act, self, key.action))
                self.draw()

    def pane_look(self) -> Look:
        """The screen's state as the situation shown gets it."""
        return replace(
            self.look,
            state=self.states.get(self.pane_id, PaneState()),
            files=self.files,
            notes=self.notes,
        )

    def _announce(self, told: Iterable[Told]) -> None:
        if self.look.bell and any(one.urgent for one in told):
            self.bell()

    def on_resize(self, _event: events.Resize) -> None:
        """Draws at once at the new size."""
        self.call_after_refresh(self.draw)

    def end(self) -> None:
        """Closes the recording in good order and leaves."""
        if self.feed is not None:
            self.feed.source.stop()
        self.exit(0)

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Every key of the table, by name, for the command palette."""
        for key in (key for key in KEYS if key.action != "palette"):
            act = partial(perform, self, key)
            yield SystemCommand(f"{key.words} ({key.label})", key.group.value, act)


def run_app(
    source: Source | None,
    *,
    sessions_dir: Path,
    start_pane: str = "road",
    theme: str | None = None,
    viewer: bool = False,
) -> int:
    """Runs the screen until the person leaves; the source is closed after that.

    Args:
        source: not yet started; None opens the start screen.
        sessions_dir: where sessions are kept.
        start_pane: id of the first situation.
        viewer: True when this screen may only look.
        theme: `dark`, `sun` or `night`; None for the one used last.

    Returns:
        The exit status: 0 when the person left.
    """
    app = BankwiseApp(
        source,
        sessions_dir=sessions_dir,
        start_pane=start_pane,
        choices=None if viewer else settings.settings_file(),
        theme_name=theme,
        viewer=viewer,
    )
    try:
        app.run()
    finally:
        if app.feed is not None:
            app.feed.source.stop()
    if app.feed is not None and not viewer:
        tell_afterwards(app.feed.source)
    return app.return_code or 0
