"""The examples of `--help` are tried: a person copies them."""

from __future__ import annotations

import gzip
import re
import shlex
from pathlib import Path
from random import Random

import pytest
from typer.testing import CliRunner

from bankwise.adapters.errors import AdapterError
from bankwise.replay_logs import shipped
from bankwise.tui.errors import CommandError
from bankwise.tui.main import app
from bankwise.tui.practice import lay_out

_SERVES = re.compile(r"bankwise (car|serve) ")
"""Examples that go on until they are ended; the end-to-end tests run such."""


def _examples() -> list[str]:
    found = []
    for group in app.registered_groups:
        assert group.typer_instance is not None
        for command in group.typer_instance.registered_commands:
            text = re.sub(r"\s+", " ", command.epilog or "")
            found += re.findall(r"bankwise [^;]*[^;,]", text.partition("Example: ")[2])
    return [re.split(r", then| then ", one)[0] for one in found]


def test_there_are_examples() -> None:
    """One a command at least."""
    assert len(_examples()) >= 23


@pytest.mark.parametrize(
    "example", [one for one in _examples() if not _SERVES.match(one)]
)
def test_an_example_works(
    example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With files of those names it is done; without a car it ends at the missing car.

    What it never meets is a fault of usage, or a session that is not there.
    """
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    plain = gzip.decompress(shipped()["unmetered-air"].read_bytes())
    later = gzip.decompress(shipped()["unmetered-air-repaired"].read_bytes())
    (tmp_path / "drives").mkdir()
    (tmp_path / "fleet").mkdir()
    for place in ("monday.jsonl", "tuesday.jsonl", "drives/a.jsonl", "fleet/a.jsonl"):
        (tmp_path / place).write_bytes(plain)
    (tmp_path / "friday.jsonl").write_bytes(later)
    (tmp_path / "drive.csv").write_text("time,rpm\n0,800\n1,810\n2,805\n")
    (tmp_path / "drive.toml").write_text(
        '[time]\ncolumn = "time"\n[signals.rpm]\ncolumn = "rpm"\n'
    )
    if "--draft" in example:
        (tmp_path / "drive.toml").unlink()
    lay_out(tmp_path, Random(1))
    told = example.replace("~", str(tmp_path)).replace("192.168.0.10", "127.0.0.1")
    told = told.replace("35000", "1")
    done = CliRunner().invoke(app, shlex.split(told)[1:])
    if isinstance(done.exception, AdapterError | CommandError):
        reason = str(done.exception)
        for accepted in (
            "there is no /dev",
            "nothing listens",
            "terminal",
            "bankwise[",
        ):
            if accepted in reason:
                return
        assert "--on" in example, reason
        return
    assert done.exit_code in (0, 1), done.output
