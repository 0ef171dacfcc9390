"""A definition file over real TCP: recorded, exported, and refused when it is wrong."""

from __future__ import annotations

import csv
import subprocess
from pathlib import Path
from typing import Protocol

from bankwise.adapters.car.maker_values import EXAMPLE


class Bench(Protocol):
    """What these tests use of the bench."""

    folder: Path

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Runs a command to its end."""
        ...

    def car(self, story: str, *options: str) -> tuple[subprocess.Popen[str], str]:
        """Serves a simulated car."""
        ...


def test_maker_values_are_recorded_and_exported(bench: Bench) -> None:
    """The session alone gives the values with their unit; the file is not needed."""
    mine = bench.folder / "mine.toml"
    mine.write_bytes(EXAMPLE.read_bytes())
    _, port = bench.car("healthy", "--listen=127.0.0.1:0", "--faster", "6")
    done = bench.run(
        "record", "--port", port, "--faster", "6", "--for", "30", "-o", "d.jsonl",
        "--definitions", str(mine),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    mine.unlink()
    done = bench.run("export", "d.jsonl", "--to", "csv", "-o", "d.csv")
    assert done.returncode == 0, done.stderr
    with (bench.folder / "d.csv").open(encoding="utf-8", newline="") as file:
        units = {row["signal"]: row["unit"] for row in csv.DictReader(file)}
    assert units["cam_actual_b2_deg"] == "°"
    assert units["oil_pressure_kpa"] == "kPa"


def test_a_wrong_definition_file_opens_nothing(bench: Bench) -> None:
    """One line with file and line number; no port is touched, no session made."""
    (bench.folder / "bad.toml").write_text('[[value]]\nname = "x"\nservice = 31\n')
    done = bench.run(
        "record", "--port", "socket://127.0.0.1:9", "--definitions", "bad.toml"
    )
    assert done.returncode != 0
    assert "bad.toml:2: name must be small letters" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(bench.folder.glob("*.jsonl"))
