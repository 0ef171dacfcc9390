"""What stands on the terminal after the screen: where the session is, and what next."""

from __future__ import annotations

import shlex
from pathlib import Path

from bankwise.adapters.blind import KEY
from bankwise.adapters.errors import AdapterError
from bankwise.adapters.source import Source
from bankwise.tui.advice import with_advice
from bankwise.tui.places import SUFFIXES, folder_named


def afterword(source: Source) -> list[str]:
    """Lines to print once the screen is gone; empty after a replay.

    Args:
        source: already stopped.
    """
    if source.kind not in ("live", "simulated"):
        return []
    recording = source.recording
    path = recording.path
    if path is None or not path.exists():
        error = getattr(source, "error", None)
        why = with_advice(error) if isinstance(error, AdapterError) else source.status
        return [f"bankwise: nothing was recorded: {why}"]
    lines = [f"Session: {path}"]
    if recording.error is not None:
        lines.append(f"Recording stopped early: {recording.error}")
    header = source.header
    return lines + next_steps(path, header is not None and KEY in header.vehicle)


def tell_afterwards(source: Source) -> None:
    """Prints the afterword."""
    for line in afterword(source):
        print(line)


def next_steps(path: Path, blind: bool = False) -> list[str]:
    """What to do with a session now, as commands that can be copied.

    Args:
        path: the session's file.
        blind: it was made to practise on, and its story is not told yet.
    """
    name = called(path)
    lines = [f"Next: bankwise check {name}"]
    if blind:
        lines.append(f"      bankwise answer {name}  tells what was really wrong")
    else:
        lines.append(f"      bankwise report {name}  makes a page to hand over")
    return lines


def called(path: Path) -> str:
    """The shortest name by which commands find a session, fit for a shell."""
    name = str(path)
    if path.resolve().parent == folder_named().resolve():
        name = path.name
        for suffix in sorted(SUFFIXES, key=len, reverse=True):
            name = name.removesuffix(suffix)
    return shlex.quote(name)
