"""A session that someone else is recording, watched by reading its file.

Nothing a viewer does reaches the car or the file: there is no way to it from here.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path

from bankwise.adapters.errors import SessionError
from bankwise.adapters.records import EndRecord, FlagRecord, Header, Record
from bankwise.adapters.session_file import SessionTail
from bankwise.adapters.source import LinkState, Recording

SILENT_S = 3.0
"""A file that has not grown for so long is called silent. Unit: s. Our choice."""

_AHEAD_S = 0.5


class Watch:
    """Follows a session file that is still being written.

    Args:
        path: the file.
        clock: seconds from a monotonic clock.
    """

    kind = "viewer"

    def __init__(self, path: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self.recording = Recording()
        """Nothing: the file belongs to the one who records."""
        self._path = path
        self._clock = clock
        self._tail = SessionTail(path)
        self._trouble = ""
        self._ended = False
        self._newest_s = 0.0
        self._grew_at = clock()

    @property
    def header(self) -> Header | None:
        """The session's header, or None until its line is there."""
        return self._tail.header

    @property
    def state(self) -> LinkState:
        """Closed after the end of the recording, lost while the file is silent."""
        if self._ended:
            return LinkState.CLOSED
        if self._trouble or self._clock() - self._grew_at > SILENT_S:
            return LinkState.LOST
        return LinkState.UP if self.header is not None else LinkState.CONNECTING

    @property
    def status(self) -> str:
        """What is watched, or why nothing comes, in plain words."""
        if self._trouble:
            return self._trouble
        if self._ended:
            return f"{self._path.name} has ended"
        if self.state is LinkState.LOST:
            return f"{self._path.name} has stopped growing"
        return f"watching {self._path.name}"

    def start(self) -> None:
        """Nothing to begin: the file is read when asked."""

    def drain(self) -> list[Record]:
        """Records completed since the last call."""
        if self._ended:
            return []
        try:
            records = self._tail.read()
        except SessionError as error:
            self._trouble = str(error)
            return []
        self._trouble = ""
        if records:
            self._newest_s = records[-1].t
            self._grew_at = self._clock()
            self._ended = any(isinstance(record, EndRecord) for record in records)
        return records

    def mark(self, text: str, tag: str | None = None) -> None:
        """Does nothing: a viewer only looks."""

    def note(self, record: FlagRecord) -> None:
        """Does nothing: the recording keeps what its own screen told."""

    def ask(self, *requests: str) -> None:
        """Does nothing: a viewer has no way to the car."""

    def want(self, rates: Mapping[str, float] | None) -> None:
        """Does nothing: a viewer has no way to the car."""

    def now(self) -> float:
        """Session time, at most half a second ahead of the newest record. Unit: s."""
        if self._ended:
            return self._newest_s
        return self._newest_s + min(self._clock() - self._grew_at, _AHEAD_S)

    def stop(self) -> None:
        """Nothing to close."""
