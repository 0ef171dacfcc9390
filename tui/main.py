"""The command line: every command, and how a failure reaches the person.

Statuses: 0 done; 1 done, and the answer is the one asked to fail on; 2 not done, the
reason on standard error; 130 stopped by the person.
"""

from __future__ import annotations

import sys
from importlib.metadata import version
from typing import Annotated

import typer

from bankwise.adapters.errors import AdapterError
from bankwise.tui import (
    commands_car,
    commands_check,
    commands_codes,
    commands_compare,
    commands_files,
    commands_live,
    commands_ports,
    commands_report,
    commands_screen,
    commands_serve,
    commands_sessions,
    commands_survey,
)
from bankwise.tui.advice import with_advice
from bankwise.tui.command_groups import BySituation
from bankwise.tui.errors import CommandError
from bankwise.tui.options import Folder

NOT_DONE = 2

app = typer.Typer(
    name="bankwise",
    cls=BySituation,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    epilog="Example: bankwise demo; bankwise COMMAND --help tells more, with an "
    "example. Statuses: 0 done; 1 done, and the answer is the one asked to fail on; "
    "2 not done, the reason on standard error.",
)
for module in (
    commands_screen,
    commands_serve,
    commands_live,
    commands_check,
    commands_codes,
    commands_compare,
    commands_report,
    commands_sessions,
    commands_survey,
    commands_files,
    commands_ports,
    commands_car,
):
    app.add_typer(module.app)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"bankwise {version('bankwise')}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def start(
    context: typer.Context,
    sessions: Folder = None,
    _version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print it."
        ),
    ] = False,
) -> None:
    """Watch an engine's fuel control bank by bank.

    Says what the data supports, what speaks against it and what to check next.
    Without a command, opens the screen: pick an adapter, a saved session or the demo.
    """
    if context.invoked_subcommand is None:
        from bankwise.tui.on_screen import show
        from bankwise.tui.places import sessions_folder

        raise typer.Exit(show(None, sessions_folder(sessions)))


def main() -> None:
    """Runs the command line, and turns what a person can mend into one line."""
    try:
        app()
    except CommandError as error:
        _leave(str(error))
    except AdapterError as error:
        _leave(with_advice(error))
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        _leave(f"{where}{error.strerror or error}")


def _leave(reason: str) -> None:
    print(f"bankwise: {reason}", file=sys.stderr)
    sys.exit(NOT_DONE)


if __name__ == "__main__":
    main()
