"""What was read of codes, as lines that a page and the screen share."""

from __future__ import annotations

from dataclasses import replace

from bankwise.adapters.monitor_results import results_in
from bankwise.adapters.vehicle_info import RATIO_NAMES, unit_info
from bankwise.signals.evidence import CodeReading, MonitorStatus, Snapshot, UnitInfo
from bankwise.tui.code_words import (
    bar,
    counter_lines,
    in_use,
    in_use_lines,
    limit_words,
    result_rows,
)

SWITCH_TIMES = "46 01 05 10 0048 0000 0064  05 05 10 0070 0000 0064"
CYLINDER_TWO = "A3 0C 24 0007 0000 FFFF"
UNKNOWN = "21 81 7F 0007 0000 0009"


def _results(*parts: str) -> Snapshot:
    found = results_in(bytes.fromhex("".join(parts)), "7E8")
    assert found is not None
    nothing = {w: CodeReading(w, None) for w in ("stored", "pending", "permanent")}
    return Snapshot(nothing, results=found)


def test_banks_stand_side_by_side() -> None:
    """The same test of two banks is one row with a cell a bank."""
    (row,) = result_rows(_results(SWITCH_TIMES).results)
    assert row.title == "S1 rich to lean switch time"
    assert [cell.value for cell in row.cells if cell] == [72.0, 112.0]
    assert [result.passed for result in row.results] == [True, False]
    assert row.limits == "at most 100"


def test_limits_that_differ_between_banks_are_both_told() -> None:
    """A bank's own limit is never shown for the other."""
    one, two = _results(SWITCH_TIMES).results
    (row,) = result_rows((one, replace(two, high=150.0)))
    assert row.limits == "at most 100 | at most 150"


def test_no_result_is_dropped() -> None:
    """Cylinders, unknown scalings, and two results of one name all have a place."""
    results = _results(SWITCH_TIMES, CYLINDER_TWO, UNKNOWN).results
    rows = result_rows((*results, results[0]))
    shown = [result for row in rows for result in row.results]
    assert sorted(map(repr, shown)) == sorted(map(repr, (*results, results[0])))
    catalyst = next(row for row in rows if row.subject == "catalyst")
    assert catalyst.cells[1] is None
    assert not catalyst.results[0].scaled


def test_limits_come_in_words() -> None:
    """One limit, two, or none."""
    one = _results(SWITCH_TIMES).results[0]
    assert limit_words(replace(one, has_low=True)) == "0 to 100"
    assert limit_words(replace(one, has_low=True, has_high=False)) == "at least 0"
    assert limit_words(replace(one, has_high=False)) == "no limit"


def test_the_bar_is_the_room_to_the_nearer_limit() -> None:
    """Empty on the limit and beyond, full from half the span on."""
    assert (bar(0.0, 4), bar(-1.0, 4)) == ("░░░░", "░░░░")
    assert (bar(0.25, 4), bar(0.9, 4)) == ("██░░", "████")
    assert bar(None) == ""


def test_in_use_counters_are_a_table_with_ratios() -> None:
    """Done over possible, a line a monitor; what never could run is named apart."""
    counts = (10, 20, 4, 8, 0, 0, *[0] * (len(RATIO_NAMES) - 6))
    raw = b"".join(count.to_bytes(2, "big") for count in counts)
    unit = unit_info("7E8", {0x08: raw})
    assert [(row.name, row.ratio) for row in in_use(unit)][:2] == [
        ("catalyst B1", 0.5),
        ("catalyst B2", None),
    ]
    lines = in_use_lines(unit)
    assert lines[0] == "In use: 20 ignition cycles, general conditions met in 10"
    assert lines[2].split() == ["catalyst", "B1", "4", "8", "0.500"]
    assert lines[3].startswith("not kept, or never possible: catalyst B2, ")
    assert in_use_lines(UnitInfo("7E9")) == ()


def test_diesel_counters_have_their_own_names() -> None:
    """Item 0B counts other monitors than item 08."""
    raw = bytes.fromhex("0005 0009 0002 0004")
    (row,) = in_use(unit_info("7E8", {0x0B: raw}))
    assert (row.name, row.done, row.possible) == ("NMHC catalyst", 2, 4)


def test_a_car_that_counts_nothing_since_clearing_says_so() -> None:
    """Silence about counters is told, not left blank."""
    status = {"7E8": MonitorStatus(lamp=False, count=0, compression=False, monitors=())}
    seen = replace(_results(SWITCH_TIMES), since_clear=status)
    (line,) = counter_lines(seen)
    assert "does not tell" in line
    told = replace(seen, counters={"warmups": 3.0})
    assert list(counter_lines(told)) == ["3 warm-ups since codes were cleared"]
