"""The command that holds two drives of one car against each other: `compare`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bankwise.tui.options import Folder

if TYPE_CHECKING:
    from bankwise.signals.comparison import Comparison

app = typer.Typer(rich_markup_mode=None)


@app.command(epilog="Example: bankwise compare monday.jsonl friday.jsonl")
def compare(
    before: Annotated[str, typer.Argument(help="The drive before the repair.")],
    after: Annotated[str, typer.Argument(help="The same drive after it.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    sessions: Folder = None,
) -> None:
    """Compare the same drive before and after a repair, cell by cell.

    Says whether the repair is proven, what is still missing, or what got worse. Ends
    with status 1 unless it is proven.
    """
    import json

    from bankwise.signals.comparison import Verdict
    from bankwise.tui.print_compare import compare_json, compare_text

    made = compared(before, after, sessions)
    if as_json:
        typer.echo(json.dumps(compare_json(before, after, made), allow_nan=False))
    else:
        typer.echo(compare_text(before, after, made))
    if made.verdict is not Verdict.PROVEN:
        raise typer.Exit(1)


def compared(before: str, after: str, folder: Path | None) -> Comparison:
    """The comparison of two sessions by name.

    Raises:
        CommandError: when they are no pair.
        SessionError: when one cannot be read.
    """
    from bankwise.signals.comparison import NotComparable
    from bankwise.signals.comparison import compare as compare_drives
    from bankwise.tui.comparing import read_drive
    from bankwise.tui.errors import CommandError
    from bankwise.tui.places import find_session, sessions_folder

    place = sessions_folder(folder)
    drives = (
        read_drive(find_session(before, place), before, uncleared=True),
        read_drive(find_session(after, place), after),
    )
    try:
        return compare_drives(*drives)
    except NotComparable as error:
        raise CommandError(f"cannot compare: {error}") from None
