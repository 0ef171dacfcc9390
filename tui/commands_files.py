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
    epilog="Example: bankwise export healthy; "
    "bankwise export healthy --to parquet -o healthy.parquet"
)
def export(
    file: Annotated[
        str, typer.Argument(help="Session file, or name of a saved or shipped session.")
    ],
    to: Annotated[
        Form | None,
        typer.Option(
            "--to", help="The format to write; else by the ending of --out, else csv."
        ),
    ] = None,
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
    from bankwise.tui.places import find_session, folder_named
    from bankwise.tui.progress import Progress

    path = find_session(file, folder_named())
    stem = path.name.removesuffix(".gz").removesuffix(".jsonl")
    form = to or _form_of(out)
    target = out or Path(f"{stem}.{form.value}")
    with Progress() as progress:
        progress.tell(f"reading {path.name}")
        session = read_session(path)
        decoder = Decoder(session.header)
        decoder.feed(session.records)
        columns = decoder.columns
        progress.tell(f"writing {target}")
        write(form.value, target, session.header, columns)
    for warning in session.warnings:
        typer.echo(f"bankwise: {file}: {warning}", err=True)
    count = sum(len(column) for column in columns.measured.values())
    typer.echo(f"{target}: {count} values of {len(columns.measured)} signals")


def _form_of(out: Path | None) -> Form:
    """The format that a file's ending names; CSV when it names none."""
    ending = out.suffix.lower().removeprefix(".") if out is not None else ""
    return Form(ending) if ending in {form.value for form in Form} else Form.CSV


@app.command(
    name="import",
    epilog="Example: bankwise import drive.csv --draft drive.toml; then read and mend "
    "drive.toml; then bankwise import drive.csv --map drive.toml -o drive.jsonl",
)
def import_(
    file: Annotated[Path, typer.Argument(help="A table with one row a moment (CSV).")],
    how: Annotated[
        Path | None,
        typer.Option("--map", help="Which column is which signal, as TOML."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", help="The session file to make.")
    ] = None,
    draft: Annotated[
        Path | None,
        typer.Option(metavar="MAP", help="Only write a first map, from column names."),
    ] = None,
) -> None:
    """Make a session of a time series from elsewhere.

    Repeats of a value count as fresh samples only as often as the column is really
    refreshed; rows more than three seconds apart are a hole in the data. A map says
    which column is what:

    [time] column = "Time", unit = "s" (or ms, us, min, clock, date)

    [signals.o2_b1s1_v] column = "O2 B1S1", unit = "mV"

    More keys: [table] delimiter, decimal, skip_lines, only, drive, names, values;
    [time] format; in a signal scale, offset, words, every_row; [vehicle]
    displacement_l, vin, note. --draft writes one to begin with.
    """
    from bankwise.adapters.importing import import_csv
    from bankwise.tui.errors import CommandError
    from bankwise.tui.words import clock

    if draft is not None:
        _write_draft(file, draft)
        return
    if how is None or out is None:
        raise CommandError(
            f"import needs --map and -o; no map yet? "
            f"bankwise import {file} --draft {file.stem}.toml writes one"
        )
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


def _write_draft(table: Path, target: Path) -> None:
    """Writes a first map; an older file stays as it is.

    Raises:
        CommandError: when it exists or cannot be written.
    """
    from bankwise.adapters.import_draft import draft
    from bankwise.tui.errors import CommandError

    text = draft(table)
    try:
        with target.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise CommandError(f"{target}: {error.strerror or error}") from None
    typer.echo(f"{target}: a suggestion; read it and mend it before you import")
