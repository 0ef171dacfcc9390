"""The command that makes a page to hand over: `report`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bankwise.tui.options import Folder

app = typer.Typer(rich_markup_mode=None)


@app.command(epilog="Example: bankwise report monday.jsonl -o van.html --mask-vin")
def report(
    file: Annotated[str, typer.Argument(help="The recorded session.")],
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE.html", help="Where to write it."),
    ] = None,
    complaint: Annotated[
        str | None,
        typer.Option(help="What the owner complained of; else the session's note."),
    ] = None,
    before: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="The drive before the repair, to compare."),
    ] = None,
    mask_vin: Annotated[
        bool, typer.Option("--mask-vin", help="Hide the VIN but for its beginning.")
    ] = False,
    sessions: Folder = None,
) -> None:
    """Make one self-contained page for owner and technician.

    It needs no network and no script, and prints on A4 and Letter.
    """
    from bankwise.adapters.analysis import analyse
    from bankwise.adapters.seals import verify
    from bankwise.adapters.session_file import read_session
    from bankwise.adapters.snapshot import before_clearing, session_snapshot
    from bankwise.tui.commands_compare import compared
    from bankwise.tui.errors import CommandError
    from bankwise.tui.limits import in_force
    from bankwise.tui.places import find_session, sessions_folder
    from bankwise.tui.progress import Progress
    from bankwise.tui.report.page import Subject
    from bankwise.tui.report.page import report as page

    path = find_session(file, sessions_folder(sessions))
    target = output or Path.cwd() / f"{path.name.split('.')[0]}.html"
    if target.resolve() == path.resolve():
        raise CommandError("the report would overwrite the session")
    with Progress() as progress:
        progress.tell(f"reading {path.name}")
        session = read_session(path)
        progress.tell("drawing the report")
        subject = Subject(
            path.name.encode("utf-8", "replace").decode(),
            session,
            analyse(session, in_force()),
            session_snapshot(session),
            verify(path),
            complaint or str(session.header.vehicle.get("note") or ""),
            before or "",
            compared(before, file, sessions) if before else None,
            before_clearing(session),
        )
        _write(target, page(subject, mask_vin=mask_vin))
    for warning in session.warnings:
        typer.echo(f"bankwise: {file}: {warning}", err=True)
    typer.echo(f"{target}: {target.stat().st_size / 1e6:.1f} MB")


def _write(target: Path, text: str) -> None:
    """Writes the page whole or not at all: an interruption leaves what was there.

    Raises:
        CommandError: when it cannot be written.
    """
    from bankwise.tui.errors import CommandError

    half = target.with_name(f".{target.name}.half")
    try:
        half.write_text(text, encoding="utf-8")
        half.replace(target)
    except OSError as error:
        raise CommandError(f"{target}: {error.strerror or error}") from None
    finally:
        half.unlink(missing_ok=True)
