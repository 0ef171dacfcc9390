"""The recorder keeps a drive also where its name is taken meanwhile."""

from __future__ import annotations

from pathlib import Path

from bankwise.adapters.recorder import Recorder, new_header
from bankwise.adapters.records import Record
from bankwise.adapters.session_file import read_session
from bankwise.adapters.startup import Found


def test_two_adapters_started_in_one_second_are_both_recorded(tmp_path: Path) -> None:
    """The second drive takes the next name; the first file is not touched."""
    path = tmp_path / "2026-05-01-101500-drive.jsonl"
    found = Found()
    told: list[Record] = []
    drives = [
        Recorder(
            path, lambda seen: new_header("2026-05-01T10:15:00Z", seen), told.append
        )
        for _ in range(2)
    ]
    for drive in drives:
        drive.begin(found)
    for drive in drives:
        drive.finish(found, 1.0)
    assert drives[1].recording.error is None
    assert drives[1].recording.path == path.with_name(f"{path.stem}-2.jsonl")
    first, second = (drive.recording.path for drive in drives)
    assert first is not None
    assert second is not None
    assert read_session(first).header.id != read_session(second).header.id
