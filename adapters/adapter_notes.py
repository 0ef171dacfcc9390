"""What is known of adapters met before, kept in the user's data folder.

A note only says where to begin: what it claims is tried again, so a wrong or old note
costs a few requests and no value. A file that cannot be read or written is no error;
then nothing is known.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

import msgspec
from platformdirs import user_data_path

from bankwise.adapters.batching import Rung

FILE_NAME: Final = "adapters.json"
_MOST_NOTES: Final = 200


class Note(msgspec.Struct, frozen=True, omit_defaults=True):
    """One adapter at one port.

    Attributes:
        name: what it calls itself.
        baud: the serial speed at which it answers.
        digit: whether it takes the number of frames to expect.
        rung: how much it takes in one request.
        words: what a probe found, a sentence each.
    """

    name: str = ""
    baud: int | None = None
    digit: bool = True
    rung: Rung = Rung.SIX
    words: tuple[str, ...] = ()


def notes_path() -> Path:
    """Where the notes are kept on this platform."""
    return user_data_path("bankwise") / FILE_NAME


class Notes:
    """The notes by port, read once and written whole."""

    def __init__(self, path: Path | None = None) -> None:
        """Reads the notes at `path`, by default the platform's place for them."""
        self._path = path or notes_path()
        self._notes: dict[str, Note] = {}
        try:
            self._notes = msgspec.json.decode(
                self._path.read_bytes(), type=dict[str, Note]
            )
        except (OSError, msgspec.MsgspecError, UnicodeDecodeError):
            self._notes = {}

    def of(self, port: str) -> Note | None:
        """What is known of the adapter at a port."""
        return self._notes.get(port)

    def keep(self, port: str, note: Note) -> bool:
        """Keeps a note; False when it could not be written."""
        self._notes.pop(port, None)
        self._notes[port] = note
        while len(self._notes) > _MOST_NOTES:
            self._notes.pop(next(iter(self._notes)))
        beside = self._path.with_suffix(f".{os.getpid()}.tmp")
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            beside.write_bytes(msgspec.json.encode(self._notes))
            beside.replace(self._path)
        except OSError:
            return False
        return True
