"""Whether a session was made to practise on and its answer is not told yet.

Lists say nothing of such a session that gives its story away. Its header holds the
hidden story, or, for a copy of a shipped session, its file's name says it is one; the
answer, once told, leaves a mark at its end.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Final

from bankwise.adapters.errors import SessionError
from bankwise.adapters.packed import load
from bankwise.adapters.records import Header, MarkRecord, Record
from bankwise.signals.remarks import ANSWERED_TAG

KEY: Final = "practice"
"""Key of a header's `vehicle` under which the hidden story stands."""
SUBJECT: Final = "practice"
"""What the file of a practice session is called after its date."""


def made_blind(name: str, header: Header) -> bool:
    """Whether a session was made to practise on. `name`: its file's."""
    return KEY in header.vehicle or (header.simulated and f"-{SUBJECT}" in name)


def unanswered(name: str, header: Header, records: Iterable[Record]) -> bool:
    """Whether a session was made to practise on and its answer was not told."""
    return made_blind(name, header) and not any(
        isinstance(record, MarkRecord) and record.tag == ANSWERED_TAG
        for record in records
    )


def is_blind(path: Path, header: Header) -> bool:
    """The same of a file; all of it is read only when it was made to practise on."""
    if not made_blind(path.name, header):
        return False
    try:
        data, _ = load(path)
    except SessionError:
        return True
    return f'"{ANSWERED_TAG}"'.encode() not in data
