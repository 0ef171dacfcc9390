"""Phases, figures and what cannot be told, from one hand-written drive."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.claims import cannot_tell
from bankwise.signals.columns import Floats
from bankwise.signals.figures import figures
from bankwise.signals.frame import Frame
from bankwise.signals.phases import phases

Build = Callable[..., Frame]


def _pieces(*values: float) -> Callable[[Floats], Floats]:
    """One value for every 30 s of the drive."""
    table = np.array(values)
    return lambda t: table[np.minimum((t / 30).astype(int), len(table) - 1)]


@pytest.fixture(name="whole")
def _whole(drive: Build) -> Frame:
    """Key-on, cold idle, warm idle, cruise, a pull, a fuel cut; 30 s each."""
    return drive(
        180,
        hz=12.0,
        rpm=_pieces(0, 900, 750, 2200, 3500, 2000),
        speed_kmh=_pieces(0, 0, 0, 80, 100, 80),
        throttle_pct=_pieces(14, 14, 14, 25, 90, 14),
        load_pct=_pieces(0, 25, 25, 45, 95, 8),
        fuel_status_b1=_pieces(1, 1, 2, 2, 4, 4),
        ect_c=_pieces(20, 20, 85, 88, 90, 90),
        stft_b1_pct=_pieces(0, 0, 2, 3, 0, 0),
        ltft_b1_pct=1.0,
        o2_b1s1_v=lambda t: np.where(t % 1.0 < 0.5, 0.8, 0.1),
    )


def test_phases_are_found_by_themselves(whole: Frame) -> None:
    """Each kind of driving is found where it was driven."""
    found = {phase.name: phase.seconds for phase in phases(whole)}
    assert found["key-on"] == pytest.approx(30, abs=1)
    assert found["cold-start"] >= 29
    assert found["cruise"] == pytest.approx(25, abs=4)
    assert found["wide-open"] == pytest.approx(30, abs=1)
    assert found["fuel-cut"] == pytest.approx(30, abs=1)


def test_figures_are_ready_for_json(whole: Frame) -> None:
    """Every figure is finite or null, and trims come per phase with their count."""
    found = figures(whole)
    text = json.dumps(found, allow_nan=False)
    assert json.loads(text) == found
    cruise = found["total_trim_b1_pct"]["cruise"]
    assert cruise["median"] == pytest.approx(4.0)
    assert cruise["n"] > 40
    assert found["closed_loop_entry_b1_s"] == pytest.approx(30, abs=1)
    assert found["wake_up_b1s1_s"] is None


def test_what_was_not_judged_says_why(whole: Frame) -> None:
    """A rear sensor that was never measured is named, with the reason."""
    whole.columns.supported = frozenset({"rpm"})
    said = {(c.about, c.what): c.why for c in cannot_tell(whole)}
    assert said["B1", "rear sensor"] == "not supported by this car"
    assert said["engine", "supply voltage"] == "not supported by this car"
    assert ("B2", "fuel trim") not in said


def test_nothing_measured_gives_reasons_not_errors(drive: Build) -> None:
    """An empty session has figures and reasons, and no number made up."""
    frame = drive(5)
    assert figures(frame)["closed_loop_entry_b1_s"] is None
    assert all(claim.why for claim in cannot_tell(frame))
