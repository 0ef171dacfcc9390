"""The library of saved sessions: what each one is, found again in a moment.

The files are the truth. The index beside them is a cache in SQLite that is brought up
to date from the files, and made anew when it is damaged, of another version, or gone.
"""

from __future__ import annotations

import contextlib
import dataclasses
import itertools
import json
import sqlite3
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Final, TypeVar

from bankwise.adapters.library_entry import Entry, Flagged, describe

T = TypeVar("T")

INDEX_NAME: Final = ".index.sqlite3"
SUFFIXES: Final = (".jsonl", ".jsonl.gz")
_LAYOUT: Final = 3
"""Version of the index's own layout."""

_FIELDS: Final = (
    "size", "id", "started", "seconds", "exchanges", "vin", "car", "note", "notes",
    "flags", "codes", "marks", "error", "blind",
)  # fmt: skip
_LISTS: Final = frozenset({"notes", "codes", "marks"})

_COMMIT_S: Final = 1.0
"""What was read is kept this often. Unit: seconds. Our choice: a commit waits for the
disk, and an interruption may cost a second's work."""

_TROUBLE: Final = (sqlite3.DatabaseError, UnicodeDecodeError)
"""What a damaged index raises."""

_NOT_NOW: Final = ("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_READONLY", "SQLITE_FULL")
"""What SQLite says of an index that is whole but cannot be written."""

_BUSY_S: Final = 30.0
"""How long another process may hold the index. Unit: seconds. Our choice."""


class Library:
    """The sessions of one folder.

    Args:
        folder: where sessions are saved; it need not exist yet.
        index: the index file; beside the sessions by default.
    """

    def __init__(self, folder: Path, index: Path | None = None) -> None:
        self.folder = folder
        self._index = index or folder / INDEX_NAME
        self._base = self._opened()

    def close(self) -> None:
        """Lets go of the index."""
        self._base.close()

    def refresh(self, tell: Callable[[int, int], None] = lambda _d, _n: None) -> int:
        """Brings the index up to date with the files; returns how many were read.

        Args:
            tell: called with how many of how many files are done.
        """
        return self._despite_damage(lambda: self._refreshed(tell))

    def _refreshed(self, tell: Callable[[int, int], None]) -> int:
        files = {path.name: path for path in self._files()}
        known = {row.name: (row.size, row.mtime_ns) for row in self._rows()}
        stale = []
        for name, path in files.items():
            with contextlib.suppress(OSError):
                state = path.stat()
                if known.get(name) != (state.st_size, state.st_mtime_ns):
                    stale.append((path, state.st_size, state.st_mtime_ns))
        with self._base:
            for name in known.keys() - files.keys():
                self._base.execute("DELETE FROM sessions WHERE name = ?", (name,))
        read: list[_Row] = []
        since = time.monotonic()
        try:
            for done, (path, size, mtime_ns) in enumerate(stale):
                tell(done, len(stale))
                read.append(_Row.of(describe(path), size, mtime_ns))
                if time.monotonic() - since >= _COMMIT_S:
                    self._keep(read)
                    since = time.monotonic()
        finally:
            self._keep(read)
        if stale:
            tell(len(stale), len(stale))
        return len(stale)

    def _keep(self, rows: list[_Row]) -> None:
        """Writes rows and forgets them; the index is held no longer than that."""
        with self._base:
            self._base.executemany(
                "INSERT OR REPLACE INTO sessions VALUES (?, ?, ?, ?, ?)",
                [dataclasses.astuple(row) for row in rows],
            )
        rows.clear()

    def entries(self, search: str = "") -> list[Entry]:
        """Sessions that hold all words of a search, newest first."""
        words = search.split()
        found = self._despite_damage(self._entries)
        return [entry for entry in found if entry.matches(words)]

    def _entries(self) -> list[Entry]:
        rows = sorted(self._rows(), key=lambda row: row.name)
        told = [(row.entry(self.folder), row.mtime_ns) for row in rows]
        told.sort(key=lambda pair: (pair[0].recorded, pair[1]), reverse=True)
        return [entry for entry, _ in told]

    def _rows(self) -> list[_Row]:
        """All rows; one that does not fit its checksum is damage.

        Raises:
            sqlite3.DatabaseError: when the index is damaged.
        """
        found = self._base.execute(
            "SELECT name, size, mtime_ns, told, checksum FROM sessions"
        )
        rows = [_Row(*row) for row in found]
        if not all(row.holds for row in rows):
            raise sqlite3.DatabaseError("a row was altered")
        return rows

    def _despite_damage(self, work: Callable[[], T]) -> T:
        """What `work` gives, from an index made anew where the old one is damaged."""
        try:
            return work()
        except _TROUBLE as error:
            self._base.close()
            if _damaged(error):
                with contextlib.suppress(OSError):
                    self._index.unlink()
                self._base = self._opened()
            else:
                self._base = _connected(":memory:")
            self._refreshed(lambda _d, _n: None)
            return work()

    def pairs(self) -> list[tuple[Entry, Entry]]:
        """Before and after: a faulty drive and the same car's next one, newest first.

        Cars are told apart by their VIN; sessions without one make no pair. Nor do two
        drives that both show the same, with nothing noted by a person in between: see
        `unchanged`.
        """
        return [pair for pair in self._followed() if not _same(*pair)]

    def unchanged(self) -> list[tuple[Entry, Entry]]:
        """Faulty drives whose car's next one shows the very same, newest first."""
        return [pair for pair in self._followed() if _same(*pair)]

    def _followed(self) -> list[tuple[Entry, Entry]]:
        """Each faulty drive with the same car's next one, newest first."""
        by_car: dict[str, list[Entry]] = {}
        for entry in sorted(self.entries(), key=lambda entry: entry.started):
            if entry.vin and not entry.error:
                by_car.setdefault(entry.vin, []).append(entry)
        found = [
            (before, after)
            for drives in by_car.values()
            for before, after in itertools.pairwise(drives)
            if before.faulty and before.id != after.id
        ]
        return sorted(found, key=lambda pair: pair[1].started, reverse=True)

    def _files(self) -> Iterator[Path]:
        try:
            for path in sorted(self.folder.iterdir()):
                if path.name.endswith(SUFFIXES) and path.is_file() and _told(path):
                    yield path
        except OSError:
            return

    def _opened(self) -> sqlite3.Connection:
        """The index, made anew when it is not usable; in memory as a last resort."""
        with contextlib.suppress(OSError):
            self.folder.mkdir(parents=True, exist_ok=True)
        for place in (self._index, self._index, None):
            try:
                return _connected(":memory:" if place is None else str(place))
            except _TROUBLE as error:
                if _damaged(error):
                    with contextlib.suppress(OSError):
                        self._index.unlink()
        raise AssertionError("an index in memory can always be made")


