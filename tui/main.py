"""The command line: every command, and how a failure reaches the person.

Statuses: 0 done; 1 done, and the answer is the one asked to fail on; 2 not done, the
reason on standard error; 130 stopped by the person.
"""

from __future__ import annotations

import os
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
STOPPED = 130
PIPE_CLOSED = 141
"""As a shell reports a program that the signal of a closed pipe ended."""

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
    sys.exit(run())


def run() -> int:
    """Runs the command line; returns the status, the reason already told."""
    try:
        status = app(standalone_mode=False)
        sys.stdout.flush()
    except CommandError as error:
        return _told(str(error))
    except AdapterError as error:
        return _told(with_advice(error))
    except BrokenPipeError:
        return _no_reader()
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        return _told(f"{where}{error.strerror or error}")
    except (KeyboardInterrupt, typer.Abort):
        return STOPPED
    except Exception as error:
        # The command line library's own class is not to be imported in every version.
        if not hasattr(error, "format_message"):
            raise
        return _told(_usage(error))
    return status if isinstance(status, int) else 0


def _usage(error: Exception) -> str:
    """A fault of usage in one line, with where help is."""
    message = getattr(error, "format_message", error.__str__)()
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "bankwise"
    plain = " ".join(message.split()).rstrip(".")
    for said, better in _PLAINER:
        plain = plain.replace(said, better)
    return f"{plain}; `{command} --help` tells more"


_PLAINER = (
    ("Input should be greater than or equal to", "it must be at least"),
    ("Input should be less than or equal to", "it must be at most"),
    (
        "Input should be a valid number, unable to parse string as a number",
        "it must be a number",
    ),
    (
        "Input should be a valid integer, unable to parse string as an integer",
        "it must be a whole number",
    ),
    ("Value error, ", ""),
)
"""The command line library's words, and ours."""


def _no_reader() -> int:
    """The reader of our output has gone (`| head`): nothing more to say to it.

    Standard output is pointed elsewhere, so that ending does not try to flush again.
    """
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return PIPE_CLOSED


def _told(reason: str) -> int:
    print(f"bankwise: {reason}", file=sys.stderr)
    return NOT_DONE


if __name__ == "__main__":
    main()
