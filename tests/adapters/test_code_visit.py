"""Reading and clearing codes on a standing car, over the simulated adapter."""

from __future__ import annotations

import resource
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.quirks import ADAPTERS, Mishap, Trouble
from bankwise.adapters.car.timing import LINKS
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.code_visit import CodeVisit, confirmation
from bankwise.adapters.errors import GateRefused, LinkLost, NoVehicle
from bankwise.adapters.gate import Permitted
from bankwise.adapters.records import (
    ClearedRecord,
    CodesRecord,
    Exchange,
    LinkRecord,
)
from bankwise.adapters.session_file import read_session
from bankwise.adapters.snapshot import (
    before_clearing,
    cleared_at,
    session_snapshot,
    snapshot,
)
from bankwise.signals.evidence import Snapshot


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


@dataclass
class Pulled:
    """A link whose plug comes out once a request has been written."""

    link: VirtualLink
    request: bytes
    asked: list[bytes] = field(default_factory=list)
    out: bool = False

    @property
    def name(self) -> str:
        """The port."""
        return self.link.name

    def write(self, request: Permitted) -> None:
        """Sends, as long as the plug is in."""
        if self.out:
            raise LinkLost("simulated went away")
        self.asked.append(request.text.encode())
        self.link.write(request)
        self.out = request.text.encode() == self.request

    def read(self, timeout: float) -> bytes:
        """Nothing comes through a pulled plug."""
        if self.out:
            raise LinkLost("simulated went away")
        return self.link.read(timeout)

    def now(self) -> float:
        """The link's clock."""
        return self.link.now()

    def close(self) -> None:
        """Closes."""
        self.link.close()


def test_a_plug_pulled_after_the_request_is_not_called_cleared(
    parked: Any, tmp_path: Path
) -> None:
    """Nobody knows what the car did: that is said, and the evidence is saved."""
    path = tmp_path / "visit.jsonl"
    visit = CodeVisit(Pulled(VirtualLink(parked.adapter()), b"04"), path)
    visit.connect()
    visit.read()
    with pytest.raises(LinkLost, match="nobody knows whether codes were cleared"):
        visit.clear("3")
    visit.close()
    session = read_session(path)
    assert not any(isinstance(r, ClearedRecord) for r in session.records)
    lost = [r for r in session.records if isinstance(r, LinkRecord)]
    assert "nobody knows" in next(r.why or "" for r in lost if r.state == "lost")
    assert session_snapshot(session).codes["stored"].codes == ("P0174", "P0155")


def test_a_plug_pulled_after_clearing_still_notes_that_it_was_cleared(
    parked: Any, tmp_path: Path
) -> None:
    """The answer had come; only reading again failed."""
    path = tmp_path / "visit.jsonl"
    link = Pulled(VirtualLink(parked.adapter()), b"never")
    visit = CodeVisit(link, path)
    visit.connect()
    visit.read()
    link.request = b"0120"
    with pytest.raises(LinkLost, match=r"7E8: cleared; then .* read the codes again"):
        visit.clear("3")
    visit.close()
    (cleared,) = [r for r in read_session(path).records if isinstance(r, ClearedRecord)]
    assert cleared.ok


def test_a_refused_clearing_leaves_all_and_says_what_to_do(
    parked: Any, tmp_path: Path
) -> None:
    """`7F 04 22` is the unit's own no: nothing is wiped, and the session says so."""
    path = tmp_path / "visit.jsonl"
    visit = _visit(parked, path)
    visit.connect()
    visit.read()
    parked.car.engine_running = True
    outcome = visit.clear("3")
    visit.close()
    assert not outcome.ok
    assert "7E8: refused: conditions not right; engine off" in outcome.words[0]
    assert outcome.left.codes["stored"].codes == ("P0174", "P0155")
    (cleared,) = [r for r in read_session(path).records if isinstance(r, ClearedRecord)]
    assert not cleared.ok
    assert before_clearing(read_session(path)) is None
    assert cleared_at(read_session(path)) == ()


def _after_connecting(visit: CodeVisit) -> None:
    visit.connect()


def _after_reading(visit: CodeVisit) -> None:
    visit.connect()
    visit.read()


