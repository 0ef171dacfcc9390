"""The window on time: looking back loses nothing, and one key returns."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.tui.timeview import SPANS_S, TimeView

_NOW = 300.0


def test_a_new_view_follows_now() -> None:
    """Its right edge is now, whenever now is."""
    assert TimeView(60.0).end(_NOW) == _NOW
    assert TimeView(60.0).start(_NOW) == 240.0


def test_holding_stands_still_and_going_on_follows_again() -> None:
    """The same key does both."""
    held = TimeView(60.0).hold(_NOW)
    assert held.end(_NOW + 50) == _NOW
    assert held.hold(_NOW + 50).end(_NOW + 50) == _NOW + 50


def test_scrolling_forward_to_now_follows_again() -> None:
    """Nobody is left a second behind without noticing."""
    back = TimeView(60.0).scroll(-0.1, _NOW)
    assert back.end(_NOW) == 294.0
    assert not back.scroll(0.1, _NOW).held


def test_scrolling_back_stops_at_the_beginning() -> None:
    """The window does not leave the session."""
    view = TimeView(60.0)
    for _ in range(50):
        view = view.scroll(-0.9, _NOW)
    assert view.end(_NOW) == 60.0


def test_zoom_keeps_the_cursor_in_its_place() -> None:
    """What is looked at stays where it is on the screen."""
    view = TimeView(60.0, 200.0, 170.0)
    closer = view.zoom(1, _NOW)
    before = (view.end(_NOW) - 170.0) / view.span_s
    after = (closer.end(_NOW) - 170.0) / closer.span_s
    assert closer.span_s == 30.0
    assert after == pytest.approx(before)


def test_zoom_stops_at_both_ends() -> None:
    """The shortest and the longest window stay."""
    assert TimeView(SPANS_S[0]).zoom(1, _NOW).span_s == SPANS_S[0]
    assert TimeView(SPANS_S[-1]).zoom(-1, _NOW).span_s == SPANS_S[-1]


def test_jumping_goes_to_the_next_moment_and_back() -> None:
    """Flags and marks are reached one after another."""
    view = TimeView(60.0, 100.0, 50.0)
    assert view.jump([10.0, 80.0, 200.0], True, _NOW).cursor_s == 80.0
    assert view.jump([10.0, 80.0, 200.0], False, _NOW).cursor_s == 10.0


def test_jumping_past_the_last_moment_changes_nothing() -> None:
    """The same view comes back, so that the person can be told."""
    view = TimeView(60.0, 100.0, 50.0)
    assert view.jump([10.0], True, _NOW) is view


def test_an_anchor_measures_from_the_cursor_and_goes_again() -> None:
    """The second cursor stays while the first one moves."""
    view = TimeView(60.0, 200.0, 170.0).drop_anchor(_NOW).move_cursor(5.0, _NOW)
    assert (view.anchor_s, view.cursor_s) == (170.0, 175.0)
    assert view.drop_anchor(_NOW).anchor_s is None


def test_a_window_away_from_its_cursor_zooms_where_it_is() -> None:
    """Scrolled far back, zooming does not throw it out of the session."""
    view = TimeView(60.0).toggle_cursor(_NOW).scroll(-3.0, _NOW).zoom(-1, _NOW)
    assert (view.start(_NOW), view.end(_NOW)) == (0.0, 120.0)


_STEPS = st.sampled_from(("scroll", "zoom", "cursor", "move", "hold", "now"))


@given(st.lists(st.tuples(_STEPS, st.floats(-2, 2)), max_size=30))
def test_no_sequence_of_keys_loses_the_session(keys: list[tuple[str, float]]) -> None:
    """After any keys the window overlaps the session and the cursor is in sight."""
    view = TimeView(60.0)
    for name, amount in keys:
        match name:
            case "scroll":
                view = view.scroll(amount, _NOW)
            case "zoom":
                view = view.zoom(1 if amount > 0 else -1, _NOW)
            case "cursor":
                view = view.toggle_cursor(_NOW)
            case "move":
                view = view.move_cursor(amount * 40, _NOW)
            case "hold":
                view = view.hold(_NOW)
            case _:
                view = view.back_to_now()
        assert view.end(_NOW) > 0
        assert view.start(_NOW) < _NOW
        if view.cursor_s is not None:
            assert 0 <= view.cursor_s <= _NOW
