"""What trims must show before they prove a repair, and what is to be driven."""

from __future__ import annotations

from bankwise.signals.engine import Engine
from bankwise.signals.shared_cells import SharedCell
from bankwise.signals.trim_proof import trims_lacking

BEFORE = Engine()
BEFORE.advance(BEFORE.frame.columns, 5.0)


def _cell(
    before: float,
    after: float,
    ticks: tuple[int, int] = (60, 60),
    *,
    rpm: float = 1500.0,
    spread: float = 2.0,
) -> SharedCell:
    """A cell of bank 1; 30 ticks a drive give an interval, 15 one of the later."""
    moved = after - before
    known = min(ticks) >= 30
    sure = ticks[1] >= 15
    return SharedCell(
        1,
        rpm,
        30.0,
        before,
        after,
        moved - spread if known else None,
        moved + spread if known else None,
        *ticks,
        after - spread if sure else None,
        after + spread if sure else None,
        30,
        15,
    )


def _lacking(*cells: SharedCell) -> list[str]:
    return list(trims_lacking(BEFORE, 1, cells))


def test_two_known_cells_and_a_measured_change_lack_nothing() -> None:
    """One cell that was out of limits and is not; one that never was."""
    assert _lacking(_cell(20.0, 1.0), _cell(3.0, 1.0, (10, 20), rpm=2000.0)) == []


def test_cells_held_too_shortly_after_name_what_is_to_be_driven() -> None:
    """The cell that lacks least, and by how much."""
    (told,) = _lacking(
        _cell(20.0, 1.0),
        _cell(3.0, 1.0, (60, 11), rpm=2000.0),
        _cell(3.0, 1.0, (60, 10), rpm=2500.0),
    )
    assert told == (
        "bank 1: 1 of 3 shared cells were held long enough after the repair: hold "
        "2000 rpm, 30 % load for 2 s more"
    )


def test_every_cell_that_was_out_of_limits_must_be_known() -> None:
    """Two good cells elsewhere do not speak for the one that was lean."""
    told = _lacking(
        _cell(20.0, 1.0, (60, 12)),
        _cell(18.0, 1.0, rpm=2000.0),
        _cell(2.0, 1.0, rpm=2500.0),
    )
    assert len(told) == 1
    assert "hold 1500 rpm, 30 % load for 2 s more" in told[0]


def test_a_change_that_no_drive_can_show_is_said() -> None:
    """The drive before was too short; driving longer after does not help."""
    (told,) = _lacking(_cell(20.0, 1.0, (12, 60)), _cell(2.0, 1.0, rpm=2000.0))
    assert "for 6 s of the 15 s" in told
    assert "no later drive can make up for it" in told


def test_a_change_that_more_driving_would_show_names_it() -> None:
    """Known after, but not long enough to measure the change."""
    (told,) = _lacking(_cell(20.0, 1.0, (60, 20)), _cell(2.0, 1.0, rpm=2000.0))
    assert (
        told == "bank 1: to measure the change, hold 1500 rpm, 30 % load for 5 s more"
    )


def test_a_median_that_may_be_out_of_limits_is_no_proof() -> None:
    """+9 % give or take 2 may be beyond +10 %."""
    (told,) = _lacking(_cell(30.0, 9.0), _cell(2.0, 1.0, rpm=2000.0))
    assert "may still be out of limits: +9.0 % (+7.0 … +11.0 %)" in told


def test_a_change_within_chance_is_no_proof() -> None:
    """From +11 to +8 give or take four."""
    told = _lacking(
        _cell(11.0, 5.0, spread=7.0),
        _cell(2.0, 1.0, rpm=2000.0),
    )
    assert "bank 1: the change at 1500 rpm, 30 % load may be chance" in told
