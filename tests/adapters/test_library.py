"""The library finds sessions again, and its index is never the truth."""

from __future__ import annotations

import dataclasses
import random
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from bankwise.adapters import library as library_module
from bankwise.adapters.errors import SessionError
from bankwise.adapters.library import INDEX_NAME, Library, _Row
from bankwise.adapters.packed import pack
from bankwise.adapters.records import (
    AdapterInfo,
    CodesRecord,
    Exchange,
    Header,
    MarkRecord,
    Record,
)
from bankwise.adapters.seals import State, verify
from bankwise.adapters.session_additions import add_note, add_vehicle
from bankwise.adapters.session_file import SessionWriter, read_session

VIN = "1M8GDM9AXKP042788"


def saved(
    folder: Path, name: str, day: int, *more: Record, vin: str = "", closed: bool = True
) -> Path:
    """A small session in the folder."""
    path = folder / f"{name}.jsonl"
    vehicle = {"name": "Tarnow Courier", "vin": vin} if vin else {}
    started = f"2031-03-{day:02d}T08:00:00Z"
    header = Header(name, started, "t", AdapterInfo("n", "6"), vehicle)
    writer = SessionWriter(path, header, durable=False)
    for i in range(5):
        writer.write(Exchange(i * 0.5, "010C", ("7E804410C0C1C",), 0.05))
    for record in more:
        writer.write(record)
    if closed:
        writer.close()
    else:
        writer.abandon()
    return path


def names(library: Library, search: str = "") -> list[str]:
    """File names of what a search finds, in order."""
    return [entry.path.name for entry in library.entries(search)]


@pytest.fixture(name="folder")
def _folder(tmp_path: Path) -> Path:
    """Three sessions: a faulty drive, the same car later, another car."""
    codes = CodesRecord(3.0, "stored", ("P0171",))
    saved(tmp_path, "before", 3, codes, vin=VIN)
    saved(tmp_path, "after", 9, MarkRecord(3.0, "new gasket"), vin=VIN)
    saved(tmp_path, "other", 5)
    return tmp_path


def test_sessions_are_listed_newest_first(folder: Path) -> None:
    """Each entry says what the session is, after one reading of its file."""
    library = Library(folder)
    assert library.refresh() == 3
    assert names(library) == ["after.jsonl", "other.jsonl", "before.jsonl"]
    entry = library.entries()[2]
    assert (entry.id, entry.vin, entry.car) == ("before", VIN, "Tarnow Courier")
    assert (entry.seconds, entry.exchanges) == (3.0, 5)
    assert entry.codes == ("P0171",)
    assert entry.size == (folder / "before.jsonl").stat().st_size
    assert library.entries()[0].marks == ("new gasket",)
    library.close()


def test_only_changed_files_are_read_again(folder: Path) -> None:
    """A second look costs nothing; a new, changed or removed file is noticed."""
    library = Library(folder)
    library.refresh()
    assert library.refresh() == 0
    saved(folder, "new", 20)
    add_note(folder / "other.jsonl", "noise at idle")
    (folder / "before.jsonl").unlink()
    seen: list[tuple[int, int]] = []
    assert library.refresh(lambda done, all_: seen.append((done, all_))) == 2
    assert seen == [(0, 2), (1, 2), (2, 2)]
    assert names(library) == ["new.jsonl", "after.jsonl", "other.jsonl"]
    library.close()


def test_a_search_needs_all_its_words(folder: Path) -> None:
    """Words are found in car, VIN, codes, remarks, notes and date, in any case."""
    add_note(folder / "other.jsonl", "Noise at idle")
    library = Library(folder)
    library.refresh()
    assert names(library, "tarnow") == ["after.jsonl", "before.jsonl"]
    assert names(library, "TARNOW p0171") == ["before.jsonl"]
    assert names(library, "gasket") == ["after.jsonl"]
    assert names(library, "noise 2031-03-05") == ["other.jsonl"]
    assert names(library, "noise tarnow") == []
    library.close()


def test_the_same_car_before_and_after_makes_a_pair(folder: Path) -> None:
    """A drive with a fault and the car's next drive are suggested together."""
    library = Library(folder)
    library.refresh()
    (pair,) = library.pairs()
    assert [entry.id for entry in pair] == ["before", "after"]
    library.close()


def test_a_file_that_is_no_session_is_an_entry_with_its_reason(folder: Path) -> None:
    """One bad file is a line that says why, never a stop."""
    (folder / "bad.jsonl").write_text("not this")
    library = Library(folder)
    library.refresh()
    (bad,) = [entry for entry in library.entries() if entry.error]
    assert bad.path.name == "bad.jsonl"
    assert bad.error == "is not a session file"
    assert library.refresh() == 0
    library.close()


@pytest.mark.parametrize("harm", ["gone", "damaged", "another version"])
def test_the_index_is_made_anew(folder: Path, harm: str) -> None:
    """Gone, damaged or of another version, the index comes back from the files."""
    library = Library(folder)
    library.refresh()
    whole = library.entries()
    index = folder / INDEX_NAME
    if harm == "another version":
        library._base.execute("UPDATE about SET version = 'older'")
        library._base.commit()
    library.close()
    if harm == "gone":
        index.unlink()
    elif harm == "damaged":
        index.write_bytes(b"\x00garbage" * 500)
    library = Library(folder)
    assert library.entries() == []
    assert library.refresh() == 3
    assert library.entries() == whole
    library.close()


