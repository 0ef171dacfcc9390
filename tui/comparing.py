"""Holds two session files against each other for the screen, as lines of text."""

from __future__ import annotations

from pathlib import Path

from bankwise.adapters.analysis import analyse
from bankwise.adapters.errors import AdapterError
from bankwise.adapters.session_file import read_session
from bankwise.adapters.snapshot import session_snapshot
from bankwise.signals.comparison import Drive, NotComparable, compare
from bankwise.tui.limits import in_force
from bankwise.tui.print_compare import compare_text


def read_drive(path: Path) -> Drive:
    """A recorded drive with all that was made of it. Raises SessionError."""
    session = read_session(path)
    analysis = analyse(session, in_force())
    seen = session_snapshot(session)
    vin = analysis.columns.vehicle.vin or seen.vin or None
    return Drive(path.name, analysis.engine, seen, vin)


def compare_lines(before: Path, after: Path) -> tuple[str, ...]:
    """The comparison, or in one line why there is none."""
    try:
        made = compare(read_drive(before), read_drive(after))
    except (NotComparable, AdapterError, OSError) as error:
        return (f"cannot compare: {error}",)
    return tuple(compare_text(before.name, after.name, made).splitlines())
