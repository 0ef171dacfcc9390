"""Surveys a folder of sessions: one Parquet row each, resumable, on cores or a cluster.

The result is a folder of Parquet files that any reader takes as one table. A part is
complete before it gets its name, so an interrupted survey loses at most the rows of the
part that was not finished.
"""

from __future__ import annotations

import os
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from functools import partial
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from bankwise.adapters.library import SUFFIXES
from bankwise.adapters.survey_row import changed_limits, survey_rows
from bankwise.signals.thresholds import DEFAULTS, Thresholds
from bankwise.tui.checking import ignore_interrupts
from bankwise.tui.errors import CommandError

Rows = list[dict[str, Any]]
Work = Callable[[Sequence[str]], Iterator[Rows]]
"""Judges files and gives their rows, some at a time, in any order."""

CHUNK = 8
"""Files handed to one process at once. Our choice: seconds of work, so that progress
shows and an interruption costs little."""
PART_ROWS = 500
PART_S = 60.0
"""A part is closed after so many rows or seconds. Our choice."""
_AHEAD = 4
"""Chunks a core that wait in line: hundreds of thousands would fill the memory."""

_FLAG = pa.struct(
    [
        ("id", pa.string()),
        ("about", pa.string()),
        ("severity", pa.string()),
        ("first_s", pa.float64()),
        ("last_s", pa.float64()),
        ("total_s", pa.float64()),
    ]
)
SCHEMA = pa.schema(
    [
        ("file", pa.string()),
        ("size", pa.int64()),
        ("mtime_ns", pa.int64()),
        ("program", pa.string()),
        ("changed_limits", pa.list_(pa.string())),
        ("id", pa.string()),
        ("started", pa.string()),
        ("seconds", pa.float64()),
        ("exchanges", pa.int64()),
        ("dropped_lines", pa.int64()),
        ("vin", pa.string()),
        ("car", pa.string()),
        ("note", pa.string()),
        ("adapter", pa.string()),
        ("protocol", pa.string()),
        ("codes", pa.list_(pa.string())),
        ("flags", pa.list_(_FLAG)),
        ("explanation", pa.string()),
        ("explanation_about", pa.string()),
        ("explanation_share", pa.float64()),
        ("figures", pa.string()),
        ("cannot_tell", pa.list_(pa.string())),
        ("error", pa.string()),
    ]
)


def on_cores(cores: int | None = None, thresholds: Thresholds = DEFAULTS) -> Work:
    """Work on this machine's cores."""
    count = cores or os.cpu_count() or 1
    rows = partial(survey_rows, thresholds=thresholds)

    def work(files: Sequence[str]) -> Iterator[Rows]:
        if count == 1 or len(files) <= CHUNK:
            yield from map(rows, _chunks(files))
            return
        chunks = _chunks(files)
        pool = ProcessPoolExecutor(count, get_context("spawn"), ignore_interrupts)
        try:
            waiting: set[Future[Rows]] = set()
            for chunk in chunks:
                waiting.add(pool.submit(rows, chunk))
                if len(waiting) >= count * _AHEAD:
                    done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                    yield from (future.result() for future in done)
            while waiting:
                done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                yield from (future.result() for future in done)
        finally:
            pool.shutdown(cancel_futures=True)

    return work


def on_cluster(address: str, thresholds: Thresholds = DEFAULTS) -> Work:
    """Work on a Dask cluster whose workers see the same files.

    Args:
        address: of its scheduler, such as `tcp://scheduler:8786`.
        thresholds: the limits to judge by.

    Raises:
        CommandError: when the extra is missing or nothing answers there.
    """
    try:
        from distributed import Client, as_completed
    except ImportError:
        raise CommandError(
            "a cluster needs an extra: pip install 'bankwise[fleet]'"
        ) from None

    rows = partial(survey_rows, thresholds=thresholds)

    def work(files: Sequence[str]) -> Iterator[Rows]:
        try:
            client = Client(address, timeout=10)
        except (OSError, ValueError) as error:
            raise CommandError(f"no cluster at {address}: {error}") from None
        with client:
            workers: Any = client.nthreads()  # a coroutine only in asynchronous use
            threads = sum(workers.values()) or 1
            chunks = _chunks(files)
            running = as_completed()
            for _ in range(threads * _AHEAD):
                chunk = next(chunks, None)
                if chunk is None:
                    break
                running.add(client.submit(rows, chunk, pure=False))
            for future in running:
                yield future.result()
                chunk = next(chunks, None)
                if chunk is not None:
                    running.add(client.submit(rows, chunk, pure=False))

    return work


