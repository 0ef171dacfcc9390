"""The command line: every command, and how a failure reaches the person.

Statuses: 0 done; 1 done, and the answer is the one asked to fail on; 2 not done, the
reason in one line on standard error; 130 stopped by the person.
"""

from __future__ import annotations

import os
import sys
from importlib.metadata import version
from typing import Annotated

import typer

from bankwise.adapters.errors import AdapterError
from bankwise.tui import commands_car, commands_live, commands_sessions
from bankwise.tui.errors import CommandError

NOT_DONE = 2
STOPPED = 130

app = typer.Typer(
    name="bankwise",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Watches an engine's fuel control bank by bank and says what the data "
    "supports, what speaks against it and what to check next.",
)
for module in (commands_live, commands_sessions, commands_car):
    app.add_typer(module.app)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"bankwise {version('bankwise')}")
        raise typer.Exit


@app.callback()
def _whole(
    _version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print it."
        ),
    ] = False,
) -> None:
    pass


def main() -> None:
    """Runs the command line, and turns what a person can mend into one line."""
    try:
        app()
    except (CommandError, AdapterError) as error:
        _leave(str(error), NOT_DONE)
    except KeyboardInterrupt:
        _leave("stopped", STOPPED)
    except BrokenPipeError:
        # The reader of our output went away (`| head`): nothing to say to anyone.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(NOT_DONE)


def _leave(reason: str, status: int) -> None:
    print(f"bankwise: {reason}", file=sys.stderr)
    sys.exit(status)


if __name__ == "__main__":
    main()
