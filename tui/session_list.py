"""Saved and shipped sessions as rows of text, without reading more than their heads."""

from __future__ import annotations

import gzip
from collections.abc import Iterable
from pathlib import Path

import msgspec

from bankwise.adapters.blind import is_blind
from bankwise.adapters.library import Library
from bankwise.adapters.library_entry import Entry
from bankwise.adapters.records import Header
from bankwise.replay_logs import shipped
from bankwise.tui.errors import CommandError
from bankwise.tui.places import SUFFIXES, find_session
from bankwise.tui.print_sessions import hidden_words, moment_words
from bankwise.tui.words import clock, size

_HEAD_BYTES = 65536


def session_files(folder: Path) -> list[Path]:
    """Session files of a folder, newest first."""
    found: list[tuple[float, Path]] = []
    try:
        for path in folder.iterdir():
            if path.name.endswith(SUFFIXES) and path.is_file():
                found.append((path.stat().st_mtime, path))
    except OSError:
        return []
    return [path for _, path in sorted(found, key=lambda row: -row[0])]


def named_sessions(names: Iterable[str], folder: Path) -> list[tuple[str, Path]]:
    """What each name means, a folder standing for every session in and below it.

    Returns:
        The name to show and the file, in the order asked, a folder's by name.

    Raises:
        CommandError: when a name means nothing, or a folder holds no session.
    """
    found: list[tuple[str, Path]] = []
    for name in names:
        place = Path(name)
        if not place.is_dir():
            found.append((name, find_session(name, folder)))
            continue
        below = sorted(
            path
            for path in place.rglob("*")
            if path.name.endswith(SUFFIXES) and path.is_file()
        )
        if not below:
            raise CommandError(f"no session in or below the folder {name}")
        found += [(str(path), path) for path in below]
    return found


def head(path: Path) -> Header | None:
    """The first line of a session, or None when it is none."""
    try:
        opened = gzip.open if path.suffix == ".gz" else open
        with opened(path, "rb") as file:
            line = file.readline(_HEAD_BYTES)
        return msgspec.json.decode(line, type=Header)
    except (OSError, EOFError, msgspec.MsgspecError):
        return None


def row(path: Path, origin: str) -> tuple[str, ...]:
    """Path, name, when it began, size, and what it is about."""
    found = head(path)
    if found is None:
        return (str(path), path.name, "", "", "cannot be read: not a session")
    note = str(found.vehicle.get("note") or found.vehicle.get("vin") or "")
    began = moment_words(found.started)
    name = path.name.removesuffix(".gz").removesuffix(".jsonl")
    if is_blind(path, found):
        note = hidden_words(name)
    return (str(path), name, began, size(path.stat().st_size), f"{origin}{note}")


def library_rows(folder: Path) -> tuple[tuple[str, ...], ...]:
    """Saved sessions with what was found in them, newest first, then shipped ones.

    Reads every session that is new since the last time: not for the screen's thread.
    """
    library = Library(folder)
    try:
        library.refresh()
        entries = library.entries()
    finally:
        library.close()
    saved = tuple(_entry_row(entry) for entry in entries)
    return (*saved, *(row(path, "shipped: ") for path in shipped().values()))


def _entry_row(entry: Entry) -> tuple[str, ...]:
    path = entry.path
    name = path.name.removesuffix(".gz").removesuffix(".jsonl")
    if entry.error:
        return (str(path), name, "", size(entry.size), entry.error)
    began = moment_words(entry.recorded)
    if entry.blind:
        return (str(path), name, began, clock(entry.seconds), hidden_words(name))
    found = ", ".join(f"{flag.about} {flag.id}" for flag in entry.flags[:2])
    about = "; ".join(filter(None, (found or "no flag", *entry.notes, entry.note)))
    return (str(path), name, began, clock(entry.seconds), about)
