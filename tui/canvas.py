"""A grid of characters and looks that the panes draw on.

Plain arrays, no widget: what a pane draws can be read back as text in a test, and two
frames can be compared row by row.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from rich.cells import cell_len
from rich.segment import Segment
from textual.strip import Strip

from bankwise.tui.themes import Ink, Palette, look

Chars = npt.NDArray[np.uint32]
Looks = npt.NDArray[np.uint16]

_BLANK = ord(" ")
_UNFIT = "·"


def single_width(text: str) -> str:
    """The text with whatever would not fill exactly one cell replaced by a dot."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(c if c.isprintable() and cell_len(c) == 1 else _UNFIT for c in text)


@lru_cache(maxsize=4096)
def codes(text: str) -> Chars:
    """The code points to draw, one a cell; read only. Shape (len(text),).

    Kept, because nearly all that a screen writes it has written a moment ago.
    """
    return np.frombuffer(single_width(text).encode("utf-32-le"), dtype=np.uint32)


@dataclass(frozen=True, slots=True)
class Canvas:
    """A rectangle to draw on; `part` gives a smaller one on the same cells.

    Attributes:
        chars: code points. Shape (height, width).
        looks: look numbers of `bankwise.tui.themes`. Shape (height, width).
    """

    chars: Chars
    looks: Looks

    @classmethod
    def blank(cls, width: int, height: int, code: int = look(Ink.TEXT)) -> Canvas:
        """An empty rectangle."""
        shape = (max(height, 0), max(width, 0))
        return cls(np.full(shape, _BLANK, np.uint32), np.full(shape, code, np.uint16))

    @property
    def width(self) -> int:
        """Cells in a row."""
        return int(self.chars.shape[1])

    @property
    def height(self) -> int:
        """Number of rows."""
        return int(self.chars.shape[0])

    def clear(self, code: int = look(Ink.TEXT)) -> None:
        """Blanks every cell."""
        self.chars[:] = _BLANK
        self.looks[:] = code

    def part(self, x: int, y: int, width: int, height: int) -> Canvas:
        """A rectangle within this one, cut where it would reach outside."""
        rows = slice(max(y, 0), max(y + height, 0))
        columns = slice(max(x, 0), max(x + width, 0))
        return Canvas(self.chars[rows, columns], self.looks[rows, columns])

    def put(self, x: int, y: int, text: str, code: int = look(Ink.TEXT)) -> int:
        """Writes text, cut at the edges; returns the column after it."""
        end = x + len(text)
        if 0 <= y < self.height and x < self.width and end > 0:
            shown = codes(text)[max(-x, 0) : self.width - x]
            start = max(x, 0)
            self.chars[y, start : start + len(shown)] = shown
            self.looks[y, start : start + len(shown)] = code
        return end

    def put_right(self, x: int, y: int, text: str, code: int = look(Ink.TEXT)) -> int:
        """Writes text that ends before column `x`; returns the column it starts at."""
        self.put(x - len(text), y, text, code)
        return x - len(text)

    def put_runs(self, x: int, y: int, runs: Iterable[tuple[str, int]]) -> int:
        """Writes pieces of text one after another; returns the column after them."""
        for text, code in runs:
            x = self.put(x, y, text, code)
        return x

    def text(self) -> str:
        """What stands there, rows joined by line ends, without looks."""
        return "\n".join(
            row.tobytes().decode("utf-32-le").rstrip() for row in self.chars
        )

    def strip(self, y: int, palette: Palette) -> Strip:
        """One row for the terminal, one segment a run of equal looks."""
        row = self.looks[y]
        cuts = np.flatnonzero(row[1:] != row[:-1]) + 1
        bounds = [0, *cuts.tolist(), self.width]
        line = np.ascontiguousarray(self.chars[y]).tobytes().decode("utf-32-le")
        segments = [
            Segment(line[a:b], palette.style(int(row[a])))
            for a, b in pairwise(bounds)
            if b > a
        ]
        return Strip(segments, self.width)


def changed_spans(before: Canvas, after: Canvas) -> list[tuple[int, int, int]]:
    """Where two grids of one shape differ: row, first column, width, per row."""
    differs = (before.chars != after.chars) | (before.looks != after.looks)
    rows = np.flatnonzero(differs.any(axis=1))
    if not len(rows):
        return []
    part = differs[rows]
    first = part.argmax(axis=1)
    last = part.shape[1] - part[:, ::-1].argmax(axis=1)
    return [
        (int(y), int(a), int(b - a)) for y, a, b in zip(rows, first, last, strict=True)
    ]
