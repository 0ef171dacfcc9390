"""What is said after the screen, and about an adapter that cannot be reached."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

from bankwise.adapters.blind import KEY
from bankwise.adapters.errors import (
    AdapterError,
    LinkLost,
    NoAdapter,
    NoVehicle,
    PortBusy,
    PortMissing,
)
from bankwise.adapters.source import Recording
from bankwise.tui.address import meant
from bankwise.tui.advice import with_advice
from bankwise.tui.afterword import afterword, called
from bankwise.tui.errors import CommandError, NoTerminal
from bankwise.tui.on_screen import need_terminal
from bankwise.tui.options import checked_port
from bankwise.tui.practice import hidden


@pytest.fixture(name="folder", autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path))
    return tmp_path


def test_a_recorded_drive_says_where_it_is_and_what_next(
    folder: Path, source: Any
) -> None:
    """The file whole, and commands that can be copied."""
    path = folder / "monday-drive.jsonl"
    path.write_text("{}\n")
    source.recording = Recording(path, 3)
    assert afterword(source) == [
        f"Session: {path}",
        "Next: bankwise check monday-drive",
        "      bankwise report monday-drive  makes a page to hand over",
    ]


def test_a_full_disk_is_said_again(folder: Path, source: Any) -> None:
    """What was on the bottom line stays on the terminal."""
    path = folder / "drive.jsonl"
    path.write_text("{}\n")
    source.recording = Recording(path, 3, error="no space left")
    assert "Recording stopped early: no space left" in afterword(source)


def test_a_blind_drive_offers_its_answer(folder: Path, source: Any) -> None:
    """And not its name."""
    path = folder / "practice.jsonl"
    path.write_text("{}\n")
    source.recording = Recording(path, 3)
    source.header = _with(source.header, {KEY: hidden("worn-catalyst")})
    text = "\n".join(afterword(source))
    assert "bankwise answer practice" in text
    assert "catalyst" not in text


def _with(header: Any, vehicle: dict[str, Any]) -> Any:
    import msgspec

    return msgspec.structs.replace(header, vehicle=vehicle)


def test_a_dead_port_is_said_with_what_to_do(folder: Path, source: Any) -> None:
    """A drive that never met a car leaves no file, but a reason."""
    source.kind = "live"
    source.recording = Recording(folder / "none.jsonl")
    source.error = PortMissing("nothing listens at socket://127.0.0.1:9")
    lines = afterword(source)
    assert len(lines) == 1
    assert "nothing listens at socket://127.0.0.1:9; is the adapter powered" in lines[0]


def test_a_replay_says_nothing(source: Any) -> None:
    """Nothing was recorded."""
    source.kind = "replay"
    assert afterword(source) == []


def test_a_session_is_called_by_the_name_that_finds_it(folder: Path) -> None:
    """A saved one by its name, another by its path, both fit for a shell."""
    assert called(folder / "a.jsonl.gz") == "a"
    assert called(Path("/else where/a.jsonl")) == "'/else where/a.jsonl'"


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("127.0.0.1:35777", "socket://127.0.0.1:35777"),
        ("adapter.local:23", "socket://adapter.local:23"),
        ("[::1]:23", "socket://[::1]:23"),
        ("socket://127.0.0.1:35777", ""),
        ("/dev/ttyUSB0", ""),
        ("COM5", ""),
        ("COM5:", ""),
        ("127.0.0.1:0", ""),
        ("127.0.0.1:99999", ""),
    ],
)
def test_a_forgotten_scheme_is_recognised(typed: str, wanted: str) -> None:
    """A host and a port is a network address; nothing else is."""
    assert meant(typed) == wanted


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "empty"),
        ("127.0.0.1:35777", "named socket://127.0.0.1:35777"),
        ("socket://x", "socket://HOST:PORT"),
        ("socket://127.0.0.1:99999", "65535"),
    ],
)
def test_an_address_that_cannot_be_one_is_refused_at_once(
    typed: str, said: str
) -> None:
    """Before anything is opened, and with what to type instead."""
    with pytest.raises(CommandError, match=said):
        checked_port(typed)


@pytest.mark.parametrize("typed", ["/dev/ttyUSB0", "COM5", "socket://1.2.3.4:5", None])
def test_an_address_that_may_be_one_is_tried(typed: str | None) -> None:
    """What exists is found out by opening it."""
    assert checked_port(typed) == typed


@pytest.mark.parametrize(
    ("error", "advice"),
    [
        (PortMissing("there is no 127.0.0.1:9"), "socket://127.0.0.1:9"),
        (PortMissing("there is no /dev/ttyUSB7"), "bankwise ports"),
        (PortMissing("nothing listens at socket://1.2.3.4:5"), "its network"),
        (PortBusy("/dev/ttyUSB0 is in use by another program"), "close the other"),
        (LinkLost("gone"), "plug"),
        (NoAdapter("no answer"), "right port"),
        (NoVehicle("the vehicle is silent"), "ignition"),
    ],
)
def test_every_trouble_with_a_port_has_advice(error: AdapterError, advice: str) -> None:
    """What is wrong first, then what to do."""
    text = with_advice(error)
    assert text.startswith(f"{error}; ")
    assert advice in text


def test_an_error_that_needs_no_advice_is_left_alone() -> None:
    """The ignition is not asked after twice."""
    error = NoVehicle("the vehicle does not answer: is the ignition on?")
    assert with_advice(error) == str(error)


def test_the_screen_is_refused_without_a_terminal(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In a pipe, and on a terminal that cannot place a letter; not in a browser."""
    monkeypatch.delenv("TEXTUAL_DRIVER", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    with pytest.raises(NoTerminal):
        need_terminal()
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: True, raising=False)
    need_terminal()
    monkeypatch.setenv("TERM", "dumb")
    with pytest.raises(NoTerminal):
        need_terminal()
    monkeypatch.setenv("TEXTUAL_DRIVER", "browser")
    need_terminal()
