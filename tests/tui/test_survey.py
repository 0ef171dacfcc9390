"""A survey: one row a session, resumable, the same on cores and on a cluster."""

from __future__ import annotations

import multiprocessing
import os
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
    assert row["error"].endswith("bad.jsonl is not a session file")
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


def test_a_name_that_is_no_text_is_a_row(tmp_path: Path) -> None:
    """Its bytes are shown by their numbers, and it is not judged a second time."""
    pytest.importorskip("pyarrow")
    from bankwise.tui.survey import survey

    folder, out = tmp_path / "fleet", tmp_path / "out"
    folder.mkdir()
    try:
        Path(os.fsdecode(os.fsencode(folder) + b"/\xff.jsonl")).write_text("none\n")
    except OSError:
        pytest.skip("this file system takes only names that are text")
    assert survey(folder, out, _in_turn) == (1, 1)
    (row,) = _table(out)
    assert str(row["file"]).endswith("\\udcff.jsonl")
    assert survey(folder, out, _in_turn) == (0, 1)


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


class _Dies:
    """Ends the process that unpickles it, as a lack of memory would."""

    def __reduce__(self) -> tuple[Any, ...]:
        return os._exit, (1,)

    def __call__(self, files: Sequence[str]) -> list[dict[str, Any]]:
        """Never reached in another process."""
        raise AssertionError(files)


def test_a_process_that_dies_costs_no_session(fleet: Path, tmp_path: Path) -> None:
    """Killed in the middle of a survey, a process loses nothing: files are redone."""
    pytest.importorskip("pyarrow")
    from bankwise.tui.survey import on_cores, survey

    for number in range(20):
        (fleet / f"bad-{number}.jsonl").write_text("no session\n")
    work = on_cores(2)
    killed: list[object] = []

    def cruel(files: Sequence[str]) -> Iterator[list[dict[str, Any]]]:
        for rows in work(files):
            yield rows
            if not killed and (children := multiprocessing.active_children()):
                children[0].kill()
                children[0].join()
                killed.append(children[0])

    assert survey(fleet, tmp_path / "out", cruel) == (24, 21)
    assert killed
    rows = _table(tmp_path / "out")
    assert len({row["file"] for row in rows}) == len(rows) == 24
    assert not any("died" in (row["error"] or "") for row in rows)


def test_a_session_that_kills_its_process_is_a_row(fleet: Path) -> None:
    """A file that ends even a process of its own is named, with size and reason."""
    pytest.importorskip("pyarrow")
    from bankwise.tui.survey import _alone, _in_pool

    file, lost = str(fleet / "bad.jsonl"), list[str]()
    assert list(_in_pool(_Dies(), iter([[file]]), 2, lost)) == []
    assert lost == [file]
    (row,) = _alone(_Dies(), file, DEFAULTS)
    assert row["error"].startswith("the process that read it died")
    assert row["size"] == 11
    assert set(row) == set(empty_row(""))


def test_a_torn_part_is_judged_again(fleet: Path, tmp_path: Path) -> None:
    """A part that a crash left without an end is replaced, not tripped over."""
    pytest.importorskip("pyarrow")
    from bankwise.tui.survey import survey

    out = tmp_path / "out"
    survey(fleet, out, _in_turn)
    (part,) = out.glob("*.parquet")
    part.write_bytes(part.read_bytes()[:-9])
    (out / "part-x.half").write_bytes(b"half")
    assert survey(fleet, out, _in_turn) == (4, 1)
    assert len(_table(out)) == 4
    assert not list(out.glob("*.half"))


def test_a_clusters_failure_is_a_row(
    fleet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A chunk that fails on a cluster is split until only the bad file is left."""
    pytest.importorskip("pyarrow")
    distributed = pytest.importorskip("distributed")
    from bankwise.tui import survey as surveying

    def rows(files: Sequence[str], thresholds: object) -> list[dict[str, Any]]:
        if any("bad" in file for file in files):
            raise MemoryError("too big a file")
        return [{"file": file, "error": None} for file in files]

    monkeypatch.setattr(surveying, "survey_rows", rows)
    files = sorted(str(path) for path in fleet.rglob("*.jsonl*"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the cluster's own, about ports and sockets
        with distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, dashboard_address=None
        ) as cluster:
            work = surveying.on_cluster(cluster.scheduler_address)
            found = [row for some in work(files) for row in some]
    assert sorted(row["file"] for row in found) == files
    assert [row["error"] for row in found if row["error"]] == ["too big a file"]


def test_nothing_there(tmp_path: Path) -> None:
    """A folder that is none, and a cluster that is none, are said in one line."""
    pytest.importorskip("pyarrow")
    from bankwise.tui.survey import survey

    with pytest.raises(CommandError, match="is no folder"):
        survey(tmp_path / "gone", tmp_path / "out", _in_turn)
