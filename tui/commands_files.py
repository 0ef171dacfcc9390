"""Sessions from and for other programs: `export` and `import`."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(rich_markup_mode=None)


class Form(Enum):
    """Formats that a session can be exported to."""

    CSV = "csv"
    PARQUET = "parquet"
    MF4 = "mf4"


@app.command(
    epilog="Example: bankwise export healthy --to csv -o healthy.csv; "
    "bankwise export monday.jsonl --to parquet"
)
def export(
    file: Annotated[
        str, typer.Argument(help="Session file, or name of a saved or shipped session.")
    ],
    to: Annotated[Form, typer.Option("--to", help="The format to write.")],
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", help="The file to make; else the session's name."),
    ] = None,
) -> None:
    """Write decoded signals for other programs, with times and units.

    CSV is long form: t_s,signal,value,unit. Parquet needs the extra `parquet`, MDF 4
    the extra `mf4`.
    """
    from bankwise.adapters.decode import Decoder
    from bankwise.adapters.session_file import read_session
    from bankwise.tui.export import export as write
    from bankwise.tui.places import find_session, sessions_folder

    path = find_session(file, sessions_folder())
    session = read_session(path)
    decoder = Decoder(session.header)
    decoder.feed(session.records)
    columns = decoder.columns
    stem = path.name.removesuffix(".gz").removesuffix(".jsonl")
    target = out or Path(f"{stem}.{to.value}")
    write(to.value, target, session.header, columns)
    for warning in session.warnings:
        typer.echo(f"bankwise: {file}: {warning}", err=True)
    count = sum(len(column) for column in columns.measured.values())
    typer.echo(f"{target}: {count} values of {len(columns.measured)} signals")


@app.command(
    name="import",
    epilog="Example: bankwise import logger.csv --map logger.toml -o monday.jsonl",
)
def import_(
    file: Annotated[Path, typer.Argument(help="A table with one row a moment (CSV).")],
    how: Annotated[
        Path,
        typer.Option("--map", help="Which column is which signal, as TOML."),
    ],
    out: Annotated[Path, typer.Option("-o", "--out", help="The session file to make.")],
) -> None:
    """Make a session of a time series from elsewhere.

    Repeats of a value count as fresh samples only as often as the column is really
    refreshed; rows more than three seconds apart are a hole in the data.
    """
    from bankwise.adapters.importing import import_csv
    from bankwise.tui.words import clock

    made = import_csv(file, how, out)
    for warning in made.warnings:
        typer.echo(f"bankwise: {file}: {warning}", err=True)
    typer.echo(f"{out}: {clock(made.seconds)}")
    for signal, count in sorted(made.samples.items()):
        stale = made.stale[signal]
        left_out = f", {stale} stale repeats left out" if stale else ""
        typer.echo(f"  {signal}: {count} values{left_out}")
    for first, last in made.gaps:
        typer.echo(f"  no rows from {clock(first)} to {clock(last)}")
