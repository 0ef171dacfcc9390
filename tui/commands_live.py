"""Commands that talk to an adapter without a screen: `record`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bankwise.tui.options import Baud, DefinitionFile, Faster, Folder, Note, Port

app = typer.Typer(rich_markup_mode=None)


@app.command(
    epilog="Example: bankwise record --port socket://192.168.0.10:35000 --for 600"
)
def record(
    port: Port = None,
    seconds: Annotated[
        float | None,
        typer.Option("--for", min=1, metavar="S", help="Seconds to record."),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="The file to write."),
    ] = None,
    wait: Annotated[
        bool, typer.Option("--wait", help="Wait for a port that is not there yet.")
    ] = False,
    lines: Annotated[
        bool,
        typer.Option("--lines", help="Print flags and state changes as plain lines."),
    ] = False,
    bell: Annotated[
        bool, typer.Option(help="With --lines, ring for what asks to act.")
    ] = True,
    baud: Baud = None,
    note: Note = None,
    definitions: DefinitionFile = None,
    sessions: Folder = None,
    faster: Faster = 1.0,
) -> None:
    """Record a drive without a screen; Ctrl-C ends it in good order."""
    import sys

    from bankwise.adapters.adapter_notes import Notes
    from bankwise.adapters.definition_file import read_definitions
    from bankwise.adapters.live import Live
    from bankwise.adapters.ports import only_port
    from bankwise.tui.advice import with_advice
    from bankwise.tui.afterword import next_steps
    from bankwise.tui.errors import CommandError
    from bankwise.tui.lines import Lines
    from bankwise.tui.places import file_to_write
    from bankwise.tui.recording import record_until
    from bankwise.tui.words import size

    own = read_definitions(definitions)
    url = port or only_port()
    path = file_to_write(output, sessions, "drive")
    source = Live(
        url,
        path,
        clock_rate=faster,
        baud=baud,
        note=note,
        notes=Notes(),
        definitions=own,
    )
    closing = ""
    if lines:
        told = Lines(source, sys.stdout, bell)
        tally = record_until(source, seconds, None, patient=wait, seen=told.seen)
        closing = told.verdict()
    else:
        tally = record_until(source, seconds, sys.stderr, patient=wait)
    if source.recording.error is not None:
        raise CommandError(f"{path}: recording stopped: {source.recording.error}")
    if tally.up_s is None:
        kept = f" ({path} holds what was heard)" if path.exists() else ""
        error = source.error
        why = with_advice(error) if error else f"{url}: {source.status}"
        raise CommandError(f"{why}{kept}")
    typer.echo(
        f"{path}: {tally.exchanges:,} exchanges in {source.now():.0f} s, "
        f"{size(source.recording.size)}"
    )
    for line in filter(None, (closing, *next_steps(path))):
        typer.echo(line)
