"""Practising blind: nothing names the story until the answer is asked for."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from typer.testing import CliRunner

from bankwise.adapters.blind import KEY
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.records import AdapterInfo, Header
from bankwise.replay_logs import shipped
from bankwise.tui.main import app
from bankwise.tui.openings import Demo
from bankwise.tui.practice import (
    answer,
    hidden,
    lay_out,
    newest,
    pick,
    story_of,
)
from bankwise.tui.session_list import head


def _header(vehicle: dict[str, object]) -> Header:
    return Header("id", "2026-03-01T10:00:00Z", "test", AdapterInfo("one"), vehicle)


def test_every_draw_is_a_story_and_not_always_the_same() -> None:
    """Stories that everybody knows, or that tell on themselves, are not drawn."""
    drawn = {pick(Random(seed)) for seed in range(200)}
    assert drawn == STORIES.keys() - {"demo", "unmetered-air-repaired"}


@pytest.mark.parametrize("story", STORIES)
def test_the_hidden_name_cannot_be_read_but_is_found(story: str) -> None:
    """The session keeps the answer; no word of it stands there in clear."""
    kept = hidden(story)
    assert not any(word in kept for word in story.split("-"))
    assert story_of(_header({KEY: kept})) is STORIES[story]


def test_a_session_that_was_not_made_to_practise_has_no_answer() -> None:
    """Nor has one whose answer was spoiled."""
    assert story_of(_header({})) is None
    assert story_of(_header({KEY: "&&&"})) is None
    assert story_of(_header({KEY: 7})) is None


def test_a_blind_copy_is_a_shipped_session_under_another_name(tmp_path: Path) -> None:
    """Its bytes are whole, its name tells nothing, and its answer is known."""
    path = lay_out(tmp_path, Random(3))
    assert path.read_bytes() in [one.read_bytes() for one in shipped().values()]
    assert path.name.endswith("-practice.jsonl.gz")
    found = head(path)
    assert found is not None
    assert found.simulated
    assert story_of(found) is not None
    assert newest(tmp_path) == path


def test_a_blind_demo_names_its_story_nowhere(tmp_path: Path) -> None:
    """Neither the file's name nor anything readable in its header."""
    source = Demo("worn-catalyst", tmp_path, blind=True)
    path = source.recording.path
    assert path is not None
    assert "worn" not in path.name
    vehicle = source._live._vehicle
    assert "catalyst" not in str(vehicle)
    assert story_of(_header(vehicle)) is STORIES["worn-catalyst"]


@pytest.mark.parametrize("story", STORIES)
def test_the_answer_tells_what_was_wrong_and_how_to_find_it(story: str) -> None:
    """The fault with its place, the explanation in words, the flag."""
    text = "\n".join(answer(STORIES[story]))
    assert story in text
    assert ("a healthy car" in text) is (STORIES[story].flag is None)
    assert STORIES[story].flag is None or str(STORIES[story].flag) in text


def test_the_answer_is_told_on_request(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of the newest practice session, or the one named; else how to begin is said."""
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path))
    none = CliRunner().invoke(app, ["answer"])
    assert "--blind" in str(none.exception)
    path = lay_out(tmp_path, Random(1))
    told = CliRunner().invoke(app, ["answer"])
    assert told.stdout.startswith(path.name)
    assert "was wrong:" in told.stdout
    assert CliRunner().invoke(app, ["answer", "healthy"]).stdout.count("healthy") > 1


@pytest.mark.parametrize("command", [("demo", "healthy"), ("replay", "healthy")])
def test_blind_and_a_name_exclude_each_other(command: tuple[str, str]) -> None:
    """Who names a story is not blind."""
    done = CliRunner().invoke(app, [*command, "--blind"])
    assert "name none" in str(done.exception)
