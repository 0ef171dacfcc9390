"""`bankwise car` and `bankwise stories`: the simulated car for practice and tests."""

from __future__ import annotations

from typing import Annotated

import typer

app = typer.Typer(rich_markup_mode=None)


@app.command(epilog="Example: bankwise stories")
def stories() -> None:
    """List the simulated faults and the shipped sessions, a line each."""
    from bankwise.adapters.car.stories import STORIES
    from bankwise.replay_logs import shipped

    width = max(map(len, STORIES))
    typer.echo(
        "Stories, for `bankwise demo` and `bankwise car`; the names tell the "
        "fault, `--blind` picks one untold:"
    )
    for name, story in STORIES.items():
        typer.echo(f"  {name:{width}}  {story.title}")
    typer.echo("\nShipped sessions, for `bankwise replay` and `bankwise check`:")
    for name in shipped():
        title = STORIES[name].title if name in STORIES else ""
        typer.echo(f"  {name:{width}}  {title}")


@app.command(epilog="Example: bankwise answer; bankwise answer worn-catalyst")
def answer(
    file: Annotated[
        str | None,
        typer.Argument(help="A session of the simulated car; the newest practice."),
    ] = None,
) -> None:
    """Tell what was wrong with the simulated car of a session."""
    from bankwise.adapters.blind import unanswered
    from bankwise.adapters.errors import SessionError
    from bankwise.adapters.session_additions import add_answered
    from bankwise.adapters.session_file import read_session
    from bankwise.tui.errors import CommandError
    from bankwise.tui.places import find_session, folder_named
    from bankwise.tui.practice import answer as told
    from bankwise.tui.practice import newest, story_of

    folder = folder_named()
    path = find_session(file, folder) if file else newest(folder)
    if path is None:
        raise CommandError(
            "no practice session yet: `bankwise demo --blind` or "
            "`bankwise replay --blind` makes one"
        )
    session = read_session(path)
    story = story_of(session.header)
    if story is None:
        raise CommandError(f"{path} holds no answer: it was not made to practise on")
    typer.echo(f"{path.name}: {told(story)[0]}")
    for line in told(story)[1:]:
        typer.echo(line)
    if unanswered(path.name, session.header, session.records):
        try:
            add_answered(path)
        except SessionError as error:
            typer.echo(f"bankwise: lists keep it hidden: {error}", err=True)


@app.command(
    epilog="Example: bankwise car front-sensor-reads-lean --listen 127.0.0.1:35000, "
    "then in another terminal: bankwise drive --port socket://127.0.0.1:35000"
)
def car(
    story: Annotated[str, typer.Argument(help="`bankwise stories` lists them.")],
    listen: Annotated[
        str | None,
        typer.Option(
            metavar="HOST:PORT", help="Serve on TCP; port 0 takes a free one."
        ),
    ] = None,
    pty: Annotated[
        bool, typer.Option("--pty", help="Serve on a pseudo-terminal, like a cable.")
    ] = False,
    faster: Annotated[
        float, typer.Option(min=0.1, metavar="N", help="Run the car's clock N×.")
    ] = 1.0,
    cold: Annotated[bool, typer.Option("--cold", help="Start a cold engine.")] = False,
    adapter: Annotated[
        str,
        typer.Option(metavar="KIND", help="How the adapter behaves: good, poor, …"),
    ] = "good",
    link: Annotated[
        str,
        typer.Option(metavar="KIND", help="What it hangs on: usb-115200, network, …"),
    ] = "usb-115200",
    protocol: Annotated[
        str | None,
        typer.Option(metavar="N", help="Speak protocol 1 to 9, not the story's own."),
    ] = None,
    uds: Annotated[
        bool, typer.Option("--uds", help="Speak SAE J1979-2 only, as newest cars do.")
    ] = False,
    transmission: Annotated[
        bool, typer.Option("--transmission", help="A second control unit answers.")
    ] = False,
    strict_baud: Annotated[
        bool,
        typer.Option("--strict-baud", help="With --pty: deaf at any other speed."),
    ] = False,
    console: Annotated[
        bool,
        typer.Option("--console", help="Take lines that touch the car; try `help`."),
    ] = False,
) -> None:
    """Serve a simulated car and adapter, for practice and tests.

    The drive begins when a program connects. Ctrl-C ends it.
    """
    from bankwise.adapters.car.quirks import ADAPTERS
    from bankwise.adapters.car.serve_story import serve
    from bankwise.adapters.car.stories import STORIES
    from bankwise.adapters.car.timing import LINKS
    from bankwise.tui.errors import CommandError, NoSuchStory

    if story not in STORIES:
        raise NoSuchStory(story, STORIES)
    if pty and listen:
        raise CommandError("--listen and --pty exclude each other")
    for option, chosen, known in (
        ("--adapter", adapter, ADAPTERS),
        ("--link", link, LINKS),
        ("--protocol", protocol or "6", "123456789"),
    ):
        if chosen not in known:
            raise CommandError(f"{option} is one of: {', '.join(known)}")
    title = STORIES[story].title
    serve(
        STORIES[story],
        listen=listen,
        pty=pty,
        faster=faster,
        ready=lambda address: print(f"{title}, at {address}", flush=True),
        cold=cold,
        quirks=ADAPTERS[adapter],
        protocol=protocol,
        uds=uds,
        transmission=transmission,
        strict_baud=strict_baud,
        link=LINKS[link],
        console=console,
    )