def survey(
    folder: Path,
    out: Path,
    work: Work,
    *,
    thresholds: Thresholds = DEFAULTS,
    again: bool = False,
    tell: Callable[[int, int], None] = lambda _done, _of: None,
) -> tuple[int, int]:
    """Brings a survey of a folder up to date.

    Files that have not changed since this version of the program judged them are not
    read again.

    Args:
        folder: looked through with all its sub-folders.
        out: folder of the Parquet files.
        work: what judges the files.
        thresholds: the limits that `work` judges by; rows by others are done anew.
        again: judge every file anew.
        tell: called with how many of how many files are done.

    Returns:
        Files judged now, and rows with an error in the whole survey.

    Raises:
        CommandError: when the folder cannot be read or the survey not be written.
    """
    files = _files(folder, out)
    try:
        out.mkdir(parents=True, exist_ok=True)
        kept = [] if again else _kept(out, files, changed_limits(thresholds))
        due = sorted(files.keys() - {row["file"] for row in kept})
        _rewrite(out, kept)
        waiting: Rows = []
        since = time.monotonic()
        done = 0
        try:
            for rows in work(due):
                waiting += rows
                done += len(rows)
                tell(done, len(due))
                if len(waiting) >= PART_ROWS or time.monotonic() - since >= PART_S:
                    _write(out, waiting)
                    waiting, since = [], time.monotonic()
        finally:
            _write(out, waiting)
        errors = (
            pq.read_table(out, columns=["error"])
            if any(out.glob("*.parquet"))
            else None
        )
    except OSError as error:
        raise CommandError(
            f"{error.filename or out}: {error.strerror or error}"
        ) from None
    found = 0 if errors is None else len(errors) - errors["error"].null_count
    return done, found


def _files(folder: Path, out: Path) -> dict[str, tuple[int, int]]:
    if not folder.is_dir():
        raise CommandError(f"{folder} is no folder")
    found = {}
    for path in folder.rglob("*"):
        if path.name.endswith(SUFFIXES) and out not in path.parents and path.is_file():
            state = path.stat()
            found[str(path.resolve())] = (state.st_size, state.st_mtime_ns)
    return found


def _kept(out: Path, files: dict[str, tuple[int, int]], limits: list[str]) -> Rows:
    """Rows of an earlier survey that still hold."""
    if not any(out.glob("*.parquet")):
        return []
    program = version("bankwise")
    rows: Rows = pq.read_table(out, schema=SCHEMA).to_pylist()
    return [
        row
        for row in rows
        if files.get(row["file"]) == (row["size"], row["mtime_ns"])
        and row["program"] == program
        and row["changed_limits"] == limits
    ]


def _rewrite(out: Path, kept: Rows) -> None:
    """Leaves only the rows that hold; the old parts go when the new one is there."""
    old = sorted(out.glob("*.parquet"))
    if sum(pq.read_metadata(path).num_rows for path in old) == len(kept):
        return
    _write(out, kept)
    for path in old:
        path.unlink()


def _write(out: Path, rows: Rows) -> None:
    if not rows:
        return
    part = out / f"part-{uuid.uuid4().hex}.parquet"
    half = part.with_suffix(".half")
    pq.write_table(pa.Table.from_pylist(rows, schema=SCHEMA), half)
    half.replace(part)


def _chunks(files: Sequence[str]) -> Iterator[list[str]]:
    for start in range(0, len(files), CHUNK):
        yield list(files[start : start + CHUNK])
