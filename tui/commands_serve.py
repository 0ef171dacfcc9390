"""Commands for those who watch along: `watch` in a terminal, `serve` in a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bankwise.tui.options import Folder

app = typer.Typer(rich_markup_mode=None)

File = Annotated[
    str | None,
    typer.Argument(help="A session being recorded; the newest when not given."),
]


def _newest(file: str | None, sessions: Path | None) -> Path:
    from bankwise.tui.errors import CommandError
    from bankwise.tui.places import find_session, sessions_folder
    from bankwise.tui.session_list import session_files

    folder = sessions_folder(sessions)
    if file is not None:
        return find_session(file, folder)
    found = session_files(folder)
    if not found:
        raise CommandError(f"no session in {folder} yet: start one, then watch it")
    return found[0]


@app.command(epilog="Example: bankwise watch")
def watch(file: File = None, sessions: Folder = None) -> None:
    """Watch along while someone else records."""
    from bankwise.tui.app import run_app
    from bankwise.tui.on_screen import need_terminal
    from bankwise.tui.openings import open_session
    from bankwise.tui.watching import Watch

    path = _newest(file, sessions)
    need_terminal()
    source = open_session(path) if path.suffix == ".gz" else Watch(path)
    raise typer.Exit(run_app(source, sessions_dir=path.parent, viewer=True))


@app.command(epilog="Example: bankwise serve --host 192.168.1.20")
def serve(
    file: File = None,
    host: Annotated[
        str, typer.Option(help="Address to listen on; others need the token.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535)] = 8765,
    token: Annotated[
        str | None, typer.Option(help="What a viewer must know; made up if needed.")
    ] = None,
    sessions: Folder = None,
) -> None:
    """Show a session in a browser; viewers only look."""
    from bankwise.tui.errors import CommandError

    path = _newest(file, sessions)
    try:
        from bankwise.tui.serving import Viewers
    except ImportError:
        raise CommandError(
            "serving needs an extra: pip install 'bankwise[web]'"
        ) from None
    try:
        Viewers(path.resolve(), host, port, token).serve()
    except OSError as error:
        raise CommandError(
            f"cannot listen on {host}:{port}: {error.strerror}"
        ) from None
