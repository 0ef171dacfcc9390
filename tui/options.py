"""Options that several commands share, each with its one help line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bankwise.tui.address import NETWORK, meant
from bankwise.tui.errors import CommandError


def checked_port(url: str | None) -> str | None:
    """The address as typed, when an adapter can be there.

    Raises:
        CommandError: when it is empty, or a network address that lacks a part.
    """
    if url is None:
        return None
    url = url.strip()
    if not url:
        raise CommandError("--port is empty; `bankwise ports` lists what is there")
    if named := meant(url):
        raise CommandError(
            f"{url} is no serial port; an adapter on the network is named {named}"
        )
    if url.startswith(NETWORK) and not meant(url.removeprefix(NETWORK)):
        raise CommandError(
            f"{url} lacks a part: socket://HOST:PORT, the port from 1 to 65535"
        )
    return url


Port = Annotated[
    str | None,
    typer.Option(
        callback=checked_port,
        metavar="URL",
        help="A serial port, socket://host:port, or any pyserial URL. "
        "Found by itself when there is one adapter.",
    ),
]
Folder = Annotated[
    Path | None,
    typer.Option(
        "--sessions",
        metavar="DIR",
        help="Where sessions are kept, for this run; "
        "BANKWISE_SESSIONS sets it for good.",
    ),
]
Baud = Annotated[
    int | None,
    typer.Option(
        min=300, max=4_000_000, help="Speed of a serial port; else searched for."
    ),
]
DefinitionFile = Annotated[
    Path | None,
    typer.Option(
        "--definitions",
        metavar="FILE",
        help="Maker-specific values to read as well, described in TOML.",
    ),
]
Note = Annotated[
    str | None, typer.Option(help="Kept in the session: the car, the complaint.")
]
Faster = Annotated[
    float,
    typer.Option(
        min=0.1, metavar="N", help="For a simulated car that was started with it."
    ),
]