def test_no_damage_to_the_index_is_believed(folder: Path) -> None:
    """Bytes changed anywhere in it: the files' truth comes back, never a traceback."""
    library = Library(folder)
    library.refresh()
    whole = library.entries()
    library.close()
    index = folder / INDEX_NAME
    good = index.read_bytes()
    rng = random.Random(4)
    for _ in range(60):
        bad = bytearray(good)
        for _ in range(rng.choice((1, 4, 300))):
            bad[rng.randrange(len(bad))] ^= rng.randrange(1, 256)
        index.write_bytes(bad)
        library = Library(folder)
        library.refresh()
        assert library.entries() == whole
        library.close()


def test_a_row_changed_with_its_index_intact_is_read_again(folder: Path) -> None:
    """A row that another program rewrote is not shown: the file is."""
    library = Library(folder)
    library.refresh()
    whole = library.entries()
    with library._base as base:
        base.execute("UPDATE sessions SET told = told || ' '")
    assert library.entries() == whole
    library.close()


def test_two_processes_share_one_index(folder: Path) -> None:
    """Read at once by several processes, each lists everything."""
    code = (
        "import sys; from pathlib import Path\n"
        "from bankwise.adapters.library import Library\n"
        "library = Library(Path(sys.argv[1])); library.refresh()\n"
        "print(len(library.entries()), library.refresh())"
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(folder)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        for _ in range(3)
    ]
    assert [process.communicate()[0] for process in running] == ["3 0\n"] * 3


def test_an_index_in_other_hands_is_left_alone(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Held by another process for too long, it stays whole and the list is complete."""
    library = Library(folder)
    library.refresh()
    index = folder / INDEX_NAME
    with closing(sqlite3.connect(index)) as other:
        other.execute("BEGIN EXCLUSIVE")
        monkeypatch.setattr(library_module, "_BUSY_S", 0.1)
        busy = Library(folder)
        busy.refresh()
        assert len(busy.entries()) == 3
        busy.close()
        other.rollback()
    assert len(library.entries()) == 3
    library.close()


def test_two_thousand_are_listed_and_searched_from_the_index(folder: Path) -> None:
    """No session is opened for it: these two thousand are in the index alone."""
    library = Library(folder)
    library.refresh()
    (row, *_) = library._rows()
    entry = row.entry(folder)
    many = [
        _Row.of(dataclasses.replace(entry, path=folder / f"{i}.jsonl"), 1, i)
        for i in range(2000)
    ]
    library._keep(many)
    assert len(library.entries()) == 2003
    assert len(library.entries("no-such-word")) == 0
    library.pairs()
    library.close()


def test_a_folder_that_is_not_there_is_an_empty_library(tmp_path: Path) -> None:
    """Before the first drive there is nothing to list, and no fault."""
    library = Library(tmp_path / "sessions")
    assert library.refresh() == 0
    assert library.entries() == []
    library.close()


def test_notes_and_details_are_appended_and_sealed(folder: Path) -> None:
    """An addition changes no byte before it, counts at once, and keeps the seals."""
    path = folder / "other.jsonl"
    before = path.read_bytes()
    add_note(path, "towed in – no spark?")
    add_vehicle(path, {"name": "Ostrava Wagon", "displacement_l": "2,5"})
    add_vehicle(path, {"name": "Ostrava Wagon II"})
    assert path.read_bytes().startswith(before)
    assert verify(path).state is State.WHOLE
    session = read_session(path)
    assert session.header.vehicle == {
        "name": "Ostrava Wagon II",
        "displacement_l": 2.5,
    }
    library = Library(folder)
    library.refresh()
    (entry,) = library.entries("ostrava")
    assert entry.notes == ("towed in – no spark?",)
    assert entry.marks == ()
    library.close()


def test_a_packed_session_takes_notes_too(folder: Path) -> None:
    """Packed, a session gets one more packed part; what was there stays."""
    path = pack(folder / "other.jsonl")
    before = path.read_bytes()
    add_note(path, "packed and noted")
    assert path.read_bytes().startswith(before)
    assert verify(path).state is State.WHOLE
    library = Library(folder)
    library.refresh()
    (entry,) = library.entries("packed noted")
    assert entry.packed
    library.close()


def test_an_altered_addition_is_found(folder: Path) -> None:
    """Additions are sealed like the rest."""
    path = folder / "other.jsonl"
    add_note(path, "was red")
    path.write_bytes(path.read_bytes().replace(b"was red", b"was new"))
    assert verify(path).state is State.ALTERED


@pytest.mark.parametrize(
    ("details", "word"),
    [({"colour": "red"}, "no detail of a car"), ({"displacement_l": "big"}, "number")],
)
def test_odd_details_are_refused(
    folder: Path, details: dict[str, str], word: str
) -> None:
    """What is no detail of a car is refused, and the file stays as it was."""
    path = folder / "other.jsonl"
    before = path.read_bytes()
    with pytest.raises(SessionError, match=word):
        add_vehicle(path, details)
    assert path.read_bytes() == before


def test_nothing_is_added_to_a_drive_that_goes_on(tmp_path: Path) -> None:
    """A session that was not closed takes no additions: someone may be writing it."""
    path = saved(tmp_path, "open", 1, closed=False)
    before = path.read_bytes()
    with pytest.raises(SessionError, match="not closed"):
        add_note(path, "too early")
    assert path.read_bytes() == before
