"""The command line as a whole: help, start-up, and what it does not load."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from bankwise.tui.command_groups import SITUATIONS
from bankwise.tui.main import app

COMMANDS = sorted(
    command.name or getattr(command.callback, "__name__", "")
    for group in app.registered_groups
    if group.typer_instance is not None
    for command in group.typer_instance.registered_commands
)


def test_every_promised_command_is_there() -> None:
    """No command gets lost; the whole list, by name."""
    assert set(COMMANDS) == {
        "answer", "car", "check", "clear", "codes", "compare", "demo", "drive",
        "export", "import", "note", "pack", "ports", "probe", "record", "replay",
        "report", "serve", "sessions", "stories", "survey", "verify", "watch",
    }  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS)
def test_help_has_an_example(command: str) -> None:
    """Every command explains itself and shows how it is called."""
    done = CliRunner().invoke(app, [command, "--help"])
    assert done.exit_code == 0
    assert f"Example: bankwise {command}" in re.sub(r"\s+", " ", done.stdout)


def test_summaries_are_whole() -> None:
    """No command's line in the list of commands is cut off."""
    text = CliRunner().invoke(app, ["--help"]).stdout
    listed = text.partition(next(iter(SITUATIONS)))[2]
    for command in COMMANDS:
        assert len(re.findall(rf"^  {command}  ", listed, re.MULTILINE)) == 1
    assert "..." not in listed
    assert all(f"{situation}:" in text for situation in SITUATIONS)


def test_every_command_has_its_situation() -> None:
    """Each command stands under one situation, and none is made up."""
    placed = [name for names in SITUATIONS.values() for name in names]
    assert sorted(placed) == COMMANDS


def test_help_is_quick() -> None:
    """Help comes without loading the engine, the adapters or the screen."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "bankwise.tui.main", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = {line.split("|")[-1].strip() for line in done.stderr.splitlines()}
    assert loaded.isdisjoint({"numpy", "textual", "obd", "serial", "msgspec"})


def test_check_never_loads_the_screen() -> None:
    """`check` works where there is no screen library at all."""
    code = (
        "import sys\n"
        "sys.modules['textual'] = None\n"
        "sys.argv = ['bankwise', 'check', 'thermostat-open']\n"
        "from bankwise.tui.main import main\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "thermostat-open" in done.stdout


def test_stories_lists_both() -> None:
    """Stories and shipped sessions are listed, a line each."""
    from bankwise.adapters.car.stories import STORIES
    from bankwise.replay_logs import shipped

    lines = CliRunner().invoke(app, ["stories"]).stdout.splitlines()
    first = [line.split()[0] for line in lines if line.startswith("  ")]
    assert first == [*STORIES, *shipped()]
    assert max(map(len, lines)) < 120


def test_cautions_stand_in_the_readme() -> None:
    """The README's cautions are the program's own, word for word."""
    from bankwise.signals.cautions import CAUTIONS

    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    flat = re.sub(r"\s+", " ", readme)
    assert [key for key, text in CAUTIONS.items() if text not in flat] == []
