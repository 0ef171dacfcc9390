"""A drive without a thread: what it reads at its end stands in the session."""

from __future__ import annotations

from pathlib import Path

from bankwise.adapters.capture import capture
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.session_file import read_session
from bankwise.adapters.snapshot import session_snapshot


def test_evidence_is_read_at_the_end_of_a_drive(tmp_path: Path) -> None:
    """Monitor status, test results and units are there beside the polled values."""
    story = STORIES["healthy"]
    path = tmp_path / "drive.jsonl"
    link = VirtualLink(plug_in(story.car(), story.spec, seed=story.seed))
    capture(link, 10.0, path=path, seed=story.seed, evidence=True)
    session = read_session(path)
    seen = session_snapshot(session)
    assert seen.unread == ()
    assert all(reading.known for reading in seen.codes.values())
    assert seen.since_clear
    assert seen.results
    assert seen.vin == story.spec.identity.vin
    assert session.records[-1].t < 20.0


def test_a_drive_without_it_reads_codes_only(tmp_path: Path) -> None:
    """Nothing more is asked than a drive needs, and the snapshot says so."""
    story = STORIES["healthy"]
    path = tmp_path / "drive.jsonl"
    link = VirtualLink(plug_in(story.car(), story.spec, seed=story.seed))
    capture(link, 10.0, path=path, seed=story.seed)
    seen = session_snapshot(read_session(path))
    assert seen.codes["stored"].known
    assert "monitor status: never asked" in seen.unread
    assert seen.results == ()
