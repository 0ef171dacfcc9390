"""A survey: one row a session, resumable, the same on cores and on a cluster."""

from __future__ import annotations

import shutil
import warnings
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from bankwise.adapters.survey_row import empty_row, survey_row, survey_rows
from bankwise.replay_logs import shipped
from bankwise.signals.thresholds import DEFAULTS
from bankwise.tui.errors import CommandError

SMALL = "thermostat-open"
"""The shipped session with the fewest exchanges: its car has a slow bus."""


@pytest.fixture(name="fleet")
def _fleet(tmp_path: Path) -> Path:
    folder = tmp_path / "fleet"
    (folder / "north").mkdir(parents=True)
    for number in range(3):
        shutil.copy(shipped()[SMALL], folder / "north" / f"{number}.jsonl.gz")
    (folder / "bad.jsonl").write_text("no session\n")
    return folder


def _in_turn(files: Sequence[str]) -> Iterator[list[dict[str, Any]]]:
    for file in files:
        yield survey_rows([file])


def _table(out: Path) -> list[dict[str, Any]]:
    import pyarrow.parquet as pq

    rows: list[dict[str, Any]] = pq.read_table(out).to_pylist()
    return sorted(rows, key=lambda row: str(row["file"]))


def test_bad_file_is_a_row(fleet: Path) -> None:
    """A file that is no session gives a row with an error and every column."""
    row = survey_row(str(fleet / "bad.jsonl"))
    assert "SessionError" in row["error"]
    assert set(row) == set(empty_row(""))
    assert survey_row(str(fleet / "gone.jsonl"))["error"]


def test_resumed(fleet: Path, tmp_path: Path) -> None:
    """What was judged is not judged again, until its file changes or goes."""
    pytest.importorskip("pyarrow")
    from bankwise.tui.survey import survey

    out = tmp_path / "out"
    assert survey(fleet, out, _in_turn) == (4, 1)
    first = _table(out)
    assert survey(fleet, out, _in_turn) == (0, 1)
    assert _table(out) == first
    other = DEFAULTS.with_changes({"trim_add_pct": 7.0})
    assert survey(fleet, out, _in_turn, thresholds=other)[0] == 4
    survey(fleet, out, _in_turn)
    (fleet / "bad.jsonl").unlink()
    shutil.copy(shipped()[SMALL], fleet / "again.jsonl.gz")
    assert survey(fleet, out, _in_turn) == (1, 0)
    assert len(_table(out)) == 4
    assert survey(fleet, out, _in_turn, again=True) == (4, 0)


def test_interrupted(fleet: Path, tmp_path: Path) -> None:
    """An interruption keeps the rows that were there, and the rest is done later."""
    pytest.importorskip("pyarrow")
    from bankwise.tui.survey import survey

    def stops(files: Sequence[str]) -> Iterator[list[dict[str, Any]]]:
        yield from list(_in_turn(files))[:2]
        raise KeyboardInterrupt

    out = tmp_path / "out"
    with pytest.raises(KeyboardInterrupt):
        survey(fleet, out, stops)
    assert len(_table(out)) == 2
    assert survey(fleet, out, _in_turn)[0] == 2
    assert len(_table(out)) == 4


def test_cores_and_cluster_agree(fleet: Path, tmp_path: Path) -> None:
    """Two cores and a cluster give the rows that one process gives."""
    pytest.importorskip("pyarrow")
    distributed = pytest.importorskip("distributed")
    from bankwise.tui.survey import on_cluster, on_cores, survey

    for number in range(9):
        shutil.copy(shipped()[SMALL], fleet / f"{number}.jsonl.gz")
    survey(fleet, tmp_path / "one", _in_turn)
    survey(fleet, tmp_path / "cores", on_cores(2))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the cluster's own, about ports and sockets
        with distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, dashboard_address=None
        ) as cluster:
            survey(fleet, tmp_path / "cluster", on_cluster(cluster.scheduler_address))
    assert _table(tmp_path / "cores") == _table(tmp_path / "one")
    assert _table(tmp_path / "cluster") == _table(tmp_path / "one")


def test_nothing_there(tmp_path: Path) -> None:
    """A folder that is none, and a cluster that is none, are said in one line."""
    pytest.importorskip("pyarrow")
    from bankwise.tui.survey import survey

    with pytest.raises(CommandError, match="is no folder"):
        survey(tmp_path / "gone", tmp_path / "out", _in_turn)
