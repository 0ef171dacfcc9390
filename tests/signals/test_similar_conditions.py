"""The similar-conditions window and when a drive has entered it."""

from __future__ import annotations

import numpy as np

from bankwise.signals.columns import Columns, Floats
from bankwise.signals.similar_conditions import STAY_S, Window, entered_at, window_of

FRAME = {"rpm": 2000.0, "load_pct": 40.0, "ect_c": 88.0}


def _drive(rpm: Floats, load: Floats, ect: float | None = 90.0) -> Columns:
    columns = Columns()
    t = np.arange(len(rpm), dtype=np.float64) * 0.5
    zero = np.zeros(len(rpm))
    columns.extend("rpm", t, rpm, zero)
    columns.extend("load_pct", t + 0.1, load, zero)
    if ect is not None:
        columns.extend("ect_c", t[:1], np.array([ect]), zero[:1])
    return columns


def test_window_spans_375_rpm_and_a_fifth_of_the_load() -> None:
    """Limits lie where 13 CCR 1968.2(c), from memory, puts them."""
    assert window_of(FRAME) == Window((1625.0, 2375.0), (32.0, 48.0), True)
    assert window_of({"rpm": 2000.0}) is None


def test_a_drive_enters_after_three_seconds_inside() -> None:
    """The moment is the first sample that completes the stay."""
    window = window_of(FRAME)
    assert window is not None
    rpm = np.array([800.0] * 10 + [2000.0] * 20)
    entered = entered_at(window, _drive(rpm, np.full(30, 40.0)))
    assert entered == 5.1 + STAY_S


def test_short_visits_do_not_add_up() -> None:
    """Two visits of two seconds are not one of four."""
    window = window_of(FRAME)
    assert window is not None
    rpm = np.array(([2000.0] * 5 + [900.0] * 5) * 3)
    assert entered_at(window, _drive(rpm, np.full(30, 40.0))) is None


def test_a_cold_engine_is_not_in_a_warm_window() -> None:
    """Warm-up state counts, and an unknown coolant does not exclude."""
    window = window_of(FRAME)
    assert window is not None
    rpm, load = np.full(20, 2000.0), np.full(20, 40.0)
    assert entered_at(window, _drive(rpm, load, ect=30.0)) is None
    assert entered_at(window, _drive(rpm, load, ect=None)) is not None


def test_a_hole_ends_a_stay_and_no_data_enters_nothing() -> None:
    """Time across a hole does not count."""
    window = window_of(FRAME)
    assert window is not None
    columns = Columns()
    t = np.array([0.0, 1.0, 2.0, 10.0, 11.0])
    for name, value in (("rpm", 2000.0), ("load_pct", 40.0)):
        columns.extend(name, t, np.full(5, value), np.zeros(5))
    assert entered_at(window, columns) is None
    assert entered_at(window, Columns()) is None
