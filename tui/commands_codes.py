"""Commands about trouble codes: `codes` and `clear`."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bankwise.tui.options import Baud, Folder, Port

if TYPE_CHECKING:
    from bankwise.adapters.code_visit import CodeVisit
    from bankwise.signals.evidence import Snapshot
    from bankwise.tui.print_codes import DriveSays

app = typer.Typer(rich_markup_mode=None)


@contextmanager
def _visit(port: str | None, baud: int | None, path: Path) -> Iterator[CodeVisit]:
    """A connected visit, always left in good order, with progress on a terminal."""
    from bankwise.adapters.code_visit import CodeVisit
    from bankwise.adapters.opening import opener
    from bankwise.adapters.ports import only_port
    from bankwise.tui.progress import Progress

    with Progress() as progress:
        url = port or only_port()
        link = opener(url, baud, progress.tell, lambda: False)()
        visit = CodeVisit(link, path, tell=progress.tell)
        try:
            visit.connect()
            yield visit
        finally:
            visit.close()


@app.command(epilog="Example: bankwise codes --port /dev/rfcomm0")
def codes(
    file: Annotated[
        str | None, typer.Argument(help="A recorded session instead of a car.")
    ] = None,
    port: Port = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="The session to write."),
    ] = None,
    mask_vin: Annotated[
        bool, typer.Option("--mask-vin", help="Hide the serial part of the VIN.")
    ] = False,
    baud: Baud = None,
    sessions: Folder = None,
) -> None:
    """Read codes, their history, freeze frame and self-tests.

    Everything read is saved as a session before it is shown.
    """
    from bankwise.tui.errors import CommandError
    from bankwise.tui.places import file_to_write
    from bankwise.tui.print_codes import codes_text

    if file is not None and port is not None:
        raise CommandError("give a session file or a port, not both")
    if file is not None:
        before, seen, drive = _recorded(file, sessions)
        if before is not None:
            typer.echo("AS IT STOOD BEFORE CODES WERE CLEARED\n")
            typer.echo(codes_text(before, mask_vin=mask_vin))
            typer.echo("\nAFTER CODES WERE CLEARED\n")
        typer.echo(codes_text(seen, mask_vin=mask_vin, drive=drive))
        return
    path = file_to_write(output, sessions, "codes")
    with _visit(port, baud, path) as visit:
        seen = visit.read()
    typer.echo(codes_text(seen, mask_vin=mask_vin))
    typer.echo(f"\nsaved: {path}")


def _recorded(
    name: str, folder: Path | None
) -> tuple[Snapshot | None, Snapshot, DriveSays]:
    """What a session says of codes, and what its drive says about them.

    The first is the evidence before codes were cleared; None when they were not.
    """
    from bankwise.adapters.analysis import analyse
    from bankwise.adapters.session_file import read_session
    from bankwise.adapters.snapshot import before_clearing, session_snapshot
    from bankwise.tui.limits import in_force
    from bankwise.tui.places import find_session, sessions_folder
    from bankwise.tui.print_codes import drive_says
    from bankwise.tui.progress import Progress

    path = find_session(name, sessions_folder(folder))
    with Progress() as progress:
        progress.tell(f"reading {path.name}")
        session = read_session(path)
        seen = session_snapshot(session)
        drive = drive_says(seen, analyse(session, in_force()).engine)
        return before_clearing(session), seen, drive


@app.command(epilog="Example: bankwise clear --port /dev/rfcomm0")
def clear(
    port: Port = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="The session to write."),
    ] = None,
    baud: Baud = None,
    sessions: Folder = None,
) -> None:
    """Clear codes: engine off, evidence saved, confirmed.

    Freeze frame, self-test states and test results go with the codes and cannot be
    brought back; permanent codes stay.
    """
    from bankwise.adapters.code_visit import confirmation, nothing_to_clear
    from bankwise.tui.errors import CommandError
    from bankwise.tui.places import file_to_write
    from bankwise.tui.print_codes import clearing_caution, codes_text

    path = file_to_write(output, sessions, "clear")
    with _visit(port, baud, path) as visit:
        hindrance = visit.hindrance()
        if hindrance:
            raise CommandError(f"nothing was cleared: {hindrance}")
        seen = visit.read()
        typer.echo(codes_text(seen))
        typer.echo(f"\nsaved: {path}\n")
        if nothing_to_clear(seen):
            typer.echo("No stored and no pending codes: there is nothing to clear.")
            return
        typer.echo(clearing_caution())
        wanted = confirmation(seen)
        typed = _typed(f"\nType the number of different codes ({wanted}) to clear")
        if typed != wanted:
            raise CommandError("nothing was cleared: that is not the number of codes")
        again = None
        unread = [*seen.unread]
        if visit.speed() is None:
            unread.append("vehicle speed: no answer")
        if unread:
            typer.echo("\nNot everything could be read; it will be lost unseen:")
            for line in unread:
                typer.echo(f"  {line}")
            again = _typed(f"Type {wanted} again to clear all the same")
        outcome = visit.clear(typed, again)
        for words in outcome.words:
            typer.echo(words)
        typer.echo("\nRead again:\n")
        typer.echo(codes_text(outcome.left))
        typer.echo(f"\nWhat stood before is kept: bankwise codes {path}")
    if not outcome.ok:
        raise CommandError(
            "the car did not clear its codes; what it remembers is saved in "
            f"{path.name}"
        )


def _typed(question: str) -> str:
    """What the person types; nothing in a pipe that has ended."""
    from bankwise.tui.errors import CommandError

    try:
        return input(f"{question}: ").strip()
    except EOFError:
        raise CommandError("nothing was cleared: no confirmation was typed") from None
