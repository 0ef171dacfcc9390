"""Carries out what panes ask for, and opens another source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bankwise.adapters.errors import AdapterError
from bankwise.tui import messages as m
from bankwise.tui import settings
from bankwise.tui.errors import CommandError

if TYPE_CHECKING:
    from bankwise.tui.app import BankwiseApp
    from bankwise.tui.feed import Feed


HAND_S = 1.0
"""From one thing done by hand to the next. Unit: s. Our choice."""


def keep(app: BankwiseApp) -> None:
    """Keeps the lasting choices; a disk that refuses costs only them."""
    if app.choices is None:
        return
    look = app.look
    kept = settings.Settings(
        app.palette.name,
        look.lanes,
        tuple(sorted(look.tall)),
        look.view.span_s,
        look.sweep,
        look.bell,
    )
    if not settings.save(app.choices, kept):
        app.say("the choice could not be kept: the disk refused it")


def open_source(app: BankwiseApp, open_it: Callable[[], Any]) -> None:
    """Watches what `open_it` opens; a failure is one line, and nothing changes."""
    try:
        source = open_it()
    except (AdapterError, CommandError, OSError) as error:
        app.say(str(error))
        app.notify(str(error), title="Could not be opened", timeout=8)
        return
    app.watch_source(source)
    if app.pane_id == "sessions":
        app.pane_id = "road"


def carry_out(app: BankwiseApp, intent: m.Intent) -> None:
    """Does what a pane asked for."""
    if isinstance(intent, m.Several):
        for one in intent.intents:
            carry_out(app, one)
    elif app.viewer and not isinstance(intent, m.Say | m.ShowTime | m.Acknowledge):
        app.say("a viewer only looks")
    elif isinstance(intent, m.OpenSession | m.CompareSessions | m.ListSessions):
        _with_files(app, intent)
    elif isinstance(intent, m.Touch):
        _touch(app, intent.lines)
    elif isinstance(intent, m.MarkNow | m.Want | m.Ask):
        if app.feed is not None:
            _to_source(app.feed, intent)
    else:
        _on_screen(app, intent)


def _on_screen(
    app: BankwiseApp, intent: m.Say | m.Ring | m.ShowTime | m.Acknowledge
) -> None:
    match intent:
        case m.Say(text):
            app.say(text)
        case m.Ring():
            if app.look.bell:
                app.bell()
        case m.ShowTime(t_s):
            if app.shot is not None:
                view = app.look.view.show(t_s, app.shot.now_s)
                app.look = replace(app.look, view=view)
                app.pane_id = "road"
        case m.Acknowledge(key):
            seen = app.look.acknowledged | {key}
            app.look = replace(app.look, acknowledged=seen)


def _touch(app: BankwiseApp, lines: tuple[str, ...]) -> None:
    touch = getattr(app.feed.source if app.feed else None, "touch", None)
    if touch is None:
        app.say(f"in the simulated car's console: {', '.join(lines)}")
        return

    def do(line: str) -> None:
        try:
            touch(line)
        except AdapterError as error:
            app.say(str(error))

    for place, line in enumerate(lines):
        # A hand needs a moment between two things, and the engine to run down.
        if place:
            app.set_timer(place * HAND_S, partial(do, line))
        else:
            do(line)
    app.say(f"done on the simulated car: {', '.join(lines)}")


def _to_source(feed: Feed, intent: m.MarkNow | m.Want | m.Ask) -> None:
    match intent:
        case m.MarkNow(text, tag):
            feed.source.mark(text, tag)
        case m.Want(rates):
            feed.source.want(rates)
        case m.Ask(requests) if requests:
            feed.source.ask(*requests)
        case m.Ask():
            feed.read_codes()


def _with_files(
    app: BankwiseApp, intent: m.OpenSession | m.CompareSessions | m.ListSessions
) -> None:
    match intent:
        case m.OpenSession(path):
            from bankwise.tui.openings import open_session

            open_source(app, lambda: open_session(path))
        case m.CompareSessions(before, after):
            app.notes = ("comparing …",)
            app.run_worker(
                lambda: _compare(app, before, after),
                thread=True,
                exclusive=True,
                group="compare",
            )
        case m.ListSessions():
            app.say("reading the sessions …")
            app.run_worker(
                lambda: _list(app), thread=True, exclusive=True, group="sessions"
            )


def _list(app: BankwiseApp) -> None:
    from bankwise.tui.session_list import library_rows

    rows = library_rows(app.sessions_dir)
    app.call_from_thread(setattr, app, "files", rows)


def _compare(app: BankwiseApp, before: Path, after: Path) -> None:
    from bankwise.tui.comparing import compare_lines

    lines = compare_lines(before, after)
    app.call_from_thread(setattr, app, "notes", lines)