@pytest.mark.parametrize("until", [_after_connecting, _after_reading])
def test_a_full_disk_stops_clearing(
    parked: Any, tmp_path: Path, until: Callable[[CodeVisit], None]
) -> None:
    """A snapshot that the disk did not take is no snapshot; nothing is sent."""
    path = tmp_path / "visit.jsonl"
    visit = _visit(parked, path)
    until(visit)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + 200, hard))
    try:
        visit.read()
        with pytest.raises(GateRefused, match="not saved"):
            visit.clear("3")
        visit.close()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert parked.memory.stored == ("P0174", "P0155")
    assert not any(isinstance(r, Exchange) and r.q == "04" for r in visit.records)


def test_the_evidence_before_clearing_can_be_read_from_the_session(
    parked: Any, tmp_path: Path
) -> None:
    """The file shows both: what stood before, and what stayed."""
    path = tmp_path / "visit.jsonl"
    visit = _visit(parked, path)
    visit.connect()
    visit.read()
    visit.clear("3")
    visit.close()
    session = read_session(path)
    before = before_clearing(session)
    assert len(cleared_at(session)) == 1
    assert before is not None
    assert before.codes["stored"].codes == ("P0174", "P0155")
    assert before.frames[0].values["rpm"] == 2100.0
    after = session_snapshot(session)
    assert after.codes["stored"].codes == ()
    assert not any(frame.values for frame in after.frames)
    assert after.codes["permanent"].codes == ("P0155",)


def test_long_waits_are_told_in_words(parked: Any) -> None:
    """Every request says what is being read, never its number alone."""
    told: list[str] = []
    visit = CodeVisit(VirtualLink(parked.adapter()), None, tell=told.append)
    visit.connect()
    visit.read()
    reading = [words for words in told if words.startswith("reading ")]
    assert any("stored codes" in words for words in reading)
    assert any("the freeze frame" in words for words in reading)
    assert any("test results" in words for words in reading)
    assert not [words for words in reading if "(0" in words]


def _read(parked: Any, quality: str, mishaps: dict[int, Mishap]) -> Snapshot:
    """What a visit with such an adapter reads when such things happen."""
    device = SimulatedAdapter(
        parked.adapter().bus,
        LINKS["usb-115200"],
        ADAPTERS[quality],
        Trouble(at=mishaps),
    )
    visit = CodeVisit(VirtualLink(device), None)
    visit.connect()
    seen = visit.read()
    visit.close()
    return seen


@pytest.mark.parametrize("quality", sorted(set(ADAPTERS) - {"headerless"}))
def test_every_adapter_reads_the_same(parked: Any, quality: str) -> None:
    """Imitations that lie, echo, keep spaces or drop prompts change nothing."""
    seen = _read(parked, quality, {})
    best = _read(parked, "good", {})
    assert seen.unread == ()
    assert (seen.frames, seen.results, seen.units) == (
        best.frames,
        best.results,
        best.units,
    )
    assert {w: r.codes for w, r in seen.codes.items()} == {
        w: r.codes for w, r in best.codes.items()
    }


def test_an_adapter_that_hides_headers_is_named(parked: Any) -> None:
    """The ignition is not to blame, so it is not blamed."""
    with pytest.raises(NoVehicle, match="hides headers"):
        _read(parked, "headerless", {})


@pytest.mark.parametrize("quality", ["good", "imitation"])
@pytest.mark.parametrize("mishap", sorted(set(Mishap) - {Mishap.BIT_FLIP}, key=str))
def test_a_mishap_never_hides_a_code(parked: Any, mishap: Mishap, quality: str) -> None:
    """Wherever it strikes, everything is read in the end, or said to be unread."""
    whole = _read(parked, quality, {})
    for at in range(6, 24):
        seen = _read(parked, quality, {at: mishap})
        for when, reading in seen.codes.items():
            assert not reading.known or reading.codes == whole.codes[when].codes
        if not seen.unread:
            assert seen.frames == whole.frames, at
            assert seen.results == whole.results, at
            assert seen.units == whole.units, at


@pytest.mark.parametrize("mishap", [Mishap.LV_RESET, Mishap.ERR94, Mishap.RESET])
def test_an_adapter_that_restarts_is_set_up_again(parked: Any, mishap: Mishap) -> None:
    """Its settings are gone; nothing of the car is lost."""
    seen = _read(parked, "good", {12: mishap})
    assert seen.unread == ()
    assert seen.vin == "1M8GDM9AXKP042788"