def _same(before: Entry, after: Entry) -> bool:
    """Whether two drives show the same faults and nobody noted anything of either."""
    return before.faults == after.faults and not (before.notes or after.notes)


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of the index: a file as it was read, what it told, and a checksum."""

    name: str
    size: int
    mtime_ns: int
    told: str
    checksum: int

    @classmethod
    def of(cls, entry: Entry, size: int, mtime_ns: int) -> _Row:
        """The row of an entry; size and time of its file before it was read."""
        values = {name: getattr(entry, name) for name in _FIELDS}
        values["flags"] = [[f.id, f.about, f.severity] for f in entry.flags]
        told = json.dumps(values, ensure_ascii=False)
        name = entry.path.name
        return cls(name, size, mtime_ns, told, _checksum(name, size, mtime_ns, told))

    @property
    def holds(self) -> bool:
        """Whether it is what was written."""
        return self.checksum == _checksum(
            self.name, self.size, self.mtime_ns, self.told
        )

    def entry(self, folder: Path) -> Entry:
        """The entry it keeps."""
        values = json.loads(self.told)
        values |= {name: tuple(values[name]) for name in _LISTS}
        values["flags"] = tuple(Flagged(*flag) for flag in values["flags"])
        return Entry(folder / self.name, **values)


def _damaged(error: Exception) -> bool:
    """False when the index is whole and only cannot be written now."""
    return not getattr(error, "sqlite_errorname", "").startswith(_NOT_NOW)


def _told(path: Path) -> bool:
    """False for a name that is no text: nobody could type or keep it."""
    return path.name.encode(errors="ignore").decode() == path.name


def _checksum(*parts: object) -> int:
    return zlib.crc32("\n".join(map(str, parts)).encode())


def _connected(place: str) -> sqlite3.Connection:
    """An index of this program's version, empty when it was of another one."""
    base = sqlite3.connect(place, timeout=_BUSY_S)
    try:
        wanted = f"{_LAYOUT} {version('bankwise')}"
        with base:
            base.execute("CREATE TABLE IF NOT EXISTS about (version TEXT)")
            found = base.execute("SELECT version FROM about").fetchone()
            if found != (wanted,):
                base.execute("DELETE FROM about")
                base.execute("INSERT INTO about VALUES (?)", (wanted,))
                base.execute("DROP TABLE IF EXISTS sessions")
            base.execute(
                "CREATE TABLE IF NOT EXISTS sessions "
                "(name PRIMARY KEY, size, mtime_ns, told, checksum)"
            )
            base.execute("SELECT count(*) FROM sessions").fetchone()
    except _TROUBLE:
        base.close()
        raise
    return base
