"""The grid that panes draw on, and what of it goes to the terminal."""

from __future__ import annotations

from bankwise.tui import digits
from bankwise.tui.canvas import Canvas, changed_spans, single_width
from bankwise.tui.themes import BOLD, PALETTES, REVERSE, Ink, Paper, look


def test_text_is_cut_at_every_edge() -> None:
    """Writing outside never fails and never wraps."""
    canvas = Canvas.blank(5, 2)
    canvas.put(-2, 0, "abcdef")
    canvas.put(3, 1, "xyz")
    canvas.put(0, 7, "below")
    assert canvas.text() == "cdef\n   xy"


def test_a_part_draws_on_the_same_cells() -> None:
    """What is drawn on a part appears on the whole."""
    canvas = Canvas.blank(6, 3)
    canvas.part(2, 1, 3, 1).put(0, 0, "hello")
    assert canvas.text() == "\n  hel\n"


def test_characters_that_are_not_one_cell_wide_become_dots() -> None:
    """A note in any script, or with control characters, keeps the columns straight."""
    assert single_width("a漢\x1b[0mé") == "a··[0mé"


def test_equal_grids_have_no_changed_spans() -> None:
    """Nothing is sent when nothing changed."""
    assert changed_spans(Canvas.blank(4, 4), Canvas.blank(4, 4)) == []


def test_changed_spans_hold_exactly_what_differs() -> None:
    """From the first to the last differing cell of each row."""
    before, after = Canvas.blank(10, 3), Canvas.blank(10, 3)
    after.put(2, 1, "x")
    after.put(6, 1, "y")
    after.put(0, 2, " ", look(Ink.BANK1))
    assert changed_spans(before, after) == [(1, 2, 5), (2, 0, 1)]


def test_a_strip_has_one_segment_a_run_of_looks() -> None:
    """Three looks in a row make three segments, with the theme's colours."""
    canvas = Canvas.blank(6, 1)
    canvas.put(2, 0, "ab", look(Ink.BANK1, Paper.PLOT, BOLD))
    strip = canvas.strip(0, PALETTES["dark"])
    assert [segment.text for segment in strip] == ["  ", "ab", "  "]
    style = list(strip)[1].style
    assert style is not None
    assert style.color is not None
    assert style.color.name == "#56b4e9"
    assert style.bold


def test_looks_come_back_from_their_number() -> None:
    """Ink, paper and attributes survive being one small number."""
    style = PALETTES["sun"].style(look(Ink.BANK2, Paper.BAR, REVERSE))
    assert style.color is not None
    assert style.color.name == PALETTES["sun"].inks[Ink.BANK2].lower()
    assert style.reverse


def test_big_numbers_are_three_rows_of_half_blocks() -> None:
    """`+7` is eight columns wide and drawn with half blocks only."""
    canvas = Canvas.blank(digits.width("+7"), digits.HEIGHT)
    end = digits.draw(canvas, 0, 0, "+7", look(Ink.TEXT))
    assert end == canvas.width == 8
    assert canvas.text() == "    ▀▀▀█\n▄█▄   █\n ▀   █"


def test_a_big_number_that_does_not_fit_is_cut() -> None:
    """The rest of the screen is left alone."""
    canvas = Canvas.blank(6, 2)
    digits.draw(canvas, 3, 0, "88", look(Ink.TEXT))
    assert canvas.text().splitlines()[0].startswith("   █")
