"""Lanes stacked on one time axis."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.columns import Columns
from bankwise.signals.frame import MAKER_SIGNALS
from bankwise.signals.registry import DERIVED
from bankwise.tui.canvas import Canvas
from bankwise.tui.lane_axis import MARK_SIGN, Window, draw_axis
from bankwise.tui.lane_table import FIRST_CHOICE, LANES, Scale
from bankwise.tui.lane_words import draw_words
from bankwise.tui.lanes import allot, chosen, draw_stack
from bankwise.tui.measure import between
from bankwise.tui.timeview import TimeView

ALL = [LANES[name] for name in FIRST_CHOICE]


def test_every_lane_draws_signals_that_exist() -> None:
    """No lane names a signal that nobody measures or derives."""
    for lane in LANES.values():
        for scale in lane.scales:
            assert len(scale.names) == len(lane.banks)
            for name in (*scale.names, *scale.paced_by, *scale.honest):
                assert name in SIGNALS or name in DERIVED or name in MAKER_SIGNALS


@given(st.integers(0, 80), st.sets(st.sampled_from(sorted(LANES))))
def test_rows_are_dealt_out_to_the_last_one(height: int, tall: set[str]) -> None:
    """No row too many, none left over once a lane is shown, none below its least."""
    rows = allot(ALL, height, frozenset(tall))
    assert sum(rows) <= height
    for lane, count in zip(ALL, rows, strict=True):
        assert count == 0 or count >= lane.least
    if any(count and lane.weight for lane, count in zip(ALL, rows, strict=True)):
        assert sum(rows) == height


def test_an_enlarged_lane_gets_more_rows() -> None:
    """Enlarging is seen."""
    usual = allot(ALL, 40, frozenset())
    larger = allot(ALL, 40, frozenset(("rpm",)))
    place = FIRST_CHOICE.index("rpm")
    assert larger[place] > usual[place]


def test_a_moment_keeps_its_cell_while_time_goes_on() -> None:
    """As long as it is on the screen its column of dots is the same."""
    early, late = Window.ending(100.0, 60.0, 70), Window.ending(123.0, 60.0, 70)
    assert early.cell(95.0) + early.first == late.cell(95.0) + late.first


def test_the_last_cell_holds_the_end() -> None:
    """Now is at the right edge."""
    window = Window.ending(100.0, 60.0, 70)
    assert window.cell(100.0) == 69
    assert window.holds(window.cell(41.0))


def test_axis_labels_stand_at_round_moments() -> None:
    """The label begins beside its tick."""
    row = Canvas.blank(70, 1)
    draw_axis(row, Window.ending(100.0, 60.0, 70))
    window = Window.ending(100.0, 60.0, 70)
    assert row.text()[window.cell(60.0)] == "╵"
    assert row.text()[window.cell(60.0) + 1 :].startswith("1:00")


def test_ends_move_outwards_in_whole_steps() -> None:
    """A scale grows to hold its values, the same both ways about zero."""
    scale = Scale(("x",), "%", -20.0, 20.0, (0.0,), 1, 10.0)
    assert scale.ends([np.array([3.0])]) == (-20.0, 20.0)
    assert scale.ends([np.array([27.0, np.nan])]) == (-30.0, 30.0)
    assert scale.ends([np.array([np.nan])]) == (-20.0, 20.0)


def test_marks_and_flags_go_through_all_lanes(make_shot: Any, make_look: Any) -> None:
    """A mark has its sign on the axis and a line in every lane that leaves room."""
    canvas = Canvas.blank(120, 30)
    lanes = [LANES["trim"], LANES["rear"], LANES["rpm"]]
    draw_stack(canvas, make_shot(flags=()), make_look(), lanes)
    lines = canvas.text().splitlines()
    at = lines[-1].index(MARK_SIGN)
    assert sum(line[at : at + 1] == "│" for line in lines) >= 15


def test_sweep_leaves_a_gap_before_the_write_head(
    make_shot: Any, make_look: Any
) -> None:
    """What is ahead of the head is old; two empty cells keep the two apart."""
    scrolled, swept = Canvas.blank(120, 20), Canvas.blank(120, 20)
    lanes = [LANES["rpm"]]
    shot = make_shot(flags=())
    draw_stack(scrolled, shot, make_look(), lanes)
    draw_stack(swept, shot, make_look(sweep=True), lanes)
    window = Window.ending(shot.now_s, 60.0, 100)
    head = 20 + (window.first + window.cells) % window.cells
    assert (swept.chars[:-1, head : head + 2] == ord(" ")).all()
    assert (swept.chars[:, 20:] != scrolled.chars[:, 20:]).any()


def test_a_signal_the_car_does_not_have_is_said_in_words(
    make_shot: Any, make_look: Any
) -> None:
    """An empty lane says why: not supported, or not yet."""
    supported = frozenset(("rpm", "stft_b2_pct"))
    columns = Columns(supported=supported)
    columns.extend("rpm", np.array([1.0]), np.array([800.0]), np.array([0.05]))
    canvas = Canvas.blank(100, 8)
    shot = make_shot(columns=columns, flags=())
    draw_stack(canvas, shot, make_look(), [LANES["rear"]])
    assert "not supported by this car" in canvas.text()
    columns.supported = None
    draw_stack(canvas, shot, make_look(), [LANES["rear"]])
    assert "not enough data yet" in canvas.text()
    shot = make_shot(columns=Columns(), flags=())
    draw_stack(canvas, shot, make_look(), [LANES["rear"]])
    assert "waiting for the first answers" in canvas.text()


def test_lanes_of_engine_signals_the_car_lacks_are_left_out(make_shot: Any) -> None:
    """A MAP-only engine has no lane for air mass."""
    columns = Columns(supported=frozenset(("rpm", "map_kpa", "stft_b2_pct")))
    ids = [lane.id for lane in chosen(make_shot(columns=columns), ("maf", "map", "no"))]
    assert ids == ["map"]


def test_a_car_with_one_bank_has_one_trace(make_shot: Any, make_look: Any) -> None:
    """Nothing is said of a second bank that is not there."""
    columns = Columns(supported=frozenset(("rpm", "stft_b1_pct", "o2_b1s1_v")))
    t = np.arange(0.0, 90.0, 0.1)
    columns.extend("o2_b1s1_v", t, 0.5 + 0.3 * np.sin(t), np.full(len(t), 0.05))
    canvas = Canvas.blank(100, 12)
    draw_stack(canvas, make_shot(columns=columns, flags=()), make_look(), ALL[:1])
    assert "1 0." in canvas.text()
    assert "2 " not in "\n".join(line[:15] for line in canvas.text().splitlines())


@pytest.mark.parametrize("height", range(3, 60, 7))
@pytest.mark.parametrize("width", [40, 99, 100, 250])
def test_any_size_draws_within_its_edges(
    make_shot: Any, make_look: Any, width: int, height: int
) -> None:
    """Nothing fails and nothing reaches outside."""
    whole = Canvas.blank(width + 2, height + 2)
    look = make_look(view=TimeView(60.0, 80.0, 70.0, 65.0))
    draw_stack(whole.part(1, 1, width, height), make_shot(), look, ALL)
    frame = [whole.chars[0], whole.chars[-1], whole.chars[:, 0], whole.chars[:, -1]]
    assert all((edge == ord(" ")).all() for edge in frame)


def test_a_measurement_counts_full_switches_only() -> None:
    """Passing the middle is no switch; all the way is."""
    t = np.arange(7.0)
    v = np.array([0.1, 0.5, 0.1, 0.8, 0.5, 0.8, 0.1])
    found = between(t, v, 6.0, 0.0)
    assert (found.samples, found.switches) == (7, 2)
    assert (found.least, found.greatest) == (0.1, 0.8)
    assert found.change == 0.0


def test_a_measurement_without_samples_knows_nothing() -> None:
    """No number is made up."""
    found = between(np.arange(3.0), np.ones(3), 10.0, 20.0)
    assert found.samples == 0
    assert np.isnan(found.change)


def test_driving_states_are_written_where_they_begin() -> None:
    """Each stretch has its name, whole or shortened, never cut; unknown is blank."""
    canvas = Canvas.blank(60, 1)
    t = np.arange(0.0, 60.0, 0.5)
    v = np.select([t < 20, t < 24, t < 40], [2.0, 7.0, np.nan], 3.0)
    draw_words(canvas, t, v, Window(0, 60, 1.0))
    text = canvas.text()
    assert text[:20].rstrip() == "▏idle"
    assert text[20:24] == "▏cut"
    assert not text[24:40].strip()
    assert text[40:] == "▏cruise"
