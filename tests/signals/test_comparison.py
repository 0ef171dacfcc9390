"""Before and after: shared cells, their interval, and the verdict."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from bankwise.signals.columns import Columns, Floats, Mark
from bankwise.signals.comparison import Drive, NotComparable, Verdict, compare
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import (
    CodeReading,
    FreezeFrame,
    MonitorResult,
    Snapshot,
    UnitCodes,
)
from bankwise.signals.shared_cells import median_difference, shared_cells
from bankwise.signals.trim_map import cell_values

SECONDS = 240


def _columns(trim: float, rpm: float = 2000.0, seed: int = 1) -> Columns:
    """Two banks in closed loop: two loads by turns; bank 2 with the given trim."""
    columns = Columns()
    t: Floats = np.arange(0, SECONDS, 0.25)
    rng = np.random.default_rng(seed)
    load = np.where(t % 40 < 20, 35.0, 55.0)
    zero = np.zeros(len(t))
    values = {
        "rpm": zero + rpm,
        "speed_kmh": zero + 60,
        "throttle_pct": load / 2,
        "load_pct": load,
        "maf_gps": load / 2,
        "ect_c": zero + 90,
        "fuel_status_b1": zero + 2,
        "fuel_status_b2": zero + 2,
        "stft_b1_pct": rng.normal(0, 1, len(t)),
        "ltft_b1_pct": zero + 2,
        "stft_b2_pct": rng.normal(0, 1, len(t)),
        "ltft_b2_pct": zero + trim,
    }
    for name, series in values.items():
        columns.extend(name, t, series, zero + 0.02)
    columns.end_s = SECONDS
    return columns


def _seen(
    stored: tuple[str, ...] = (),
    pending: tuple[str, ...] = (),
    frame: dict[str, float] | None = None,
) -> Snapshot:
    def reading(when: str, codes: tuple[str, ...]) -> CodeReading:
        return CodeReading(when, 0.0, (UnitCodes("7E8", codes),))

    frames = (FreezeFrame("7E8", 0, stored[0], frame),) if frame and stored else ()
    return Snapshot(
        {
            "stored": reading("stored", stored),
            "pending": reading("pending", pending),
            "permanent": reading("permanent", ()),
        },
        frames=frames,
    )


def _drive(columns: Columns, seen: Snapshot, vin: str | None = None) -> Drive:
    engine = Engine()
    engine.advance(columns, SECONDS - 1.0)
    return Drive("drive", engine, seen, vin)


BEFORE = _seen(("P0174",), (), {"rpm": 2000.0, "load_pct": 35.0, "ect_c": 90.0})


def test_cells_hold_the_trims_of_their_own_load() -> None:
    """Each cell's median is that of the ticks in it."""
    engine = _drive(_columns(18.0), BEFORE).engine
    cells = cell_values(engine.frame, 2)
    assert set(cells) == {(2000.0, 30.0), (2000.0, 50.0)}
    assert all(abs(np.median(values) - 18.0) < 1.0 for values in cells.values())


def test_a_real_change_is_outside_its_interval_and_noise_is_not() -> None:
    """18 % to 1 % is a change; two drives of the same car are not."""
    before = _drive(_columns(18.0), BEFORE).engine.frame
    after = _drive(_columns(1.0, seed=2), BEFORE).engine.frame
    assert all(
        cell.changed and cell.high < -14 for cell in shared_cells(before, after, 2)
    )
    assert not any(cell.changed for cell in shared_cells(before, after, 1))


def test_the_same_pair_gives_the_same_interval() -> None:
    """Draws come from a fixed seed."""
    before = _drive(_columns(18.0), BEFORE).engine.frame
    after = _drive(_columns(1.0, seed=2), BEFORE).engine.frame
    assert shared_cells(before, after, 2) == shared_cells(before, after, 2)


def _wandering(rng: np.random.Generator, n: int) -> Floats:
    """Values that depend on the one before, as trims of a drive do."""
    values = np.zeros(n)
    for i, push in enumerate(rng.normal(0, 1, n)):
        values[i] = 0.8 * values[i - 1] + push
    return values


def test_the_interval_holds_no_difference_about_as_often_as_it_says() -> None:
    """Over 60 pairs of wandering series at least 85 % of the intervals hold zero.

    The level is 95 %; with 30 blocks of dependent values some shortfall is known.
    """
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(60):
        low, high = median_difference(_wandering(rng, 300), _wandering(rng, 300))
        held += low <= 0.0 <= high
    assert 51 <= held < 60


def test_a_repair_that_ends_the_code_and_the_trims_is_proven() -> None:
    """Codes gone, trims fine in shared cells, the code's conditions entered."""
    made = compare(_drive(_columns(18.0), BEFORE), _drive(_columns(1.0), _seen()))
    assert made.verdict is Verdict.PROVEN, made.reasons
    assert made.codes_gone == ("P0174",)
    assert len(made.cells) == 4


