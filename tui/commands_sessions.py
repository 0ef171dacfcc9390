"""Commands on session files as files: `verify`."""

from __future__ import annotations

from typing import Annotated

import typer

app = typer.Typer(rich_markup_mode=None)


@app.command(epilog="Example: bankwise verify monday.jsonl tuesday.jsonl.gz")
def verify(
    files: Annotated[
        list[str],
        typer.Argument(help="Session files, or names of saved or shipped sessions."),
    ],
) -> None:
    """Check the seals of sessions: whole, cut short, or altered.

    Ends with status 1 unless every file is whole. A hash chain shows a change made
    by accident or without rewriting the rest; who holds a file can rewrite all of it,
    so the last seal proves the file only where it was noted elsewhere.
    """
    from bankwise.adapters.seals import State
    from bankwise.adapters.seals import verify as check_seals
    from bankwise.tui.places import find_session, sessions_folder
    from bankwise.tui.words import clock

    folder = sessions_folder()
    all_whole = True
    for name in files:
        verdict = check_seals(find_session(name, folder))
        all_whole &= verdict.state is State.WHOLE
        typer.echo(f"{name}: {verdict.text}")
        if verdict.sealed_s is not None:
            typer.echo(
                f"  {verdict.seals} seals to {clock(verdict.sealed_s)}, "
                f"last {verdict.last_seal}"
            )
    if not all_whole:
        raise typer.Exit(1)
