"""Checks session files, one after the other or on all cores, in the order asked."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from bankwise.adapters.analysis import analyse
from bankwise.adapters.errors import AdapterError
from bankwise.adapters.session_file import open_session
from bankwise.tui.errors import CommandError
from bankwise.tui.limits import in_force
from bankwise.tui.places import find_session
from bankwise.tui.print_check import as_text
from bankwise.tui.print_check_json import as_object

WORTH_CORES = 4
"""From so many files on, starting more processes pays. Our choice: each takes about
as long to start as a short session takes to check."""


@dataclass(frozen=True, slots=True)
class Job:
    """One file to check.

    Attributes:
        name: what the person typed.
        folder: where saved sessions are kept.
        as_json: the object is wanted instead of the text.
        width: columns for the text; None for the terminal's.
    """

    name: str
    folder: Path
    as_json: bool
    width: int | None = None


@dataclass(frozen=True, slots=True)
class Checked:
    """What came of one file.

    Attributes:
        name: what the person typed.
        text: for a person; empty when the object was wanted.
        found: JSON-ready; None when the text was wanted.
        worst: rank of the most severe flag, -1 when there is none.
        warnings: what was odd about the file.
        error: why it could not be checked; empty when it could.
    """

    name: str
    text: str = ""
    found: dict[str, Any] | None = None
    worst: int = -1
    warnings: tuple[str, ...] = ()
    error: str = ""


def check_file(job: Job) -> Checked:
    """Checks one file; one that cannot be read says why, and never raises for it."""
    try:
        thresholds = in_force()
        session = open_session(find_session(job.name, job.folder))
        analysis = analyse(session, thresholds)
    except (AdapterError, CommandError) as error:
        return Checked(job.name, error=str(error))
    ranks = [flag.severity.rank for flag in analysis.engine.flags]
    return Checked(
        job.name,
        "" if job.as_json else as_text(job.name, session, analysis, job.width),
        as_object(job.name, session, analysis) if job.as_json else None,
        max(ranks, default=-1),
        session.warnings,
    )


def check_all(jobs: Sequence[Job], cores: int | None = None) -> Iterator[Checked]:
    """Checks every file, on all cores when there are many; results in order.

    Args:
        jobs: what to check.
        cores: how many processes; None for one a core.
    """
    cores = min(cores or os.cpu_count() or 1, len(jobs))
    if cores < 2 or len(jobs) < WORTH_CORES:
        yield from map(check_file, jobs)
        return
    # A fresh process everywhere: forking beside threads is not safe.
    pool = ProcessPoolExecutor(cores, get_context("spawn"), ignore_interrupts)
    try:
        yield from pool.map(check_file, jobs)
    finally:
        pool.shutdown(cancel_futures=True)


def ignore_interrupts() -> None:
    """Ctrl-C is for the process that was asked, which ends the others."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