def test_other_roads_prove_nothing() -> None:
    """Without shared cells, or outside the code's conditions, it is not proven."""
    after = _drive(_columns(1.0, rpm=3100.0), _seen())
    made = compare(_drive(_columns(18.0), BEFORE), after)
    assert made.verdict is Verdict.NOT_YET
    assert any("cells of speed and load shared" in reason for reason in made.reasons)
    assert "the conditions in which P0174 was set were not entered" in made.reasons


def test_a_pending_code_or_a_bad_trim_stays_open() -> None:
    """A code on its first trip, or a bank that still adds, is named."""
    before = _drive(_columns(18.0), BEFORE)
    pending = compare(before, _drive(_columns(1.0), _seen(pending=("P0174",))))
    assert "pending now: P0174" in pending.reasons
    still = compare(before, _drive(_columns(14.0), _seen()))
    assert still.verdict is Verdict.NOT_YET
    assert any("bank 2 still needs +14" in reason for reason in still.reasons)


def test_pending_codes_that_nobody_read_prove_nothing() -> None:
    """A drive without a code read is not a drive without codes."""
    unread = Snapshot({w: CodeReading(w, None) for w in _seen().codes})
    made = compare(_drive(_columns(18.0), BEFORE), _drive(_columns(1.0), unread))
    assert "pending codes were not read after the repair" in made.reasons


def test_a_bank_that_got_worse_is_said_first() -> None:
    """Trims that moved away from zero beyond the limit make it worse."""
    made = compare(_drive(_columns(8.0), BEFORE), _drive(_columns(22.0), _seen()))
    assert made.verdict is Verdict.WORSE
    assert "bank 2 trims went from" in " ".join(made.reasons)


def test_a_healthy_pair_has_nothing_to_prove() -> None:
    """No fault before means no repair to prove."""
    made = compare(_drive(_columns(1.0), _seen()), _drive(_columns(1.0), _seen()))
    assert made.reasons == ("the drive before shows no fault that a repair could end",)


def test_two_cars_are_not_compared() -> None:
    """Different VINs are refused."""
    one = _drive(_columns(1.0), BEFORE, "1M8GDM9AXKP042788")
    two = dataclasses.replace(one, vin="1G4AH59H45G118341")
    with pytest.raises(NotComparable, match="two different cars"):
        compare(one, two)
    with pytest.raises(NotComparable, match="holds no drive"):
        compare(one, Drive("empty", Engine(), BEFORE))


def _with_marks(columns: Columns, *marks: tuple[float, str]) -> Columns:
    columns.marks.extend(Mark(t, "by hand", tag) for t, tag in marks)
    return columns


def test_a_test_that_found_the_fault_must_be_done_again() -> None:
    """A leak that smoke showed is looked for again; still found proves nothing."""
    found = (100.0, "test:smoke:leak-found:B2")
    none = (100.0, "test:smoke:no-leak-found:B2")
    before = _drive(_with_marks(_columns(18.0), found), BEFORE)
    silent = compare(before, _drive(_columns(1.0), _seen()))
    assert "the test 'smoke' on B2 was not done again" in silent.reasons
    again = compare(before, _drive(_with_marks(_columns(1.0), found), _seen()))
    assert "test 'smoke': smoke showed a leak in the intake" in again.reasons
    good = compare(before, _drive(_with_marks(_columns(1.0), none), _seen()))
    assert good.verdict is Verdict.PROVEN, good.reasons
    (change,) = good.tests
    assert (change.title, change.about) == ("smoke", "B2")
    assert change.before == "Smoke showed a leak in the intake."
    assert change.after == "Smoke showed no leak in the intake."


def test_a_newly_stored_code_is_worse_and_a_failed_result_proves_nothing() -> None:
    """Codes count as new only where the earlier reading was whole."""
    before = _drive(_columns(18.0), BEFORE)
    worse = compare(before, _drive(_columns(1.0), _seen(("P0155",))))
    assert worse.verdict is Verdict.WORSE
    assert worse.reasons == ("P0155 is stored and was not before",)
    failed = MonitorResult(
        "7E8", 0x21, 0x80, 0x20, "B1", "catalyst", "ratio", 0.9, 0.0, 0.6, "",
        scaled=True, has_low=False, has_high=True,
    )  # fmt: skip
    seen = dataclasses.replace(_seen(), results=(failed,))
    made = compare(before, _drive(_columns(1.0), seen))
    assert made.verdict is Verdict.NOT_YET
    assert "test result of B1 is outside its limits: catalyst, ratio" in made.reasons
