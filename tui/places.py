"""Where sessions are kept, and which file a name on the command line means."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from platformdirs import user_data_path

from bankwise.adapters.untaken import untaken
from bankwise.replay_logs import shipped
from bankwise.tui.errors import CommandError, NoSuchSession

SUFFIXES = (".jsonl", ".jsonl.gz")
FOLDER_VARIABLE = "BANKWISE_SESSIONS"


def sessions_folder(chosen: Path | None = None) -> Path:
    """The folder for saved sessions, made if it is missing.

    The one chosen for this run, or else `BANKWISE_SESSIONS`, or else the platform's
    user data folder.

    Raises:
        CommandError: when the folder cannot be made or written to.
    """
    folder = folder_named(chosen)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CommandError(
            f"cannot make the folder for sessions {folder}: {error.strerror}"
        ) from None
    return folder


def folder_named(chosen: Path | None = None) -> Path:
    """The same folder, whether it is there or not: enough for who only reads."""
    if chosen is not None:
        return chosen
    named = os.environ.get(FOLDER_VARIABLE)
    return Path(named) if named else user_data_path("bankwise") / "sessions"


def new_session_file(folder: Path, subject: str, now: datetime | None = None) -> Path:
    """A file name that is not taken: local date and time, then the subject."""
    moment = (now or datetime.now()).strftime("%Y-%m-%d-%H%M%S")
    stem = f"{moment}-{subject}" if subject else moment
    return untaken(folder / f"{stem}.jsonl")


def file_to_write(output: Path | None, folder: Path | None, subject: str) -> Path:
    """The session file to make: the one named, or a new one in the folder.

    Raises:
        CommandError: when it is there already, or its folder is not.
    """
    if output is None:
        return new_session_file(sessions_folder(folder), subject)
    if output.exists():
        raise CommandError(f"{output} is there already; a session is never overwritten")
    if not output.parent.is_dir():
        raise CommandError(f"there is no folder {output.parent}")
    return output


def find_session(name: str, folder: Path | None = None) -> Path:
    """The file that a name means: a path, a saved session, or a shipped one.

    Args:
        name: what the person typed.
        folder: where saved sessions are kept, when they are to be looked at.

    Raises:
        NoSuchSession: when nothing has that name.
        CommandError: when it is a folder.
    """
    if not name:
        raise CommandError("which session? the name given is empty")
    path = Path(name)
    if path.is_dir():
        raise CommandError(f"{name} is a folder, not a session file")
    if path.exists():
        return path
    known = shipped()
    saved = _saved(folder) if folder is not None else {}
    for suffix in ("", *SUFFIXES):
        if name + suffix in saved:
            return saved[name + suffix]
    if name in known:
        return known[name]
    raise NoSuchSession(name, [*known, *map(_bare, saved)])


def own_session(name: str, folder: Path | None = None) -> Path:
    """The file that a name means, when it may be changed.

    Raises:
        CommandError: as `find_session`; and when it is shipped with the program.
    """
    path = find_session(name, folder)
    if path.resolve().parent == next(iter(shipped().values())).resolve().parent:
        raise CommandError(
            f"{name} is shipped with the program and stays as it is; "
            f"change a copy: {path}"
        )
    return path


def _saved(folder: Path) -> dict[str, Path]:
    """Saved sessions by the name of their file."""
    try:
        return {
            path.name: path
            for path in folder.iterdir()
            if path.name.endswith(SUFFIXES) and path.is_file()
        }
    except OSError:
        return {}


def _bare(name: str) -> str:
    return name.removesuffix(".gz").removesuffix(".jsonl")
