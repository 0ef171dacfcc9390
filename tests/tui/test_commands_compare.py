"""The commands `compare` and `report` on shipped sessions, as a person runs them."""

from __future__ import annotations

import errno
import gzip
import json
import os
from pathlib import Path

import pytest
from typer.testing import CliRunner

from bankwise.replay_logs import shipped
from bankwise.tui import commands_compare, commands_report
from bankwise.tui.errors import CommandError

COLD = "thermostat-open"
"""The shipped drive that is read fastest."""


def another(folder: Path) -> str:
    """The same drive under another identity, as if it had been driven again."""
    lines = gzip.decompress(shipped()[COLD].read_bytes())
    header = json.loads(lines.split(b"\n", 1)[0])
    copy = folder / "again.jsonl"
    copy.write_bytes(lines.replace(header["id"].encode(), b"another", 1))
    return str(copy)


def test_a_recording_against_itself_is_refused() -> None:
    """One file named twice is one plain line."""
    told = CliRunner().invoke(commands_compare.app, [COLD, COLD])
    assert isinstance(told.exception, CommandError)
    assert "are the same recording" in str(told.exception)


def test_an_unchanged_drive_shows_what_is_still_there(tmp_path: Path) -> None:
    """As JSON: every flag is `still`, no trim changed, and nothing is proven."""
    words = [COLD, another(tmp_path), "--json"]
    told = CliRunner().invoke(commands_compare.app, words)
    assert told.exit_code == 1
    made = json.loads(told.output)
    assert made["verdict"] == "not proven yet"
    assert made["flag"] == "repair-not-proven"
    assert {flag["change"] for flag in made["flags"]} <= {"still"}
    assert made["cells"]
    assert all(cell["before"] == cell["after"] for cell in made["cells"])
    assert all(row["before"] == row["after"] for row in made["figures"])
    assert made["tests"] == []


def test_the_shipped_pair_is_a_proven_repair() -> None:
    """The hatchback before and after its hose: codes and trims gone, status 0."""
    words = ["unmetered-air", "unmetered-air-repaired"]
    told = CliRunner().invoke(commands_compare.app, words)
    assert told.exit_code == 0, told.output
    assert "REPAIR PROVEN" in told.output
    assert "codes gone: P0171" in told.output
    assert "gone       act   engine both-lean-fades" in told.output
    assert "6 of 7 shared cells were held long enough after" in told.output
    assert "wide-open" not in told.output  # 9.5 s and 10 s: both hold some
    back = CliRunner().invoke(commands_compare.app, words[::-1])
    assert back.exit_code == 1
    assert "WORSE" in back.output
    assert "are they swapped?" in back.output


def test_what_is_odd_about_a_file_is_said(tmp_path: Path) -> None:
    """A drive cut short is compared as far as it goes, and the reader is told."""
    data = shipped()["unmetered-air"].read_bytes()
    path = tmp_path / "half.jsonl.gz"
    path.write_bytes(data[: len(data) // 2])
    words = [str(path), "unmetered-air-repaired"]
    told = CliRunner().invoke(commands_compare.app, words)
    assert "the file of the drive before: the packed file is cut short" in told.output


def test_two_cars_are_refused_in_one_line() -> None:
    """Different VINs are no pair."""
    told = CliRunner().invoke(commands_compare.app, [COLD, "front-sensor-unplugged"])
    assert isinstance(told.exception, CommandError)
    assert "two different cars" in str(told.exception)


def test_a_report_with_an_earlier_drive_is_written(tmp_path: Path) -> None:
    """One page, with the verdict, and the VIN masked on request."""
    target = tmp_path / "page.html"
    words = [COLD, "--before", another(tmp_path), "-o", str(target), "--mask-vin"]
    told = CliRunner().invoke(commands_report.app, words)
    assert told.exit_code == 0, told.output
    text = target.read_text("utf-8")
    assert "Before and after the repair" in text
    assert "Not proven yet" in text
    assert "<script" not in text
    assert str(target) in told.output


def test_a_report_of_a_file_whose_name_is_no_text(tmp_path: Path) -> None:
    """Such a name is shown as well as it can be; the page is written all the same."""
    path = Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff.jsonl.gz"))
    try:
        path.write_bytes(shipped()[COLD].read_bytes())
    except OSError:
        pytest.skip("this file system takes only names that are text")
    target = tmp_path / "page.html"
    told = CliRunner().invoke(commands_report.app, [str(path), "-o", str(target)])
    assert told.exit_code == 0, told.exception
    assert "?.jsonl.gz" in target.read_text("utf-8")


def test_a_report_of_a_damaged_file_says_so(tmp_path: Path) -> None:
    """What was odd about the file stands on the page and on the terminal."""
    data = shipped()[COLD].read_bytes()
    path, target = tmp_path / "half.jsonl.gz", tmp_path / "page.html"
    path.write_bytes(data[: len(data) // 2])
    told = CliRunner().invoke(commands_report.app, [str(path), "-o", str(target)])
    assert told.exit_code == 0
    assert f"bankwise: {path}: the packed file is cut short" in told.stderr
    assert "the packed file is cut short" in target.read_text("utf-8")


@pytest.mark.parametrize("name", ["no-such-drive", ""])
def test_a_missing_drive_is_named(name: str) -> None:
    """A name that leads nowhere is one line, not a traceback."""
    told = CliRunner().invoke(commands_report.app, [name])
    assert told.exit_code != 0
    assert told.exception is not None
    assert "\n" not in str(told.exception)


def test_a_report_does_not_overwrite_its_session(tmp_path: Path) -> None:
    """The page is refused where the drive lies."""
    drive = tmp_path / "drive.jsonl"
    drive.write_text("{}")
    told = CliRunner().invoke(commands_report.app, [str(drive), "-o", str(drive)])
    assert isinstance(told.exception, CommandError)
    assert drive.read_text() == "{}"


def test_an_interrupted_report_leaves_the_old_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that fills while the page is written costs nothing that was there."""
    target = tmp_path / "page.html"
    target.write_text("the old page")

    def full(path: Path, *_: object, **__: object) -> int:
        path.touch()
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))

    monkeypatch.setattr(Path, "write_text", full)
    told = CliRunner().invoke(commands_report.app, [COLD, "-o", str(target)])
    assert isinstance(told.exception, CommandError)
    assert str(told.exception) == f"{target}: {os.strerror(errno.ENOSPC)}"
    assert target.read_text() == "the old page"
    assert list(tmp_path.iterdir()) == [target]
