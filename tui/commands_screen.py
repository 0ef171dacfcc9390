"""Commands that open the screen: `demo`, `drive`, `replay`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bankwise.tui.options import Baud, DefinitionFile, Folder, Note, Port

app = typer.Typer(rich_markup_mode=None)

Blind = Annotated[
    bool,
    typer.Option(
        "--blind",
        help="Practise: one is picked and not named; `bankwise answer` tells.",
    ),
]


@app.command(
    epilog="Example: bankwise demo; bankwise demo thermostat-open --cold; "
    "bankwise demo --blind"
)
def demo(
    story: Annotated[
        str | None, typer.Argument(help="`bankwise stories` lists them.")
    ] = None,
    blind: Blind = False,
    cold: Annotated[
        bool, typer.Option("--cold", help="Start cold, for the whole warm-up.")
    ] = False,
    faster: Annotated[
        float, typer.Option(min=0.1, metavar="N", help="Run the car's clock N×.")
    ] = 1.0,
    sessions: Folder = None,
) -> None:
    """Watch a simulated car live; no hardware needed."""
    from random import Random

    from bankwise.adapters.car.stories import STORIES
    from bankwise.tui.errors import CommandError, NoSuchStory
    from bankwise.tui.last_used import LastUsed, What, remember
    from bankwise.tui.on_screen import show
    from bankwise.tui.openings import DEMO, open_demo
    from bankwise.tui.places import sessions_folder
    from bankwise.tui.practice import pick

    if blind and story is not None:
        raise CommandError("--blind picks the story: name none")
    chosen = pick(Random()) if blind else story or DEMO
    if chosen not in STORIES:
        raise NoSuchStory(chosen, STORIES)
    folder = sessions_folder(sessions)
    if not blind:
        remember(LastUsed(What.DEMO, chosen))
    source = open_demo(chosen, folder, cold=cold, faster=faster, blind=blind)
    raise typer.Exit(show(source, folder))


@app.command(
    epilog="Example: bankwise drive --port /dev/rfcomm0; "
    "bankwise drive --port socket://192.168.0.10:35000"
)
def drive(
    port: Port = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="The file to write."),
    ] = None,
    baud: Baud = None,
    note: Note = None,
    definitions: DefinitionFile = None,
    sessions: Folder = None,
) -> None:
    """Watch a car live, recorded from the first byte."""
    from bankwise.adapters.definition_file import read_definitions
    from bankwise.adapters.ports import only_port
    from bankwise.tui.last_used import LastUsed, What, remember
    from bankwise.tui.on_screen import need_terminal, show
    from bankwise.tui.openings import open_adapter
    from bankwise.tui.places import file_to_write, sessions_folder

    own = read_definitions(definitions)
    folder = sessions_folder(sessions)
    url = port or only_port()
    path = file_to_write(output, folder, "drive")
    need_terminal()
    remember(LastUsed(What.ADAPTER, url))
    source = open_adapter(url, folder, note=note, baud=baud, path=path, definitions=own)
    raise typer.Exit(show(source, folder))


@app.command(
    epilog="Example: bankwise replay bank-breathes-less --speed 4 --from 120; "
    "bankwise replay --blind"
)
def replay(
    file: Annotated[
        str | None,
        typer.Argument(help="A session file, or the name of a saved or shipped one."),
    ] = None,
    blind: Blind = False,
    speed: Annotated[
        float, typer.Option(min=0.1, metavar="N", help="Play N× as fast.")
    ] = 1.0,
    start_s: Annotated[
        float, typer.Option("--from", min=0, metavar="S", help="Start at this second.")
    ] = 0.0,
    sessions: Folder = None,
) -> None:
    """Watch a recorded session on the same screen; pause, seek, step."""
    from random import Random

    from bankwise.tui.errors import CommandError
    from bankwise.tui.last_used import LastUsed, What, remember
    from bankwise.tui.on_screen import need_terminal, show
    from bankwise.tui.openings import open_session
    from bankwise.tui.places import find_session, sessions_folder
    from bankwise.tui.practice import lay_out

    if blind and file is not None:
        raise CommandError("--blind picks the session: name none")
    if not blind and file is None:
        raise CommandError(
            "which session? `bankwise sessions` lists yours, "
            "`bankwise stories` the shipped ones"
        )
    folder = sessions_folder(sessions)
    if blind:
        need_terminal()
    path = find_session(file, folder) if file else lay_out(folder, Random())
    source = open_session(path, speed=speed, start_s=start_s)
    need_terminal()
    if not blind:
        remember(LastUsed(What.SESSION, str(path.resolve())))
    raise typer.Exit(show(source, folder, path if blind else None))
