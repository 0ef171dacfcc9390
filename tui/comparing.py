"""Holds two session files against each other for the screen, as lines of text."""

from __future__ import annotations

from datetime import UTC
from pathlib import Path

from bankwise.adapters.analysis import analyse
from bankwise.adapters.errors import AdapterError
from bankwise.adapters.importing import UNDATED
from bankwise.adapters.moments import moment_of
from bankwise.adapters.session_file import read_session
from bankwise.adapters.snapshot import before_clearing, cleared_at, session_snapshot
from bankwise.signals.comparison import Drive, NotComparable, compare
from bankwise.tui.limits import in_force
from bankwise.tui.print_compare import compare_text


def read_drive(path: Path, name: str = "", *, uncleared: bool = False) -> Drive:
    """A recorded drive with all that was made of it.

    Args:
        path: of the session.
        name: what it is called; else the file's name.
        uncleared: codes and their history as they stood before they were cleared in
            that session, if they were: what a repair has to remove.

    Raises:
        SessionError: when it cannot be read.
    """
    session = read_session(path)
    analysis = analyse(session, in_force())
    seen = (before_clearing(session) if uncleared else None) or session_snapshot(
        session
    )
    vin = analysis.columns.vehicle.vin or seen.vin or None
    header = session.header
    return Drive(
        name or path.name,
        analysis.engine,
        seen,
        vin,
        header.id,
        "" if UNDATED in header.vehicle else _in_utc(header.started),
        cleared_at(session),
        session.warnings,
    )


def _in_utc(started: str) -> str:
    """A moment in one zone, so that two can be told apart in time; or nothing."""
    moment = moment_of(started)
    return "" if moment is None else moment.astimezone(UTC).isoformat()


def compare_lines(before: Path, after: Path) -> tuple[str, ...]:
    """The comparison, or in one line why there is none."""
    try:
        made = compare(read_drive(before, uncleared=True), read_drive(after))
    except (NotComparable, AdapterError, OSError) as error:
        return (f"cannot compare: {error}",)
    return tuple(compare_text(before.name, after.name, made).splitlines())
