"""Holding and clearing, tick by tick and in one piece."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bankwise.signals.columns import Bools
from bankwise.signals.hold import Hold


def _flags(text: str) -> tuple[Bools, Bools]:
    """`1` true, `0` false, `x` gate shut."""
    return np.array([c == "1" for c in text]), np.array([c != "x" for c in text])


def test_a_flag_rises_after_its_hold_time() -> None:
    """Two seconds of hold are four ticks after the first true one."""
    hold = Hold(2.0, 1.0)
    assert hold.advance(0, *_flags("0011111111")) == [(6, True)]


def test_a_flag_clears_after_its_clear_time() -> None:
    """One second of clear is two ticks after the first false one."""
    hold = Hold(0.0, 1.0)
    assert hold.advance(0, *_flags("0110000")) == [(1, True), (5, False)]
    assert hold.spans == [(1, 5)]


def test_a_shut_gate_restarts_the_hold() -> None:
    """True, shut, true is not held through."""
    hold = Hold(1.0, 1.0)
    assert hold.advance(0, *_flags("11x11x11x")) == []


def test_a_shut_gate_keeps_then_drops_an_active_flag() -> None:
    """An active flag outlives a short closure and is dropped after half a minute."""
    hold = Hold(0.0, 1.0)
    hold.advance(0, *_flags("1" + "x" * 50))
    assert hold.active
    assert hold.advance(51, *_flags("x" * 20)) == [(61, False)]


@given(st.text("01x", min_size=1, max_size=120), st.integers(1, 30))
def test_pieces_change_nothing(text: str, size: int) -> None:
    """Fed in pieces of any size, the changes are those of the whole."""
    whole, parts = Hold(1.5, 2.0), Hold(1.5, 2.0)
    condition, gate = _flags(text)
    changes = []
    for lo in range(0, len(text), size):
        changes += parts.advance(lo, condition[lo : lo + size], gate[lo : lo + size])
    assert whole.advance(0, condition, gate) == changes
    assert (whole.active, whole.spans, whole.true_at) == (
        parts.active,
        parts.spans,
        parts.true_at,
    )


@given(
    st.text("01x", max_size=40), st.text("01x", min_size=90, max_size=90), st.integers()
)
def test_nothing_changes_before_the_next_change(
    before: str, after: str, choice: int
) -> None:
    """Whatever comes, the flag stands still until the tick said, and is known so."""
    hold = Hold(choice % 4, choice % 3)
    if before:
        hold.advance(0, *_flags(before))
    lo = len(before)
    due, up = hold.next_change(lo), hold.active
    assert due >= lo
    assert np.all(hold.up(lo, due) == up)
    changes = hold.advance(lo, *_flags(after))
    assert all(tick >= due for tick, _ in changes)


def test_a_flag_is_known_at_every_tick_it_was_up() -> None:
    """Two stretches, seen from before, between and within."""
    hold = Hold(0.0, 0.0)
    hold.advance(0, *_flags("0110011"))
    assert hold.up(0, 7).tolist() == [c == "1" for c in "0110011"]
    assert hold.up(2, 7).tolist() == [c == "1" for c in "10011"]
    assert hold.up(3, 5).tolist() == [False, False]
