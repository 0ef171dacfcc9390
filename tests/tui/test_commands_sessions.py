"""`sessions`, `note` and `pack` on a folder of saved sessions."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from bankwise.adapters.seals import State, verify
from bankwise.replay_logs import shipped
from bankwise.tui.main import app


@pytest.fixture(name="run")
def _run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path))

    def run(*arguments: str) -> Result:
        return CliRunner().invoke(app, list(arguments))

    return run


@pytest.fixture(name="saved")
def _saved(tmp_path: Path) -> Path:
    path = tmp_path / "monday.jsonl"
    path.write_bytes(gzip.decompress(shipped()["healthy"].read_bytes()))
    return path


@pytest.mark.usefixtures("saved")
def test_listed_and_searched(run: Any, tmp_path: Path) -> None:
    """A saved session is listed, found by its words, and not by others."""
    (tmp_path / "broken.jsonl").write_text("nothing\n")
    lines = run("sessions").stdout.splitlines()
    assert {line.split()[0] for line in lines} == {"monday", "broken"}
    assert [one["path"] for one in json.loads(run("sessions", "--json").stdout)]
    assert run("sessions", "INVENTED").stdout.count("monday") == 1
    assert run("sessions", "nonsense").stdout == ""


def test_a_pair_of_one_car_is_suggested(run: Any, tmp_path: Path) -> None:
    """A faulty drive and the same car's next one; never two different cars."""
    faulty = shipped()["front-sensor-unplugged"].read_bytes()
    (tmp_path / "monday.jsonl.gz").write_bytes(faulty)
    (tmp_path / "other.jsonl.gz").write_bytes(shipped()["healthy"].read_bytes())
    assert "compare" not in run("sessions").stderr
    (tmp_path / "monday2.jsonl.gz").write_bytes(faulty)
    told = run("sessions")
    assert "before and after? bankwise compare monday" in told.stderr
    assert "compare" not in told.stdout
    assert "other" not in told.stderr
    assert "compare" not in run("sessions", "nonsense").stderr
    assert "bankwise compare monday" in run("sessions", "--pairs").stdout


def test_note_is_appended(run: Any, saved: Path) -> None:
    """A note and details of the car are added; earlier bytes and seals stay."""
    before = saved.read_bytes()
    done = run("note", "monday", "new sensor fitted", "--odometer", "84210")
    assert done.exit_code == 0
    assert saved.read_bytes().startswith(before)
    assert verify(saved).state is State.WHOLE
    assert "new sensor fitted" in run("sessions", "fitted").stdout


@pytest.mark.parametrize("arguments", [(), ("--odometer", "many")])
def test_note_refuses(run: Any, saved: Path, arguments: tuple[str, ...]) -> None:
    """Nothing to add, or no number where one is needed, changes nothing."""
    before = saved.read_bytes()
    assert run("note", "monday", *arguments).exit_code != 0
    assert saved.read_bytes() == before


def test_packed_is_read_as_before(run: Any, saved: Path) -> None:
    """A packed session is smaller, found under the same name, and whole."""
    size = saved.stat().st_size
    assert run("pack", "monday").exit_code == 0
    assert not saved.exists()
    assert saved.with_name("monday.jsonl.gz").stat().st_size < size / 3
    assert "whole" in run("verify", "monday").stdout


@pytest.mark.parametrize(
    "command", [("note", "healthy", "hello"), ("note", "--car", "van", "healthy")]
)
def test_a_shipped_session_is_never_changed(run: Any, command: tuple[str, ...]) -> None:
    """It is every reader's; who wants to change it makes a copy."""
    path = shipped()["healthy"]
    before = path.read_bytes()
    done = run(*command)
    assert "stays as it is" in str(done.exception)
    assert path.read_bytes() == before
    by_path = run("note", str(path), "hello")
    assert "stays as it is" in str(by_path.exception)
    assert path.read_bytes() == before


def test_a_near_miss_of_a_saved_name_is_offered(run: Any, saved: Path) -> None:
    """A person's own sessions are among the names that may have been meant."""
    done = run("check", "mondy")
    assert done.exit_code == 2
    assert "is it 'monday'?" in done.stderr
    assert saved.exists()


def test_reading_needs_no_folder_of_its_own(
    run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no folder for sessions can be made, a file is read all the same."""
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path / "file" / "sessions"))
    for command in ("check", "verify", "answer"):
        assert run(command, "healthy").exit_code == 0
    assert "cannot make the folder" in str(run("sessions").exception)
