"""Numbers three rows high, drawn in half blocks: readable from the passenger seat.

Each glyph is four by six square dots; one row of the screen holds two rows of dots.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bankwise.tui.canvas import Canvas

HEIGHT = 3
"""Rows a big number takes."""

_GLYPHS = {
    "0": "####/#..#/#..#/#..#/#..#/####",
    "1": ".##./..#./..#./..#./..#./.###",
    "2": "####/...#/####/#.../#.../####",
    "3": "####/...#/.###/...#/...#/####",
    "4": "#..#/#..#/#..#/####/...#/...#",
    "5": "####/#.../####/...#/...#/####",
    "6": "####/#.../####/#..#/#..#/####",
    "7": "####/...#/..#./..#./.#../.#..",
    "8": "####/#..#/####/#..#/#..#/####",
    "9": "####/#..#/####/...#/...#/####",
    "+": ".../.../.#./###/.#./...",
    "−": ".../.../.../###/.../...",
    "–": "..../..../..../####/..../....",
    ".": "./././././#",
    " ": "./././././.",
}
_HALVES = np.array([ord(" "), ord("▀"), ord("▄"), ord("█")], dtype=np.uint32)


def _cells(glyph: str) -> npt.NDArray[np.uint32]:
    dots = np.array([[c == "#" for c in row] for row in glyph.split("/")])
    cells: npt.NDArray[np.uint32] = _HALVES[dots[0::2] + 2 * dots[1::2]]
    return cells


_CELLS = {char: _cells(glyph) for char, glyph in _GLYPHS.items()}


def width(text: str) -> int:
    """Columns that a big number takes, one empty column between glyphs."""
    return sum(_CELLS[char].shape[1] + 1 for char in text) - 1 if text else 0


def draw(canvas: Canvas, x: int, y: int, text: str, code: int) -> int:
    """Draws a big number with its top left corner at a cell.

    Args:
        canvas: what to draw on; a number that does not fit is cut.
        x: column.
        y: first of the three rows.
        text: digits, `+`, `−`, `.`, and `–` for "no value".
        code: look number.

    Returns:
        The column after the number.
    """
    for char in text:
        cells = _CELLS[char]
        spot = canvas.part(x, y, cells.shape[1], HEIGHT)
        spot.chars[:] = cells[: spot.height, : spot.width]
        spot.looks[:] = code
        x += cells.shape[1] + 1
    return x - 1 if text else x
