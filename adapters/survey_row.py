"""One session as one row of a survey: what it is, what was flagged, and why not more.

Pure but for reading the one file, so that it runs on any machine that sees it.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

from bankwise.adapters.analysis import analyse
from bankwise.adapters.errors import AdapterError
from bankwise.adapters.session_file import open_session
from bankwise.signals.thresholds import DEFAULTS, Thresholds


def empty_row(file: str) -> dict[str, Any]:
    """A row of which only the file is known; every column is there."""
    return {
        "file": file,
        "size": None,
        "mtime_ns": None,
        "program": version("bankwise"),
        "changed_limits": [],
        "id": None,
        "started": None,
        "seconds": None,
        "exchanges": None,
        "dropped_lines": None,
        "vin": None,
        "car": None,
        "note": None,
        "adapter": None,
        "protocol": None,
        "codes": [],
        "flags": [],
        "explanation": None,
        "explanation_about": None,
        "explanation_share": None,
        "figures": None,
        "cannot_tell": [],
        "error": None,
    }


def survey_row(file: str, thresholds: Thresholds = DEFAULTS) -> dict[str, Any]:
    """Reads and judges one session; whatever goes wrong is the row's `error`.

    Args:
        file: path of the session.
        thresholds: the limits to judge by.

    Returns:
        One value a column of `empty_row`; figures as JSON text.
    """
    row = empty_row(file)
    row["changed_limits"] = changed_limits(thresholds)
    try:
        state = os.stat(file)
        row["size"], row["mtime_ns"] = state.st_size, state.st_mtime_ns
        row.update(_judged(Path(file), thresholds))
    except (AdapterError, OSError) as error:
        row["error"] = str(error)
    # Among hundreds of thousands of files, one that trips over a fault of our own must
    # not stop the rest; the row names it.
    except Exception as error:
        row["error"] = f"{type(error).__name__}: {error}"
    return row


def failed_row(
    file: str, why: str, thresholds: Thresholds = DEFAULTS
) -> dict[str, Any]:
    """The row of a session that nothing came back of."""
    row = empty_row(file)
    row["changed_limits"] = changed_limits(thresholds)
    with contextlib.suppress(OSError):
        state = os.stat(file)
        row["size"], row["mtime_ns"] = state.st_size, state.st_mtime_ns
    row["error"] = why
    return row


def survey_rows(
    files: Sequence[str], thresholds: Thresholds = DEFAULTS
) -> list[dict[str, Any]]:
    """Rows of several sessions, one after the other."""
    return [survey_row(file, thresholds) for file in files]


def changed_limits(thresholds: Thresholds) -> list[str]:
    """Every limit that is not the shipped one, as `name=value`."""
    return [f"{row.name}={row.value:g}" for row in thresholds.changed]


def _judged(path: Path, thresholds: Thresholds) -> dict[str, Any]:
    session = open_session(path)
    analysis = analyse(session, thresholds)
    engine, columns, header = analysis.engine, analysis.columns, session.header
    found = engine.explanations()
    first = found[0] if found else None
    return {
        "id": header.id,
        "started": header.started,
        "seconds": round(columns.end_s, 1),
        "exchanges": analysis.decoder.exchanges,
        "dropped_lines": session.dropped_lines,
        "vin": columns.vehicle.vin,
        "car": _text(header.vehicle.get("name")),
        "note": columns.vehicle.note,
        "adapter": header.adapter.name,
        "protocol": header.adapter.protocol,
        "codes": sorted({code for read in columns.codes for code in read.codes}),
        "flags": [
            {
                "id": flag.id,
                "about": flag.about,
                "severity": flag.severity.value,
                "first_s": flag.first_s,
                "last_s": flag.last_s,
                "total_s": flag.total_s,
            }
            for flag in engine.flags
        ],
        "explanation": first.id if first else None,
        "explanation_about": first.about if first else None,
        "explanation_share": first.share if first else None,
        "figures": json.dumps(engine.figures(), ensure_ascii=False),
        "cannot_tell": [
            f"{limit.about} {limit.what}: {limit.why}" for limit in engine.cannot_tell()
        ],
    }


def _text(value: Any) -> str | None:
    return None if value is None else str(value)
