"""Shipped sessions tell their story, and their flag timelines do not drift.

`python tests/test_replay_logs.py` writes the timelines anew; read the difference before
keeping it.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from bankwise.adapters.analysis import Analysis, analyse
from bankwise.adapters.car.stories import STORIES, Story
from bankwise.adapters.session_file import Session, read_session
from bankwise.adapters.vin import VinVerdict, verdict
from bankwise.replay_logs import shipped
from bankwise.replay_logs.make import SHIPPED, make
from bankwise.signals.engine import FlagEvent
from bankwise.signals.severity import Severity

GOLDEN = Path(__file__).parent / "golden"
NAMES = sorted(SHIPPED)


@cache
def _session(name: str) -> Session:
    return read_session(shipped()[name])


@cache
def _watched(name: str) -> tuple[Analysis, tuple[FlagEvent, ...]]:
    session = _session(name)
    analysis = Analysis(session.header)
    events = analysis.feed(session.records) + analysis.finish()
    return analysis, tuple(events)


def timeline(name: str) -> str:
    """Every flag raised and cleared, a line each, and the two first explanations."""
    analysis, events = _watched(name)
    lines = [
        f"{event.t:7.1f}  {event.state:7}  {event.severity.value:5}  "
        f"{event.about:7}  {event.id}"
        for event in events
    ]
    lines += [
        f"explanation {rank}: {found.id} {found.about}"
        for rank, found in enumerate(analysis.engine.explanations()[:2], 1)
    ]
    return "\n".join(lines) + "\n"


def _story(name: str) -> Story:
    return STORIES[name]


def test_enough_are_shipped() -> None:
    """At least eight sessions are shipped, exactly the listed ones, healthy among."""
    assert sorted(shipped()) == NAMES
    assert len(NAMES) >= 8
    assert any(not _story(name).faults for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_flag_timeline(name: str) -> None:
    """A shipped session gives the same flags at the same moments as when reviewed."""
    golden = (GOLDEN / f"{name}.txt").read_text(encoding="utf-8")
    assert timeline(name) == golden


@pytest.mark.parametrize("name", NAMES)
def test_story_is_told(name: str) -> None:
    """The story's flag is raised and its explanation comes first; healthy stays so."""
    story = _story(name)
    analysis, _ = _watched(name)
    raised = {(flag.id, flag.about) for flag in analysis.engine.flags}
    first = analysis.engine.explanations()[0]
    if story.flag is None:
        severe = [f for f in analysis.engine.flags if f.severity >= Severity.ACT]
        assert severe == []
        assert first.id == "no-fault-seen"
    else:
        assert story.flag in {id_ for id_, _ in raised}
        assert first.id == story.explanation


@pytest.mark.parametrize("name", NAMES)
def test_header_tells_the_story(name: str) -> None:
    """The header holds the story and a VIN that passes, and says it is simulated."""
    session = _session(name)
    header = session.header
    assert header.vehicle["note"] == _story(name).text
    assert "simulated" in header.adapter.name
    assert "invented" in header.vehicle["name"]
    assert verdict(header.vehicle["vin"]) is VinVerdict.HOLDS
    assert session.warnings == ()
    minutes = session.records[-1].t / 60
    # A thermostat is judged after 15 minutes of running, so its drive is longer.
    assert 6 <= minutes <= (18 if name == "thermostat-open" else 12)


@pytest.mark.long
def test_made_twice_is_the_same(tmp_path: Path) -> None:
    """The same code makes the same bytes."""
    story = _story("thermostat-open")
    (tmp_path / "again").mkdir()
    once, twice = make(story, tmp_path), make(story, tmp_path / "again")
    assert once.read_bytes() == twice.read_bytes()


@pytest.mark.long
@pytest.mark.parametrize("name", ["healthy", "front-sensor-reads-lean"])
def test_made_now_says_the_same(name: str, tmp_path: Path) -> None:
    """What is shipped still says what today's code makes of its story."""
    story = _story(name)
    path = make(story, tmp_path)
    assert read_session(path).header == _session(name).header
    flags = analyse(read_session(path)).engine.flags
    urgent = {(one.id, one.about) for one in flags if one.severity >= Severity.ACT}
    analysis, _ = _watched(name)
    assert urgent == {
        (one.id, one.about)
        for one in analysis.engine.flags
        if one.severity >= Severity.ACT
    }


def _write() -> None:
    GOLDEN.mkdir(exist_ok=True)
    for name in NAMES:
        (GOLDEN / f"{name}.txt").write_text(timeline(name), encoding="utf-8")


if __name__ == "__main__":
    _write()
