"""What `check --json` prints for one session: every key always present."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.session_stream import SessionFacts
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.columns import Column
from bankwise.signals.engine import FlagSpan
from bankwise.signals.remarks import mark_time, notes, remarks
from bankwise.signals.tests_done import done_tests
from bankwise.signals.thresholds import Thresholds


def _limits_changed(thresholds: Thresholds) -> dict[str, Any]:
    """Limits a person changed; no key at all on the shipped ones."""
    changed = {row.name: row.value for row in thresholds.changed}
    return {"limits_changed": changed} if changed else {}


def as_object(name: str, session: SessionFacts, analysis: Analysis) -> dict[str, Any]:
    """Flags, explanations, figures and limits of one session, JSON-ready.

    Numbers are finite or None; times are seconds since the session began.
    """
    engine = analysis.engine
    columns = analysis.columns
    found: dict[str, Any] = plain(
        {
            "file": name,
            "session": {
                "id": session.header.id,
                "started": session.header.started,
                "seconds": round(columns.end_s, 1),
                "exchanges": analysis.decoder.exchanges,
                "dropped_lines": session.dropped_lines,
                "holes": analysis.holes(),
                **_limits_changed(engine.thresholds),
                "signals": {
                    signal: {"count": len(column), "hz": fresh_hz(column)}
                    for signal, column in sorted(columns.measured.items())
                },
            },
            "flags": [_flag(flag) for flag in engine.flags],
            "explanations": [
                {
                    "id": found.id,
                    "about": found.about,
                    "share": found.share,
                    "for": found.for_,
                    "against": found.against,
                    "next": found.next,
                }
                for found in engine.explanations()
            ],
            "figures": engine.figures(),
            "tests": [
                {
                    "id": test.id,
                    "title": test.title,
                    "about": test.about,
                    "t": test.t,
                    "outcomes": sorted(test.outcomes),
                    "text": test.text,
                }
                for test in done_tests(engine)
            ],
            "marks": [
                {"t": mark_time(mark), "text": mark.text}
                for mark in remarks(columns.marks)
            ],
            "notes": notes(columns.marks),
            "cannot_tell": [
                {"about": limit.about, "what": limit.what, "why": limit.why}
                for limit in engine.cannot_tell()
            ],
        }
    )
    return found


def fresh_hz(column: Column) -> float | None:
    """Fresh values a second: one over the median interval, so holes do not count.

    None when two moments were never measured.
    """
    intervals = np.diff(column.t)
    intervals = intervals[intervals > 0]
    return round(1 / float(np.median(intervals)), 2) if len(intervals) else None


def plain(value: Any) -> Any:
    """The same value in JSON's own kinds; a number that is not finite becomes None."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def _flag(flag: FlagSpan) -> dict[str, Any]:
    rule = flag.rule
    return {
        "id": flag.id,
        "about": flag.about,
        "severity": flag.severity.value,
        "first_s": flag.first_s,
        "last_s": flag.last_s,
        "total_s": flag.total_s,
        "text": flag.text,
        "does_not_prove": rule.does_not_prove,
        "causes": rule.causes,
        "next": rule.next,
        "caution": CAUTIONS.get(rule.caution, ""),
        "source": rule.source,
    }
