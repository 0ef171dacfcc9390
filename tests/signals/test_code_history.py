"""What became of codes over two drives: cleared, come back, kept, not tested again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bankwise.signals.code_history import CodeNote, code_notes
from bankwise.signals.columns import CodeRead, Columns
from bankwise.signals.comparison import Drive
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import (
    CodeReading,
    Monitor,
    MonitorStatus,
    Snapshot,
    UnitCodes,
)


def _seen(
    stored: tuple[str, ...] = (),
    pending: tuple[str, ...] = (),
    permanent: tuple[str, ...] = (),
    counters: dict[str, float] | None = None,
) -> Snapshot:
    sets = {"stored": stored, "pending": pending, "permanent": permanent}
    return Snapshot(
        {
            when: CodeReading(when, 0.0, (UnitCodes("7E8", codes),))
            for when, codes in sets.items()
        },
        counters=counters or {},
    )


def _drive(
    seen: Snapshot,
    reads: tuple[tuple[float, tuple[str, ...]], ...] = (),
    cleared: tuple[float, ...] = (),
) -> Drive:
    columns = Columns()
    columns.codes.extend(CodeRead(t, "pending", codes) for t, codes in reads)
    columns.end_s = 10.0
    engine = Engine()
    engine.advance(columns, 10.0)
    return Drive("drive", engine, seen, cleared_s=cleared)


BEFORE = _drive(_seen(("P0171",)))
CODE: tuple[str, ...] = ("P0171",)


def _only(notes: list[CodeNote]) -> CodeNote:
    (note,) = notes
    return note


def test_a_code_set_and_cleared_within_the_drive_keeps_it_open() -> None:
    """The newest reading is empty, the drive is not without the code all the same."""
    after = _drive(_seen(), ((10.0, ()), (70.0, CODE), (200.0, ())), (130.0,))
    note = _only(list(code_notes(CODE, BEFORE, after)))
    assert note.open
    assert note.text == (
        "P0171 came at 1:10 of the second drive and was cleared at 2:10 in it"
    )


def test_a_code_that_stood_from_before_and_was_cleared_is_only_said() -> None:
    """Clearing at the start of the drive after the repair is the usual way."""
    after = _drive(_seen(), ((10.0, CODE), (200.0, ())), (60.0,))
    note = _only(list(code_notes(CODE, BEFORE, after)))
    assert not note.open
    assert "still stood when the second drive began" in note.text


def test_a_code_that_comes_back_after_clearing_is_said() -> None:
    """Both moments are named, whether it was cleared once more or not."""
    reads = ((10.0, CODE), (200.0, CODE))
    back = _only(
        list(code_notes((), BEFORE, _drive(_seen((), CODE), reads, (60.0,))))[:1]
    )
    assert back.open
    assert "cleared at 1:00 of the second drive and read again at 3:20" in back.text
    again = _drive(_seen(), (*reads, (300.0, ())), (60.0, 250.0))
    told = _only(list(code_notes(CODE, BEFORE, again)))
    assert told.text.endswith("and cleared at 4:10")


def test_a_code_that_left_uncleared_during_the_drive_is_said() -> None:
    """A pending code may be withdrawn; it was there, and proves nothing."""
    after = _drive(_seen(), ((70.0, CODE), (200.0, ())))
    note = _only(list(code_notes(CODE, BEFORE, after)))
    assert note.open
    assert "not at its end, though nothing was cleared" in note.text


@pytest.mark.parametrize(
    ("earlier", "later", "told"),
    [
        ({"cleared_km": 900.0}, {"cleared_km": 12.0, "warmups": 3.0}, True),
        ({"cleared_min": 50.0}, {"cleared_min": 8.0}, True),
        ({"cleared_km": 900.0}, {"cleared_km": 912.0}, False),
        ({}, {"cleared_km": 12.0}, False),
    ],
)
def test_counters_that_went_back_tell_of_clearing_between(
    earlier: dict[str, float], later: dict[str, float], told: bool
) -> None:
    """Distance since clearing only falls when codes were cleared."""
    before = _drive(_seen(counters=earlier))
    notes = list(code_notes((), before, _drive(_seen(counters=later))))
    assert [note.text.startswith("codes were cleared between") for note in notes] == (
        [True] if told else []
    )


def test_a_permanent_copy_keeps_it_open() -> None:
    """The car's own test has not passed yet."""
    note = _only(list(code_notes((), BEFORE, _drive(_seen((), (), CODE)))))
    assert note.open
    assert note.text.startswith("P0171 is kept as permanent")


def test_a_stored_code_that_is_pending_again_is_said() -> None:
    """It has been seen again since."""
    note = _only(list(code_notes((), BEFORE, _drive(_seen((), CODE)))))
    assert note.text == "P0171 was stored before and is pending now"


@pytest.mark.parametrize("complete", [True, False])
def test_a_code_whose_own_test_has_not_run_is_not_gone_for_good(
    complete: bool,
) -> None:
    """P0420 is judged by the catalyst's own test, and by none other."""
    monitors = (Monitor("catalyst", complete, ""), Monitor("evaporative", False, ""))
    status = MonitorStatus(False, 0, False, monitors)
    after = _drive(replace(_seen(), since_clear={"7E8": status}))
    notes = list(code_notes(("P0420",), BEFORE, after))
    assert [note.open for note in notes] == ([] if complete else [True])
