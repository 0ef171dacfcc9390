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
from bankwise.tui.session_list import library_rows, row


@pytest.fixture(name="run")
def _run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path))

    def run(*arguments: str) -> Result:
        return CliRunner().invoke(app, list(arguments))

    return run


@pytest.fixture(name="saved")
def _saved(tmp_path: Path) -> Path:
    path = tmp_path / "monday.jsonl"
    path.write_bytes(gzip.decompress(shipped()["thermostat-open"].read_bytes()))
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
    """A faulty drive and the same car's repaired one; never two different cars."""
    for name in ("unmetered-air", "healthy"):
        (tmp_path / f"{name}2.jsonl.gz").write_bytes(shipped()[name].read_bytes())
    assert "compare" not in run("sessions").stderr
    repaired = shipped()["unmetered-air-repaired"].read_bytes()
    (tmp_path / "mended.jsonl.gz").write_bytes(repaired)
    told = run("sessions")
    line = "bankwise compare unmetered-air2 mended"
    assert f"before and after? {line}" in told.stderr
    assert "compare" not in told.stdout
    assert "compare" not in run("sessions", "nonsense").stderr
    assert run("sessions", "--pairs").stdout.splitlines() == [line]


def test_two_drives_that_show_the_same_are_no_pair(run: Any, tmp_path: Path) -> None:
    """They are said to be the same; with a note of what was done they are a pair."""
    lines = gzip.decompress(shipped()["front-sensor-unplugged"].read_bytes())
    header = json.loads(lines.split(b"\n", 1)[0])
    (tmp_path / "monday.jsonl").write_bytes(lines)
    copy = lines.replace(header["id"].encode(), b"another", 1)
    (tmp_path / "tuesday.jsonl").write_bytes(copy)
    assert "compare" not in run("sessions").stderr
    told = run("sessions", "--pairs")
    assert told.stdout == ""
    assert "both show" in told.stderr
    assert "nothing was repaired between them" in told.stderr
    (tmp_path / "tuesday.jsonl").write_bytes(lines)
    assert run("sessions", "--pairs").output == ""  # one recording twice
    (tmp_path / "tuesday.jsonl").write_bytes(_sealed_anew(copy))
    assert run("note", "tuesday", "new sensor fitted").exit_code == 0
    assert "bankwise compare" in run("sessions", "--pairs").stdout


def _sealed_anew(lines: bytes) -> bytes:
    """The same without its seals, so that something can be appended."""
    return b"".join(x for x in lines.splitlines(True) if b'"k":"seal"' not in x)


def test_the_newest_is_the_one_recorded_last(run: Any, tmp_path: Path) -> None:
    """A copy of a drive of an invented day stands where its file's name says."""
    names = {
        "2031-05-02-101500-practice-lap.jsonl.gz": "thermostat-open",
        "2031-05-01-101500-drive.jsonl.gz": "thermostat-open",
        "old.jsonl.gz": "unmetered-air-repaired",
    }
    for name, story in names.items():
        (tmp_path / name).write_bytes(shipped()[story].read_bytes())
    lines = run("sessions").stdout.splitlines()
    assert [line.split()[1] for line in lines] == [
        "2031-05-02",
        "2031-05-01",
        "2024-03-16",
    ]
    recorded = [one["recorded"] for one in json.loads(run("sessions", "--json").stdout)]
    assert recorded == sorted(recorded, reverse=True)


def test_a_practice_tells_nothing_before_its_answer(run: Any, tmp_path: Path) -> None:
    """Neither list, search, JSON nor pairs; after the answer it is like the others."""
    name = "2031-05-02-101500-practice"
    path = tmp_path / f"{name}.jsonl.gz"
    path.write_bytes(shipped()["unmetered-air"].read_bytes())
    repaired = shipped()["unmetered-air-repaired"].read_bytes()
    (tmp_path / "mended.jsonl.gz").write_bytes(repaired)
    shown = run("sessions", "practice").stdout
    assert f"practice: `bankwise answer {name}` tells what was wrong" in shown
    told = shown + run("sessions", "--json").stdout + run("sessions", "--pairs").output
    for word in ("P0171", "both-lean-fades", "hose hisses"):
        assert word not in told
    assert run("sessions", "both-lean-fades").stdout == ""
    rows = {row[1]: row for row in library_rows(tmp_path)}
    assert rows[name][4].startswith("practice: ")
    assert row(path, "")[4].startswith("practice: ")
    assert run("answer", name).exit_code == 0
    assert "both-lean-fades" in run("sessions", "practice").stdout
    assert "hose hisses" in row(path, "")[4]
    assert verify(path).state is State.WHOLE
    size = path.stat().st_size
    assert run("answer", name).exit_code == 0
    assert path.stat().st_size == size


def test_an_answer_is_told_where_it_cannot_be_noted(run: Any, tmp_path: Path) -> None:
    """A practice that was not closed in good order still has its answer."""
    lines = gzip.decompress(shipped()["unmetered-air"].read_bytes()).splitlines(True)
    path = tmp_path / "2031-05-02-101500-practice.jsonl"
    path.write_bytes(b"".join(lines[:500]))
    told = run("answer", path.stem)
    assert told.exit_code == 0
    assert "to be found" in told.stdout
    assert "was not closed in good order" in told.stderr


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
