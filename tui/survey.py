"""Surveys a folder of sessions: one Parquet row each, resumable, on cores or a cluster.

The result is a folder of Parquet files that any reader takes as one table. A part is
complete before it gets its name, so an interrupted survey loses at most the rows of the
part that was not finished.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from functools import partial
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from bankwise.adapters.library import SUFFIXES
from bankwise.adapters.survey_row import changed_limits, failed_row, survey_rows
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
    """Work on this machine's cores.

    Files in the hands of a process that dies, for want of memory say, are tried once
    more, each in a process of its own; what dies again is a row with an error.
    """
    count = cores or os.cpu_count() or 1
    rows = partial(survey_rows, thresholds=thresholds)

    def work(files: Sequence[str]) -> Iterator[Rows]:
        if count == 1 or len(files) <= CHUNK:
            yield from map(rows, _chunks(files))
            return
        lost: list[str] = []
        chunks = _chunks(files)
        while chunk := next(chunks, None):
            yield from _in_pool(rows, itertools.chain([chunk], chunks), count, lost)
            while lost:
                yield _alone(rows, lost.pop(), thresholds)

    return work


def _in_pool(
    rows: Callable[[Sequence[str]], Rows],
    chunks: Iterator[list[str]],
    count: int,
    lost: list[str],
) -> Iterator[Rows]:
    """Rows of chunks until they end or a process dies; `lost` gets what it held."""
    pool = _processes(count)
    waiting: dict[Future[Rows], list[str]] = {}
    chunk: list[str] = []
    try:
        while not lost:
            for chunk in itertools.islice(chunks, count * _AHEAD - len(waiting)):
                waiting[pool.submit(rows, chunk)] = chunk
            if not waiting:
                return
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                chunk = waiting.pop(future)
                try:
                    yield future.result()
                except BrokenExecutor:
                    lost += chunk
    except BrokenExecutor:  # it died while another chunk was handed in
        lost += chunk
    finally:
        pool.shutdown(cancel_futures=True)
    for chunk in waiting.values():
        lost += chunk


def _alone(
    rows: Callable[[Sequence[str]], Rows], file: str, thresholds: Thresholds
) -> Rows:
    pool = _processes(1)
    try:
        return pool.submit(rows, [file]).result()
    except BrokenExecutor:
        why = "the process that read it died; was there memory enough?"
        return [failed_row(file, why, thresholds)]
    finally:
        pool.shutdown(cancel_futures=True)


def _processes(count: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(count, get_context("spawn"), ignore_interrupts)


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
            held: dict[Any, list[str]] = {}
            running = as_completed()

            def hand_out(chunk: list[str]) -> None:
                future = client.submit(rows, chunk, pure=False)
                held[future] = chunk
                running.add(future)

            for chunk in itertools.islice(chunks, threads * _AHEAD):
                hand_out(chunk)
            for future in running:
                chunk = held.pop(future)
                why = future.exception()
                if why is None:
                    yield future.result()
                elif len(chunk) > 1:  # one file may have taken the others along
                    for file in chunk:
                        hand_out([file])
                else:
                    yield [failed_row(chunk[0], f"{why}", thresholds)]
                for following in itertools.islice(chunks, 1):
                    hand_out(following)

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
        _sweep(out)
        kept = [] if again else _kept(out, files, changed_limits(thresholds))
        held = {row["file"] for row in kept}
        due = sorted(file for file in files if _text(file) not in held)
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
    except pa.ArrowException as error:
        raise CommandError(f"{out} holds what is no survey: {error}") from None
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


def _sweep(out: Path) -> None:
    """Takes away parts that no reader can read: their files are judged again."""
    for half in out.glob("*.half"):
        half.unlink()
    for part in out.glob("*.parquet"):
        try:
            pq.read_metadata(part)
        except (pa.ArrowException, OSError):
            with contextlib.suppress(FileNotFoundError):
                part.unlink()


def _kept(out: Path, files: dict[str, tuple[int, int]], limits: list[str]) -> Rows:
    """Rows of an earlier survey that still hold."""
    if not any(out.glob("*.parquet")):
        return []
    program = version("bankwise")
    rows: Rows = pq.read_table(out, schema=SCHEMA).to_pylist()
    states = {_text(file): state for file, state in files.items()}
    return [
        row
        for row in rows
        if states.get(row["file"]) == (row["size"], row["mtime_ns"])
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
    told = [
        {key: _text(cell) if isinstance(cell, str) else cell for key, cell in r.items()}
        for r in rows
    ]
    pq.write_table(pa.Table.from_pylist(told, schema=SCHEMA), half)
    half.replace(part)


def _text(name: str) -> str:
    """A file's name as text: bytes that are none are shown by their numbers."""
    return name.encode("utf-8", "backslashreplace").decode()


def _chunks(files: Sequence[str]) -> Iterator[list[str]]:
    for start in range(0, len(files), CHUNK):
        yield list(files[start : start + CHUNK])
