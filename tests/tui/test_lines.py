"""The drive as plain lines: what is said, in which words, and that it is said once."""

from __future__ import annotations

import io
from typing import Any

import pytest

from bankwise.adapters.records import FlagRecord, Header
from bankwise.adapters.session_file import read_session
from bankwise.replay_logs import shipped
from bankwise.tui.lines import BELL, Lines


class Drive:
    """As much of a drive as the lines need."""

    def __init__(self, header: Header | None) -> None:
        self.header = header
        self.noted: list[FlagRecord] = []

    def note(self, record: FlagRecord) -> None:
        """Remembers what the person was told."""
        self.noted.append(record)


def _spoken(name: str, step: int, bell: bool = True) -> tuple[str, Drive]:
    session = read_session(shipped()[name])
    drive: Any = Drive(None)
    out = io.StringIO()
    lines = Lines(drive, out, bell)
    lines.seen(session.records[:step])
    drive.header = session.header
    for first in range(step, len(session.records), step):
        lines.seen(session.records[first : first + step])
    return out.getvalue() + lines.verdict(), drive


@pytest.fixture(scope="module", name="heard")
def _heard() -> tuple[str, Drive]:
    return _spoken("front-sensor-unplugged", 3000)


def test_severity_is_a_word_and_the_sentence_follows(
    heard: tuple[str, Drive],
) -> None:
    """A voice reads no triangles; the place is said once, the flag's name last."""
    text = heard[0]
    line = next(row for row in text.splitlines() if "(parked-at-bias)" in row)
    assert f"{BELL}ACT: " in line
    assert line.count("B2S1") == 1
    assert line.endswith("(parked-at-bias)")
    assert not set("▲△·✓") & set(text)


def test_what_the_person_heard_is_kept(heard: tuple[str, Drive]) -> None:
    """Every raised or cleared flag goes into the session."""
    text, drive = heard
    assert drive.noted
    assert all(f"({flag.id})" in text for flag in drive.noted)


def test_loops_are_told_when_they_change(heard: tuple[str, Drive]) -> None:
    """Closing is told once a bank, not once an answer."""
    assert heard[0].count("B1: closed loop") == 1


def test_the_verdict_is_the_last_word(heard: tuple[str, Drive]) -> None:
    """The same sentence that `check` begins with."""
    last = heard[0].splitlines()[-1]
    assert last.startswith("Verdict: ")
    assert "B2S1: the sensor or its wiring is open" in last


def test_the_bell_can_be_left_out() -> None:
    """Nothing else changes; and a drive that never began has no verdict."""
    silent, _ = _spoken("front-sensor-unplugged", 20000, bell=False)
    assert BELL not in silent
    assert "ACT: " in silent
    nobody: Any = Drive(None)
    assert Lines(nobody, io.StringIO()).verdict() == ""
