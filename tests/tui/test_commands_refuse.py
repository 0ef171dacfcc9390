"""Every command that reads a session refuses what is none, in one line."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from bankwise.tui.main import main

Refused = Callable[..., str]

READERS = (
    ("check",),
    ("check", "--json"),
    ("codes",),
    ("compare", "thermostat-open"),
    ("export",),
    ("export", "--to", "csv"),
    ("note", "--car", "van"),
    ("pack",),
    ("replay",),
    ("report",),
    ("verify",),
)
"""Every command that reads a session, up to where its file goes."""

JUNK = {
    "empty": b"",
    "table": b"t_s,signal\n1,rpm\n",
    "binary": b"\x00\xff\x1f\x8b",
    "headless": b'{"k":"x"}\n',
}


@pytest.fixture(name="refused")
def _refused(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Refused:
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path))
    monkeypatch.chdir(tmp_path)

    def run(*arguments: str) -> str:
        monkeypatch.setattr(sys, "argv", ["bankwise", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        assert ended.value.code == 2
        said = capsys.readouterr()
        assert said.out == ""
        lines = said.err.splitlines()
        assert len(lines) == 1, said.err
        assert lines[0].startswith("bankwise: ")
        return lines[0]

    return run


@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_unknown_file(refused: Refused, command: tuple[str, ...]) -> None:
    """A name that is nothing is said so, with the name that was meant."""
    line = refused(*command, "helthy")
    assert "'helthy'" in line
    assert "'healthy'" in line


@pytest.mark.parametrize("kind", JUNK)
@pytest.mark.parametrize("command", READERS, ids=" ".join)
def test_no_session(
    refused: Refused, command: tuple[str, ...], kind: str, tmp_path: Path
) -> None:
    """A file that is no session is refused, whatever it holds, and left as it is."""
    path = tmp_path / "note.jsonl"
    path.write_bytes(JUNK[kind])
    assert "note.jsonl" in refused(*command, "note.jsonl")
    assert path.read_bytes() == JUNK[kind]
    assert [one.name for one in tmp_path.iterdir()] == ["note.jsonl"]


ONE_FILE = tuple(command for command in READERS if command != ("verify",))


@pytest.mark.parametrize("command", ONE_FILE, ids=" ".join)
def test_folder(refused: Refused, command: tuple[str, ...], tmp_path: Path) -> None:
    """A folder is no session."""
    (tmp_path / "drives").mkdir()
    assert "is a folder" in refused(*command, "drives")


def test_a_folder_without_a_session(refused: Refused, tmp_path: Path) -> None:
    """Where there is nothing to verify, that is said."""
    (tmp_path / "drives").mkdir()
    assert "no session in or below" in refused("verify", "drives")


USAGE = {
    ("checkk",): "Did you mean 'check'?",
    ("check",): "Missing argument",
    ("check", "healthy", "--fail-on", "bad"): "'info', 'watch', 'act', 'stop'",
    ("replay", "healthy", "--speed", "0"): "'--speed': it must be at least 0.1",
    ("replay", "healthy", "--speed", "x"): "it must be a number",
    ("replay",): "which session?",
    ("export", "healthy", "--to", "xls"): "'csv', 'parquet', 'mf4'",
    ("serve", "healthy", "--port", "x"): "it must be a whole number",
    ("check", ""): "empty",
    ("record", "--port", "127.0.0.1:35777"): "named socket://127.0.0.1:35777",
    ("drive", "--port", "socket://here"): "socket://HOST:PORT",
    ("probe", "--port", ""): "empty",
    ("record", "--baud", "-3", "--port", "x"): "'--baud': it must be at least",
    ("record", "--definitions", "missing.toml", "--port", "x"): "missing.toml",
    ("demo", "helthy"): "'healthy'",
    ("car", "helthy"): "'healthy'",
    ("demo",): "needs a terminal",
    (): "needs a terminal",
}
"""What a person may get wrong, and what the one line must hold."""


@pytest.mark.parametrize("command", USAGE, ids=" ".join)
def test_a_fault_of_usage_is_one_line(
    refused: Refused, command: tuple[str, ...]
) -> None:
    """It says what is wrong in plain words, and the status is 2."""
    assert USAGE[command] in refused(*command)


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    """`bankwise stories | head -1` ends without a word of complaint."""
    done = subprocess.run(
        f"{sys.executable} -m bankwise.tui.main stories | head -c 1",
        shell=True,
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert done.stderr == ""
