"""A person's own limits: read from one file, said wherever they decide."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from bankwise.signals.thresholds import DEFAULTS
from bankwise.tui.commands_check import app
from bankwise.tui.commands_report import app as report_app
from bankwise.tui.errors import CommandError
from bankwise.tui.limits import VARIABLE, changed_words, in_force, limits_file


@pytest.fixture(name="own")
def _own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A limits file that the environment names."""
    path = tmp_path / "thresholds.toml"
    monkeypatch.setenv(VARIABLE, str(path))
    return path


def test_without_a_file_the_shipped_limits_hold(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No file, no change, and the place it would be in is told."""
    monkeypatch.delenv(VARIABLE, raising=False)
    monkeypatch.setattr("bankwise.tui.limits.user_config_path", lambda _: tmp_path)
    assert in_force() is DEFAULTS
    assert limits_file() == tmp_path / "thresholds.toml"


def test_a_changed_limit_is_in_force_and_remembers_the_shipped_one(own: Path) -> None:
    """The value decides, and words name both."""
    own.write_text("trim_add_pct = 8\n")
    limits = in_force()
    assert limits["trim_add_pct"] == 8.0
    assert changed_words(limits) == ("trim_add_pct 8 %, shipped 10",)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("trim_ad_pct = 8", "trim_ad_pct"),
        ("trim_add_pct = 'eight'", "must be a number"),
        ("trim_add_pct = ", "Invalid value"),
        ("trim_add_pct = inf", "finite"),
    ],
)
def test_a_file_that_cannot_be_used_is_one_plain_line(
    own: Path, text: str, why: str
) -> None:
    """The line names the file and what is wrong with it."""
    own.write_text(text)
    with pytest.raises(CommandError, match=why) as caught:
        in_force()
    assert str(own) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_named_file_that_is_missing_is_an_error(own: Path) -> None:
    """Limits somebody asked for are not silently left out."""
    assert not own.exists()
    with pytest.raises(CommandError, match="No such file"):
        in_force()


def test_check_and_report_show_what_was_changed(own: Path, tmp_path: Path) -> None:
    """A limit that no trim can pass silences its flag, and both say it was changed."""
    own.write_text("")
    shipped = CliRunner().invoke(app, ["unmetered-air", "--json"])
    own.write_text("trim_add_pct = 60\n")
    changed = CliRunner().invoke(app, ["unmetered-air", "--json"])
    before = {flag["id"] for flag in json.loads(shipped.output)["flags"]}
    assert "both-lean-fades" in before
    found = json.loads(changed.output)
    assert found["session"]["limits_changed"] == {"trim_add_pct": 60.0}
    assert "both-lean-fades" not in {flag["id"] for flag in found["flags"]}
    text = CliRunner().invoke(app, ["unmetered-air"]).output
    assert "trim_add_pct 60 %, shipped 10" in text
    page = tmp_path / "page.html"
    CliRunner().invoke(report_app, ["unmetered-air", "-o", str(page)])
    assert "trim_add_pct" in page.read_text(encoding="utf-8")
