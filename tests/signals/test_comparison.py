"""Before and after: shared cells, their interval, and the verdict."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Columns, Floats, Mark
from bankwise.signals.comparison import Drive, NotComparable, Verdict, compare
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import (
    CodeReading,
    FreezeFrame,
    MonitorResult,
    Snapshot,
    UnitCodes,
)
from bankwise.signals.shared_cells import (
    SharedCell,
    block_ticks,
    median_difference,
    shared_cells,
)
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
        cell.changed and cell.high is not None and cell.high < -13
        for cell in shared_cells(before, after, 2)
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


@pytest.mark.parametrize(("ticks", "held"), [(40, 52), (120, 52), (300, 52)])
def test_the_interval_holds_no_difference_about_as_often_as_it_says(
    ticks: int, held: int
) -> None:
    """Of 60 pairs of wandering series at least 52 intervals hold zero, not all wide.

    The level is 95 %, which 57 would be; below 52 a right interval falls once in 50
    times. Cells held for twenty seconds are not allowed to claim more than long ones.
    """
    rng = np.random.default_rng(5)
    found, clear = 0, 0
    for _ in range(60):
        one, two = _wandering(rng, ticks), _wandering(rng, ticks)
        others = [_wandering(rng, 60) for _ in range(6)]
        block = block_ticks([one, two, *others])
        got = median_difference(one, two, block)
        found += got is None or got[0] <= 0.0 <= got[1]
        apart = median_difference(one, two + 6.0, block)
        clear += apart is not None and apart[0] > 0
    assert found >= held
    assert ticks < 120 or clear >= held


def test_a_cell_held_too_shortly_gets_no_interval() -> None:
    """Fewer than three blocks say nothing, and are no change however far apart."""
    assert median_difference(np.zeros(14), np.zeros(90) + 20.0, 5) is None
    assert not SharedCell(1, 2000.0, 30.0, 0.0, 20.0, None, None, 14, 90).changed


def test_a_block_is_as_long_as_the_values_remember() -> None:
    """Independent values get the least block, slow ones a longer one."""
    rng = np.random.default_rng(2)
    assert block_ticks([rng.normal(0, 1, 200)]) == 5
    assert 9 <= block_ticks([_wandering(rng, 2000)]) <= 20
    assert block_ticks([np.zeros(50)]) == block_ticks([]) == 5


def test_no_interval_is_narrower_than_a_count() -> None:
    """Trims told in whole counts are never told to be known better than that."""
    quiet = _columns(2.0)
    drive = _drive(quiet, BEFORE).engine.frame
    for cell in shared_cells(drive, drive, 2):
        assert cell.low is not None
        assert cell.high is not None
        assert cell.high - cell.low >= 2 * 100 / 128


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


def test_a_pending_code_that_is_stored_now_is_worse() -> None:
    """It has matured: the fault was seen on one more trip."""
    before = _drive(_columns(18.0), _seen(pending=("P0174",)))
    made = compare(before, _drive(_columns(1.0), _seen(("P0174",), ("P0174",))))
    assert made.verdict is Verdict.WORSE
    assert "P0174 was pending and is stored now" in made.reasons


def test_a_code_set_and_cleared_within_the_second_drive_proves_nothing() -> None:
    """Its codes are gone at the end; what was read before stands in the way."""
    later = _columns(1.0)
    later.codes.extend(
        CodeRead(t, "pending", codes)
        for t, codes in ((5.0, ()), (60.0, ("P0174",)), (150.0, ()))
    )
    after = dataclasses.replace(_drive(later, _seen()), cleared_s=(100.0,))
    made = compare(_drive(_columns(18.0), BEFORE), after)
    assert made.verdict is Verdict.NOT_YET
    assert made.reasons == (
        "P0174 came at 1:00 of the second drive and was cleared at 1:40 in it",
    )
    assert [note.text for note in made.code_notes] == list(made.reasons)


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


def test_a_recording_is_not_compared_with_itself() -> None:
    """The same session twice is refused; a missing id is no identity."""
    one = dataclasses.replace(_drive(_columns(18.0), BEFORE), session="a")
    with pytest.raises(NotComparable, match="are the same recording"):
        compare(one, one)
    nameless = dataclasses.replace(one, session="")
    assert compare(nameless, nameless).verdict is Verdict.NOT_YET


def test_swapped_drives_are_asked_about() -> None:
    """A second drive that was recorded first proves nothing and says why."""
    before = dataclasses.replace(_drive(_columns(18.0), BEFORE), started="2031-02-02")
    after = dataclasses.replace(_drive(_columns(1.0), _seen()), started="2031-02-01")
    made = compare(before, after)
    assert made.verdict is Verdict.NOT_YET
    assert made.reasons == (
        "the second drive was recorded before the first: are they swapped?",
    )


def test_codes_that_were_not_read_again_are_not_gone() -> None:
    """Silence on codes after the repair is no proof that they went."""
    unread = Snapshot({w: CodeReading(w, None) for w in _seen().codes})
    made = compare(_drive(_columns(18.0), BEFORE), _drive(_columns(1.0), unread))
    assert made.codes_gone == ()
    assert "stored codes were not read after the repair" in made.reasons
    assert "stored and pending codes were not read after" in made.not_shared


def test_a_missing_vin_is_said() -> None:
    """Without both VINs the sameness of the car is taken on trust, in words."""
    one = _drive(_columns(18.0), BEFORE, "1M8GDM9AXKP042788")
    two = _drive(_columns(1.0), _seen())
    trust = "no VIN in both: that it is the same car is taken on trust"
    assert trust in compare(one, two).not_shared
    known = dataclasses.replace(two, vin=one.vin)
    assert trust not in compare(one, known).not_shared


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
