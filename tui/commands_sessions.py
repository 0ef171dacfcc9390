"""Commands on the library of sessions: `sessions`, `note`, `pack`, `verify`."""

from __future__ import annotations

from typing import Annotated

import typer

from bankwise.tui.options import Folder

app = typer.Typer(rich_markup_mode=None)

Named = Annotated[
    str, typer.Argument(help="A session file, or the name of a saved session.")
]


@app.command(epilog="Example: bankwise sessions; bankwise sessions van P0171")
def sessions(
    words: Annotated[
        list[str] | None,
        typer.Argument(help="Only those that hold every word: car, code, flag, note."),
    ] = None,
    pairs: Annotated[
        bool,
        typer.Option("--pairs", help="Show drives of one car to compare instead."),
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    folder: Folder = None,
) -> None:
    """List the saved sessions, the one recorded last first.

    Two drives of one car, the earlier with a fault, are suggested for comparison when
    something differs between them. A practice tells nothing before its answer is told.
    """
    import json
    import sys
    from contextlib import closing

    from bankwise.adapters.library import Library
    from bankwise.tui.places import sessions_folder
    from bankwise.tui.print_sessions import (
        as_line,
        as_objects,
        same_words,
        short_name,
    )
    from bankwise.tui.recording import StatusLine

    place = sessions_folder(folder)
    line = StatusLine(sys.stderr)
    with closing(Library(place)) as library:
        library.refresh(lambda done, of: line.show(f"reading {done} of {of}"))
        line.clear()
        if pairs:
            for before, after in library.pairs():
                typer.echo(f"bankwise compare {short_name(before)} {short_name(after)}")
            for before, after in library.unchanged():
                typer.echo(same_words(before, after), err=True)
            return
        found = library.entries(" ".join(words or ()))
        suggested = library.pairs()[:3]
    if as_json:
        typer.echo(json.dumps(as_objects(found), ensure_ascii=False, indent=1))
        return
    if not found:
        typer.echo(f"no such session in {place}", err=True)
    for entry in found:
        typer.echo(as_line(entry))
    for before, after in suggested:
        if before in found and after in found:
            names = f"{short_name(before)} {short_name(after)}"
            typer.echo(f"before and after? bankwise compare {names}", err=True)


@app.command(
    epilog="Example: bankwise note monday 'new sensor fitted' --odometer 84210"
)
def note(
    file: Named,
    text: Annotated[str | None, typer.Argument(help="The note.")] = None,
    car: Annotated[str | None, typer.Option(help="What the car is.")] = None,
    vin: Annotated[str | None, typer.Option(help="Its VIN.")] = None,
    displacement: Annotated[
        str | None, typer.Option(metavar="L", help="Engine displacement, litres.")
    ] = None,
    odometer: Annotated[str | None, typer.Option(metavar="KM", help="Reading.")] = None,
) -> None:
    """Add a note or details of the car to a session.

    They are appended and sealed; nothing that was recorded changes.
    """
    from bankwise.adapters.session_additions import add_note, add_vehicle
    from bankwise.tui.errors import CommandError
    from bankwise.tui.places import folder_named, own_session

    given = {
        "name": car,
        "vin": vin,
        "displacement_l": displacement,
        "odometer_km": odometer,
    }
    details = {key: value for key, value in given.items() if value is not None}
    if text is None and not details:
        raise CommandError("nothing to add: give a note, or details of the car")
    path = own_session(file, folder_named())
    if details:
        add_vehicle(path, details)
    if text is not None:
        add_note(path, text)
    typer.echo(f"{path}: added")


@app.command(epilog="Example: bankwise pack monday.jsonl")
def pack(
    files: Annotated[
        list[str], typer.Argument(help="Session files, or names of saved sessions.")
    ],
) -> None:
    """Pack finished sessions; every command reads them packed too."""
    from bankwise.adapters.packed import pack as pack_file
    from bankwise.adapters.session_file import read_session
    from bankwise.tui.places import folder_named, own_session
    from bankwise.tui.words import size

    folder = folder_named()
    for name in files:
        path = own_session(name, folder)
        read_session(path)  # what is no session is left alone
        before = path.stat().st_size
        packed = pack_file(path)
        typer.echo(f"{packed}: {size(before)} to {size(packed.stat().st_size)}")


@app.command(
    epilog="Example: bankwise verify healthy; bankwise verify ~/drives monday.jsonl"
)
def verify(
    files: Annotated[
        list[str],
        typer.Argument(
            help="Session files, folders, or names of saved or shipped sessions."
        ),
    ],
) -> None:
    """Check the seals of sessions: whole, cut short, or altered.

    A folder stands for every session in and below it. Ends with status 1 unless every
    file is whole. A hash chain shows a change made by accident or without rewriting the
    rest; who holds a file can rewrite all of it, so the last seal proves the file only
    where it was noted elsewhere.
    """
    import sys

    from bankwise.adapters.errors import SessionError
    from bankwise.adapters.seals import State
    from bankwise.adapters.seals import verify as check_seals
    from bankwise.tui.places import folder_named
    from bankwise.tui.progress import Progress
    from bankwise.tui.session_list import named_sessions
    from bankwise.tui.words import clock

    paths = named_sessions(files, folder_named())
    all_whole, unread = True, False
    with Progress() as progress:
        for done, (name, path) in enumerate(paths):
            progress.tell(f"{done + 1} of {len(paths)}: {name}")
            try:
                verdict = check_seals(path)
            except SessionError as error:
                progress.done()
                unread = True
                print(f"bankwise: {error}", file=sys.stderr)
                continue
            progress.done()
            all_whole &= verdict.state is State.WHOLE
            typer.echo(f"{name}: {verdict.text}")
            if verdict.sealed_s is not None:
                typer.echo(
                    f"  {verdict.seals} seals to {clock(verdict.sealed_s)}, "
                    f"last {verdict.last_seal}"
                )
    if unread:
        raise typer.Exit(2)
    if not all_whole:
        raise typer.Exit(1)
