"""Every command that reads a session refuses what is none, in one line."""

from __future__ import annotations

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
    ("compare", "healthy"),
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
        assert ended.value.code not in (0, None)
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
