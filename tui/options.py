"""Options that several commands share, each with its one help line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Port = Annotated[
    str | None,
    typer.Option(
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
    typer.Option(help="Speed of a serial port; searched for when not given."),
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
