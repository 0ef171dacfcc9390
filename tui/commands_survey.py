"""`bankwise survey`: a whole folder of sessions as one table."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(rich_markup_mode=None)


@app.command(
    epilog="Example: bankwise survey fleet/ -o fleet.survey; "
    "bankwise survey /data/drives --on tcp://scheduler:8786"
)
def survey(
    folder: Annotated[
        Path, typer.Argument(help="Looked through with all its sub-folders.")
    ],
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="DIR", help="Else survey.parquet in the folder."
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option("--on", metavar="URL", help="A Dask scheduler; else all cores."),
    ] = None,
    cores: Annotated[int | None, typer.Option(min=1, help="Of this machine.")] = None,
    again: Annotated[
        bool, typer.Option("--again", help="Judge files that have not changed, too.")
    ] = False,
) -> None:
    """Judge a folder of sessions, one Parquet row each.

    Run it again to go on after an interruption or to add new sessions. A file that
    cannot be read is a row with an error. Needs the extra `parquet`; --on needs
    `fleet`.
    """
    import sys

    from bankwise.tui.errors import CommandError
    from bankwise.tui.limits import in_force
    from bankwise.tui.recording import StatusLine

    try:
        from bankwise.tui import survey as surveying
    except ImportError:
        raise CommandError(
            "a survey needs an extra: pip install 'bankwise[parquet]'"
        ) from None
    limits = in_force()
    if cluster:
        work = surveying.on_cluster(cluster, limits)
    else:
        work = surveying.on_cores(cores, limits)
    out = output or folder / "survey.parquet"
    line = StatusLine(sys.stderr)
    try:
        done, errors = surveying.survey(
            folder,
            out,
            work,
            thresholds=limits,
            again=again,
            tell=lambda done, of: line.show(f"{done:,} of {of:,} sessions"),
        )
    finally:
        line.clear()
    typer.echo(f"{out}: {done:,} sessions judged now, {errors:,} rows with an error")
