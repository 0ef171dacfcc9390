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
    "bankwise check --json --fail-on act healthy monday.jsonl"
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
    """Print the flags, explanations and figures of recorded sessions.

    A file that cannot be read is said so and the others are checked all the same; the
    status is then 2.
    """
    import json
    import shutil
    import sys

    from bankwise.signals.severity import Severity
    from bankwise.tui.checking import Job, check_all
    from bankwise.tui.places import folder_named
    from bankwise.tui.recording import StatusLine

    folder = folder_named()
    width = None if sys.stdout.isatty() else shutil.get_terminal_size((88, 0)).columns
    line = StatusLine(sys.stderr)
    objects = []
    worst, unread = -1, False
    line.show(_doing(0, files))
    for done, checked in enumerate(
        check_all([Job(name, folder, as_json, width) for name in files])
    ):
        line.clear()
        if checked.error:
            unread = True
            typer.echo(f"bankwise: {checked.error}", err=True)
        elif checked.found is not None:
            objects.append(checked.found)
        else:
            typer.echo(("\n" if done else "") + checked.text)
        for warning in checked.warnings:
            typer.echo(f"bankwise: {checked.name}: {warning}", err=True)
        worst = max(worst, checked.worst)
        if done + 1 < len(files):
            line.show(_doing(done + 1, files))
    if as_json and (objects or len(files) > 1):
        shown = objects if len(files) > 1 else objects[0]
        typer.echo(json.dumps(shown, ensure_ascii=False, indent=1, allow_nan=False))
    if unread:
        raise typer.Exit(2)
    if fail_on is not None and worst >= Severity(fail_on.value).rank:
        raise typer.Exit(1)


def _doing(done: int, files: list[str]) -> str:
    """What is being checked now, for the line that a waiting person sees."""
    return f"checking {files[done]} ({done + 1} of {len(files)})"
