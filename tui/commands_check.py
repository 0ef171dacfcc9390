"""`bankwise check`: flags, explanations and figures of recorded sessions."""

from __future__ import annotations

from enum import Enum
from typing import Annotated

import typer

app = typer.Typer(rich_markup_mode=None)


class FailOn(Enum):
    """From which severity on a flag makes `check` end with status 1."""

    INFO = "info"
    WATCH = "watch"
    ACT = "act"
    STOP = "stop"


@app.command(
    epilog="Example: bankwise check front-sensor-reads-lean; "
    "bankwise check --json --fail-on act monday.jsonl tuesday.jsonl"
)
def check(
    files: Annotated[
        list[str],
        typer.Argument(help="Session files, or names of saved or shipped sessions."),
    ],
    as_json: Annotated[
        bool,
        typer.Option("--json", help="Print JSON: one object, or a list for several."),
    ] = False,
    fail_on: Annotated[
        FailOn | None,
        typer.Option(help="End with status 1 if a flag is this severe or more."),
    ] = None,
) -> None:
    """Print the flags, explanations and figures of recorded sessions."""
    import json

    from bankwise.adapters.analysis import analyse
    from bankwise.adapters.session_file import read_session
    from bankwise.signals.severity import Severity
    from bankwise.tui.places import find_session, sessions_folder
    from bankwise.tui.print_check import as_text
    from bankwise.tui.print_check_json import as_object

    folder = sessions_folder()
    objects = []
    worst = -1
    for number, name in enumerate(files):
        session = read_session(find_session(name, folder))
        analysis = analyse(session)
        worst = max([worst, *(flag.severity.rank for flag in analysis.engine.flags)])
        if as_json:
            objects.append(as_object(name, session, analysis))
        else:
            typer.echo(("\n" if number else "") + as_text(name, session, analysis))
        for warning in session.warnings:
            typer.echo(f"bankwise: {name}: {warning}", err=True)
    if as_json:
        shown = objects if len(files) > 1 else objects[0]
        typer.echo(json.dumps(shown, ensure_ascii=False, indent=1, allow_nan=False))
    if fail_on is not None and worst >= Severity(fail_on.value).rank:
        raise typer.Exit(1)
