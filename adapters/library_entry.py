"""What one saved session is, in a line of the library: car, flags, codes, remarks."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from bankwise.adapters.analysis import analyse
from bankwise.adapters.blind import unanswered
from bankwise.adapters.errors import SessionError
from bankwise.adapters.moments import moment_of
from bankwise.adapters.records import Exchange, MarkRecord
from bankwise.adapters.session_additions import notes
from bankwise.adapters.session_file import read_session
from bankwise.signals.remarks import is_remark
from bankwise.signals.severity import Severity

_NAMED: Final = re.compile(r"\d{4}-\d{2}-\d{2}-\d{6}")
_NAME_FORMAT: Final = "%Y-%m-%d-%H%M%S"
"""How this program names the file of a drive: its local date and time first."""


@dataclass(frozen=True, slots=True)
class Flagged:
    """A flag of a session: its id, what it is about, and how severe it is."""

    id: str
    about: str
    severity: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One saved session.

    Attributes:
        path: its file.
        size: of the file. Unit: bytes.
        id, started: as its header says; RFC 3339.
        seconds: length of the drive. Unit: seconds.
        exchanges: requests in it.
        vin, car, note: what is known of the car.
        notes: added by a person afterwards.
        flags: that rose, most severe first.
        codes: trouble codes read during the drive.
        marks: remarks made during the drive.
        error: why it cannot be read; empty when it can.
        blind: it was made to practise on and its answer is not told yet, so that what
            was found in it is kept back.
    """

    path: Path
    size: int = 0
    id: str = ""
    started: str = ""
    seconds: float = 0.0
    exchanges: int = 0
    vin: str = ""
    car: str = ""
    note: str = ""
    notes: tuple[str, ...] = ()
    flags: tuple[Flagged, ...] = ()
    codes: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    error: str = ""
    blind: bool = False

    @property
    def recorded(self) -> str:
        """When it was recorded: as its file's name says, else its header.

        The header of a copied or imported drive may tell an invented day; a name that
        this program gave holds the moment the file was made. RFC 3339, UTC.
        """
        named = _NAMED.match(self.path.name)
        if named is None:
            return _in_utc(self.started)
        try:
            moment = datetime.strptime(named[0], _NAME_FORMAT)
        except ValueError:
            return _in_utc(self.started)
        return moment.astimezone(UTC).isoformat(timespec="seconds")

    @property
    def faults(self) -> frozenset[str]:
        """What asks to act: codes, and flags with what they are about."""
        wanted = {Severity.ACT.value, Severity.STOP.value}
        flags = (f"{f.id} {f.about}" for f in self.flags if f.severity in wanted)
        return frozenset((*self.codes, *flags))

    @property
    def packed(self) -> bool:
        """Whether its file is packed."""
        return self.path.suffix == ".gz"

    @property
    def faulty(self) -> bool:
        """Whether a flag asks to act, or a code was read."""
        return bool(self.faults)

    def matches(self, words: Sequence[str]) -> bool:
        """Whether every word occurs somewhere in what is known of it."""
        flags = (f"{flag.id} {flag.about} {flag.severity}" for flag in self.flags)
        parts = (
            self.path.name, self.started, self.recorded, self.vin, self.car, self.note
        )  # fmt: skip
        told = (*parts, *self.notes, *flags, *self.codes, *self.marks, self.error)
        text = "\n".join(told).casefold()
        return all(word.casefold() in text for word in words)


def describe(path: Path) -> Entry:
    """Reads and judges one session; a file that cannot be read says why."""
    try:
        size = path.stat().st_size
        session = read_session(path)
    except SessionError as error:
        return Entry(path, error=str(error).removeprefix(f"{path}").lstrip(": "))
    except OSError as error:
        return Entry(path, error=error.strerror or str(error))
    analysis = analyse(session)
    columns, header = analysis.columns, session.header
    known = Entry(
        path,
        size,
        header.id,
        header.started,
        round(columns.end_s, 1),
        sum(type(record) is Exchange for record in session.records),
        car=str(header.vehicle.get("name") or ""),
    )
    if unanswered(path.name, header, session.records):
        return dataclasses.replace(known, blind=True)
    ranked = sorted(analysis.engine.flags, key=lambda flag: -flag.severity.rank)
    return dataclasses.replace(
        known,
        vin=columns.vehicle.vin or "",
        note=columns.vehicle.note or "",
        notes=tuple(notes(session.records)),
        flags=tuple(Flagged(f.id, f.about, f.severity.value) for f in ranked),
        codes=tuple(dict.fromkeys(c for read in columns.codes for c in read.codes)),
        marks=tuple(
            record.text
            for record in session.records
            if isinstance(record, MarkRecord) and is_remark(record.tag)
        ),
    )


def _in_utc(text: str) -> str:
    """A moment in one zone, so that moments sort as text; as it is when it is none."""
    moment = moment_of(text)
    if moment is None:
        return text
    return moment.astimezone(UTC).isoformat(timespec="seconds")
