"""The start: what can be watched, and what happens when it cannot."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from textual.widgets import Input, OptionList, Static

from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.errors import LinkError
from bankwise.replay_logs import shipped
from bankwise.tui.app import BankwiseApp
from bankwise.tui.feed import Feed
from bankwise.tui.intents import open_source
from bankwise.tui.last_used import LastUsed, What, kept_file, last_used, remember
from bankwise.tui.session_list import head, library_rows, session_files
from bankwise.tui.start import Start, demo_choices, last_choices

if TYPE_CHECKING:
    from textual.pilot import Pilot


@pytest.fixture(autouse=True)
def _own_choices(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def test_practice_stands_beside_the_demo(tmp_path: Path) -> None:
    """The known demo first, the one not told next, then every story by name."""
    rows = [choice.text.split()[0] for choice in demo_choices(tmp_path)]
    assert rows == ["demo", "practise", *list(STORIES)[1:]]


LONGEST_S = 120.0


async def settled(pilot: Pilot[int]) -> OptionList:
    """Waits until the start has looked around."""
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        await pilot.pause(0.02)
        options = pilot.app.screen.query_one(OptionList)
        if options.option_count > len(STORIES):
            return options
    raise AssertionError("the start never looked around")


async def opened(pilot: Pilot[int]) -> None:
    """Waits until what was picked is on the screen."""
    app: Any = pilot.app
    end = time.monotonic() + LONGEST_S
    while app.feed is None or len(app.screen_stack) > 1:
        assert time.monotonic() < end, "what was picked never opened"
        await pilot.pause(0.02)


async def test_everything_that_can_be_watched_is_listed(tmp_path: Path) -> None:
    """Adapters or what to do without one, the demo's stories, shipped sessions."""
    app = BankwiseApp(None, sessions_dir=tmp_path, quiet=True)
    async with app.run_test(size=(120, 60)) as pilot:
        options = await settled(pilot)
        rows = [
            str(options.get_option_at_index(i).prompt)
            for i in range(options.option_count)
        ]
    text = "\n".join(rows)
    assert "ADAPTERS" in rows[0]
    assert "none saved yet" in text
    assert "then u and its address" in " ".join(text.split())
    for name in (*STORIES, *shipped()):
        assert name in text
    assert all(len(line) < 120 for line in text.splitlines())


async def test_a_shipped_session_opens_on_the_road_test(tmp_path: Path) -> None:
    """Picked on the start screen it plays from its beginning."""
    app = BankwiseApp(None, sessions_dir=tmp_path, quiet=True)
    async with app.run_test(size=(120, 60)) as pilot:
        options = await settled(pilot)
        options.highlighted = options.option_count - 1
        await pilot.press("enter")
        await opened(pilot)
        app.frame()
        assert app.feed is not None
        assert app.feed.source.kind == "replay"
        assert len(app.screen_stack) == 1


async def test_what_was_watched_last_stands_first(tmp_path: Path) -> None:
    """The session picked once is the first row of the next start, and picked."""
    app = BankwiseApp(None, sessions_dir=tmp_path, quiet=True)
    async with app.run_test(size=(120, 60)) as pilot:
        options = await settled(pilot)
        assert "LAST USED" not in str(options.get_option_at_index(0).prompt)
        options.highlighted = options.option_count - 1
        picked = str(options.get_option_at_index(options.option_count - 1).prompt)
        await pilot.press("enter")
        await opened(pilot)
    again = BankwiseApp(None, sessions_dir=tmp_path, quiet=True)
    async with again.run_test(size=(120, 60)) as pilot:
        options = await settled(pilot)
        assert str(options.get_option_at_index(0).prompt) == "LAST USED"
        assert str(options.get_option_at_index(1).prompt) == picked
        assert options.highlighted == 1


async def test_an_address_without_its_scheme_is_explained(tmp_path: Path) -> None:
    """The hint names what to type; nothing is opened."""
    app = BankwiseApp(None, sessions_dir=tmp_path, quiet=True)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await pilot.press("u")
        app.screen.query_one(Input).value = "192.168.0.10:35000"
        await pilot.press("enter")
        await pilot.pause()
        hint = app.screen.query(".hint").last(Static)
        assert "socket://192.168.0.10:35000" in str(hint.render())
        assert app.feed is None


def test_an_adapter_used_last_is_offered_though_it_is_not_seen(tmp_path: Path) -> None:
    """A network adapter is never found by looking; a session that is gone is not."""
    remember(LastUsed(What.ADAPTER, "socket://192.168.0.10:35000"))
    (choice,) = last_choices(tmp_path, [])
    assert "socket://192.168.0.10:35000" in choice.text
    remember(LastUsed(What.SESSION, str(tmp_path / "gone.jsonl")))
    assert last_choices(tmp_path, []) == []
    kept_file().write_text('{"what": "nonsense"}')
    assert last_used() is None


async def test_turning_away_from_the_first_start_leaves(tmp_path: Path) -> None:
    """With nothing to go back to, escape ends the program."""
    app = BankwiseApp(None, sessions_dir=tmp_path, quiet=True)
    async with app.run_test() as pilot:
        await settled(pilot)
        await pilot.press("escape")
        await pilot.pause()
    assert app.return_code == 0


async def test_turning_away_later_goes_back(app: BankwiseApp, source: Any) -> None:
    """The drive that was shown goes on."""
    async with app.run_test() as pilot:
        await pilot.press("0")
        await pilot.pause()
        assert isinstance(app.screen, Start)
        await pilot.press("escape")
        await pilot.pause()
        assert len(app.screen_stack) == 1
        assert not source.stopped


async def test_an_address_can_be_typed(tmp_path: Path, source: Any) -> None:
    """A Wi-Fi adapter is not found by looking; its address is a line of text."""
    app = BankwiseApp(None, sessions_dir=tmp_path, quiet=True)
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await pilot.press("u")
        line = app.screen.query_one(Input)
        assert line.has_focus
        await pilot.press(*"socket", "colon", "slash", "slash", *"127.0.0.1")
        assert line.value == "socket://127.0.0.1"


async def test_what_cannot_be_opened_is_one_line(app: BankwiseApp, source: Any) -> None:
    """The reason is on the bottom line, and what was shown stays."""

    def fails() -> Any:
        raise LinkError("the port is in use")

    async with app.run_test() as pilot:
        await pilot.pause()
        open_source(app, fails)
        assert app.feed is not None
        shown: Any = app.feed.source
        assert shown is source
        assert not shown.stopped
        assert "the port is in use" in app.said[0]


async def test_opening_another_source_closes_the_one_before(
    app: BankwiseApp, source: Any, reader: Any
) -> None:
    """Its recording is ended in good order."""
    other = type(source)()
    async with app.run_test() as pilot:
        await pilot.pause()
        open_source(app, lambda: other)
        assert (source.stopped, other.started) == (True, True)
        assert isinstance(app.feed, Feed)


def test_a_file_that_is_no_session_is_listed_as_such(tmp_path: Path) -> None:
    """Nothing is hidden and nothing fails."""
    (tmp_path / "odd.jsonl").write_text("not a session\n")
    (tmp_path / "cut.jsonl.gz").write_bytes(b"\x1f\x8b\x08")
    assert len(session_files(tmp_path)) == 2
    assert all(head(path) is None for path in session_files(tmp_path))
    rows = library_rows(tmp_path)
    assert len(rows) == 2 + len(shipped())
    assert session_files(tmp_path / "no such folder") == []
