"""Reading and clearing codes on a standing car, over the simulated adapter."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.code_visit import CodeVisit, confirmation
from bankwise.adapters.errors import GateRefused, NoVehicle
from bankwise.adapters.records import ClearedRecord, CodesRecord, Exchange
from bankwise.adapters.session_file import read_session
from bankwise.adapters.snapshot import snapshot


def _visit(parked: Any, path: Path | None) -> CodeVisit:
    return CodeVisit(VirtualLink(parked.adapter()), path)


@pytest.mark.parametrize("protocol", ["1", "3", "5", "6", "7"])
def test_a_visit_reads_and_saves_everything(
    parked: Any, tmp_path: Path, protocol: str
) -> None:
    """What was read live is what the saved file says, on every kind of bus."""
    path = tmp_path / "visit.jsonl"
    parked.protocol = protocol
    visit = _visit(parked, path)
    found = visit.connect()
    seen = visit.read()
    visit.close()
    assert seen.codes["stored"].codes == ("P0174", "P0155")
    assert seen.codes["permanent"].codes == ("P0155",)
    assert seen.vin == "1M8GDM9AXKP042788"
    assert seen.frames[0].values["rpm"] == 2100.0
    assert seen.unread == ()
    saved = read_session(path)
    again = snapshot(saved.records, found.protocol, found.layout)
    assert again.codes["pending"].codes == seen.codes["pending"].codes
    assert (again.frames, again.results, again.units) == (
        seen.frames,
        seen.results,
        seen.units,
    )
    noted = [r for r in saved.records if isinstance(r, CodesRecord)]
    assert {r.when: r.codes for r in noted}["stored"] == ("P0174", "P0155")


def test_clearing_keeps_the_evidence_and_shows_what_stayed(
    parked: Any, tmp_path: Path
) -> None:
    """After the typed number codes go, permanent ones stay, and the file has both."""
    path = tmp_path / "visit.jsonl"
    visit = _visit(parked, path)
    visit.connect()
    seen = visit.read()
    assert confirmation(seen) == "3"
    outcome = visit.clear("3")
    visit.close()
    assert outcome.ok
    assert outcome.words == ("7E8: cleared",)
    assert outcome.left.codes["stored"].codes == ()
    assert outcome.left.codes["permanent"].codes == ("P0155",)
    records = read_session(path).records
    (cleared,) = [r for r in records if isinstance(r, ClearedRecord)]
    first = records[cleared.before - 1]
    assert isinstance(first, Exchange)
    before = [r for r in records[cleared.before - 1 :] if r.t < cleared.t]
    sent = [r.q for r in before if isinstance(r, Exchange)]
    assert sent.index("03") < sent.index("04")
    evidence = before[: sent.index("04")]
    assert snapshot(evidence, "6").codes["stored"].codes == ("P0174", "P0155")


@pytest.mark.parametrize(
    ("change", "typed", "why"),
    [
        ({"rpm": 700.0}, "3", "the engine is running"),
        ({"speed_kmh": 12.0}, "3", "the car is moving"),
        ({}, "2", "it was not confirmed"),
        ({}, "", "it was not confirmed"),
    ],
)
def test_clearing_is_refused_and_nothing_is_sent(
    parked: Any, tmp_path: Path, change: dict[str, float], typed: str, why: str
) -> None:
    """A running engine, a moving car or a wrong number leave the codes alone."""
    visit = _visit(parked, tmp_path / "visit.jsonl")
    visit.connect()
    visit.read()
    parked.car.readings.update(change)
    with pytest.raises(GateRefused, match=why):
        visit.clear(typed)
    assert parked.memory.stored == ("P0174", "P0155")
    assert not any(isinstance(r, Exchange) and r.q == "04" for r in visit.records)


def test_clearing_needs_a_reading_and_a_file(parked: Any, tmp_path: Path) -> None:
    """Without a snapshot, or without a file that holds it, nothing is cleared."""
    visit = _visit(parked, tmp_path / "visit.jsonl")
    visit.connect()
    with pytest.raises(GateRefused, match="nothing was read"):
        visit.clear("3")
    unsaved = _visit(parked, None)
    unsaved.connect()
    unsaved.read()
    with pytest.raises(GateRefused, match="not saved"):
        unsaved.clear("3")
    assert parked.memory.lamp


def test_a_file_that_lost_the_snapshot_stops_clearing(
    parked: Any, tmp_path: Path
) -> None:
    """The snapshot is read back from the file, not believed."""
    path = tmp_path / "visit.jsonl"
    visit = _visit(parked, path)
    visit.connect()
    visit.read()
    path.write_bytes(path.read_bytes().replace(b'"q":"07"', b'"q":"0A"'))
    with pytest.raises(GateRefused, match="not saved"):
        visit.clear("3")
    assert parked.memory.lamp


def test_unknown_speed_must_be_confirmed_twice(parked: Any, tmp_path: Path) -> None:
    """What could not be read asks for the number a second time."""
    del parked.car.readings["speed_kmh"]
    visit = _visit(parked, tmp_path / "visit.jsonl")
    visit.connect()
    visit.read()
    with pytest.raises(GateRefused, match="not confirmed"):
        visit.clear("3")
    assert visit.clear("3", "3").ok
    assert not parked.memory.lamp


def test_two_units_are_cleared_and_named(parked: Any, tmp_path: Path) -> None:
    """Each unit's answer counts."""
    parked.other("P0700")
    visit = _visit(parked, tmp_path / "visit.jsonl")
    visit.connect()
    seen = visit.read()
    assert {u.unit: u.codes for u in seen.codes["stored"].units} == {
        "7E8": ("P0174", "P0155"),
        "7E9": ("P0700",),
    }
    outcome = visit.clear(confirmation(seen))
    assert outcome.ok
    assert outcome.words == ("7E8: cleared", "7E9: cleared")


def test_a_sleeping_car_is_named(parked: Any, tmp_path: Path) -> None:
    """Without ignition the visit says so, and what was seen is still saved."""
    parked.car.key_on = False
    visit = _visit(parked, tmp_path / "visit.jsonl")
    with pytest.raises(NoVehicle, match="ignition"):
        visit.connect()
    visit.close()
    assert read_session(tmp_path / "visit.jsonl").records
