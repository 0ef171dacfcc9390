"""Words three rows high, drawn in half blocks: read from the passenger seat.

Glyphs are six dots high; one row of the screen holds two rows of dots. What has no
glyph is left out.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from bankwise.tui.canvas import Canvas

HEIGHT = 3
"""Rows a line of big words takes."""

_GLYPHS = {
    "A": ".##./#..#/#..#/####/#..#/#..#",
    "B": "###./#..#/###./#..#/#..#/###.",
    "C": ".###/#.../#.../#.../#.../.###",
    "D": "###./#..#/#..#/#..#/#..#/###.",
    "E": "####/#.../###./#.../#.../####",
    "F": "####/#.../###./#.../#.../#...",
    "G": ".###/#.../#.##/#..#/#..#/.###",
    "H": "#..#/#..#/####/#..#/#..#/#..#",
    "I": "#/#/#/#/#/#",
    "J": "..##/...#/...#/...#/#..#/.##.",
    "K": "#..#/#.#./##../##../#.#./#..#",
    "L": "#.../#.../#.../#.../#.../####",
    "M": "#...#/##.##/#.#.#/#...#/#...#/#...#",
    "N": "#..#/##.#/##.#/#.##/#.##/#..#",
    "O": ".##./#..#/#..#/#..#/#..#/.##.",
    "P": "###./#..#/#..#/###./#.../#...",
    "Q": ".##./#..#/#..#/#..#/#.#./.#.#",
    "R": "###./#..#/#..#/###./#.#./#..#",
    "S": ".###/#.../.##./...#/...#/###.",
    "T": "#####/..#../..#../..#../..#../..#..",
    "U": "#..#/#..#/#..#/#..#/#..#/.##.",
    "V": "#...#/#...#/#...#/.#.#./.#.#./..#..",
    "W": "#...#/#...#/#...#/#.#.#/##.##/#...#",
    "X": "#..#/#..#/.##./.##./#..#/#..#",
    "Y": "#...#/.#.#./..#../..#../..#../..#..",
    "Z": "####/...#/..#./.#../#.../####",
    "0": "####/#..#/#..#/#..#/#..#/####",
    "1": ".#/##/.#/.#/.#/.#",
    "2": "###./...#/.##./#.../#.../####",
    "3": "###./...#/.##./...#/...#/###.",
    "4": "#..#/#..#/#..#/####/...#/...#",
    "5": "####/#.../###./...#/...#/###.",
    "6": ".##./#.../###./#..#/#..#/.##.",
    "7": "####/...#/..#./..#./.#../.#..",
    "8": ".##./#..#/.##./#..#/#..#/.##.",
    "9": ".##./#..#/#..#/.###/...#/.##.",
    "?": "###./...#/..#./.#../..../.#..",
    ":": "./#/././#/.",
    ",": ".././././.#/#.",
    ".": "./././././#",
    "-": ".../.../###/.../.../...",
    " ": "../../../../../..",
}
_HALVES = np.array([ord(" "), ord("▀"), ord("▄"), ord("█")], dtype=np.uint32)


def _cells(glyph: str) -> npt.NDArray[np.uint32]:
    rows = glyph.split("/")
    wide = max(map(len, rows))
    dots = np.array([[c == "#" for c in row.ljust(wide, ".")] for row in rows])
    cells: npt.NDArray[np.uint32] = _HALVES[dots[0::2] + 2 * dots[1::2]]
    return cells


_CELLS = {char: _cells(glyph) for char, glyph in _GLYPHS.items()}


def width(text: str) -> int:
    """Columns that big words take, one empty column between glyphs."""
    cells = [_CELLS[char] for char in text.upper() if char in _CELLS]
    return sum(cell.shape[1] + 1 for cell in cells) - 1 if cells else 0


def lines(text: str, columns: int) -> list[str]:
    """The words in lines that fit; a longer word has a line for itself."""
    found: list[str] = []
    for word in text.split():
        longer = f"{found[-1]} {word}" if found else word
        if found and width(longer) <= columns:
            found[-1] = longer
        else:
            found.append(word)
    return found


def draw(canvas: Canvas, x: int, y: int, text: str, code: int) -> int:
    """Draws one line of big words; what does not fit is cut.

    Returns:
        The column after it.
    """
    for char in text.upper():
        cell = _CELLS.get(char)
        if cell is None:
            continue
        part = canvas.part(x, y, cell.shape[1], HEIGHT)
        shown = cell[: part.height, : part.width]
        part.chars[:] = shown
        part.looks[:] = code
        x += cell.shape[1] + 1
    return x
