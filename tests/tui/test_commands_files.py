"""`import` and `export` from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from bankwise.adapters.errors import ImportFault
from bankwise.adapters.session_file import read_session
from bankwise.tui.commands_files import app

TABLE = "t,n\n0,800\n1,805\n2,810\n9,820\n"
MAP = '[time]\ncolumn = "t"\n[signals.rpm]\ncolumn = "n"\n'


def test_a_table_goes_in_and_comes_out_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Imported and exported again, the values are those of the table."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path / "sessions"))
    Path("a.csv").write_text(TABLE)
    Path("a.toml").write_text(MAP)
    runner = CliRunner()
    done = runner.invoke(app, ["import", "a.csv", "--map", "a.toml", "-o", "a.jsonl"])
    assert done.exit_code == 0, done.output
    assert "rpm: 4 values" in done.output
    assert "no rows from 0:02 to 0:09" in done.output
    assert read_session("a.jsonl").warnings == ()
    done = runner.invoke(app, ["export", "a.jsonl", "--to", "csv", "-o", "b.csv"])
    assert done.exit_code == 0, done.output
    assert Path("b.csv").read_text("utf-8").splitlines() == [
        "t_s,signal,value,unit",
        "0.5000,rpm,800,rpm",
        "1.5000,rpm,805,rpm",
        "2.5000,rpm,810,rpm",
        "9.5000,rpm,820,rpm",
    ]


def test_a_missing_table_is_one_plain_fault(tmp_path: Path) -> None:
    """What is not there is named, and nothing is made."""
    (tmp_path / "a.toml").write_text(MAP)
    done = CliRunner().invoke(
        app,
        [
            "import",
            str(tmp_path / "none.csv"),
            "--map",
            str(tmp_path / "a.toml"),
            "-o",
            str(tmp_path / "o.jsonl"),
        ],
    )
    assert isinstance(done.exception, ImportFault)
    assert "none.csv" in str(done.exception)
    assert not (tmp_path / "o.jsonl").exists()


@pytest.mark.parametrize(
    ("given", "made"),
    [
        ((), "thermostat-open.csv"),
        (("-o", "wide.CSV"), "wide.CSV"),
        (("-o", "anything"), "anything"),
        (("-o", "a.parquet"), "a.parquet"),
        (("--to", "csv", "-o", "b.parquet"), "b.parquet"),
    ],
)
def test_the_format_follows_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, given: tuple[str, ...], made: str
) -> None:
    """Without --to the ending decides; where it says nothing, it is CSV."""
    if made == "a.parquet":
        pytest.importorskip("pyarrow")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BANKWISE_SESSIONS", str(tmp_path / "sessions"))
    done = CliRunner().invoke(app, ["export", "thermostat-open", *given])
    assert done.exit_code == 0, done.output
    beginning = Path(made).read_bytes()[:4]
    assert beginning == (b"PAR1" if made == "a.parquet" else b"t_s,")
