"""One line of progress on a terminal, and nothing in a pipe."""

from __future__ import annotations

import shutil
import sys
from types import TracebackType
from typing import TextIO


class Progress:
    """Shows what is being done on one line, and leaves no trace of it."""

    def __init__(self, stream: TextIO | None = None) -> None:
        """Writes to standard error unless told otherwise."""
        self._stream = sys.stderr if stream is None else stream
        self._shown = False

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.done()

    def tell(self, words: str) -> None:
        """Replaces the line. Does nothing when nobody watches."""
        if not self._stream.isatty():
            return
        width = shutil.get_terminal_size().columns - 1
        self._stream.write("\r\x1b[K" + words[:width])
        self._stream.flush()
        self._shown = True

    def done(self) -> None:
        """Takes the line away."""
        if self._shown:
            self._stream.write("\r\x1b[K")
            self._stream.flush()
            self._shown = False
