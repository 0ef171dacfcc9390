"""Opens the screen where there is one, and says afterwards what to do next."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import typer

from bankwise.adapters.source import Source
from bankwise.tui.errors import NoTerminal

_BROWSER = "TEXTUAL_DRIVER"
"""Set by the server that shows the screen in a browser: there is no terminal then."""


def need_terminal() -> None:
    """Makes sure that a screen can be shown.

    Raises:
        NoTerminal: when keys or pictures would go to a file or a pipe.
    """
    if os.environ.get(_BROWSER):
        return
    if os.environ.get("TERM") == "dumb":
        raise NoTerminal
    if not all(stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr)):
        raise NoTerminal


def show(source: Source | None, folder: Path, practice: Path | None = None) -> int:
    """Runs the screen until the person leaves; returns the exit status.

    Args:
        source: not yet started; None opens the start screen.
        folder: where sessions are kept.
        practice: a session made to practise on, whose answer may be asked for.

    Raises:
        NoTerminal: when there is no terminal to show it on.
    """
    from bankwise.tui.app import run_app

    need_terminal()
    status = run_app(source, sessions_dir=folder)
    if practice is not None:
        from bankwise.tui.afterword import next_steps

        for line in next_steps(practice, blind=True):
            typer.echo(line)
    return status
