"""The technician's tables of the report: figures, codes, test results, comparison.

Each function gives rows of plain text for the template; words and numbers are those of
the screen and of the commands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bankwise.adapters.code_table import description, failure_type
from bankwise.signals.catalogue import BANKS
from bankwise.signals.comparison import Comparison, Verdict
from bankwise.signals.contradictions import contradictions
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import FreezeFrame, MonitorResult, Snapshot
from bankwise.signals.figures import ONCE_BANK, ONCE_ENGINE, ONCE_SENSOR
from bankwise.signals.phases import phases
from bankwise.signals.places import EACH_BANK, EACH_SENSOR, Place
from bankwise.signals.registry import DERIVED
from bankwise.signals.remarks import mark_time, notes, remarks
from bankwise.signals.similar_conditions import windows_entered
from bankwise.signals.tests_done import done_tests
from bankwise.signals.two_trips import code_stories
from bankwise.tui.print_codes import (
    AGAINST_MEANS,
    entered_words,
    frame_lines,
    short,
    window_words,
)
from bankwise.tui.print_compare import figure_rows, interval_words, share
from bankwise.tui.words import NO_VALUE, clock, number, sentence

Row = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FigureTable:
    """Figures by place: the places as heads, a row of text a figure."""

    heads: Row
    rows: tuple[Row, ...]


def figure_tables(figures: Mapping[str, Any]) -> list[FigureTable]:
    """Once-a-drive figures in words: by bank, by sensor, and of the whole engine."""
    tables = [
        _by_place(figures, ONCE_BANK, EACH_BANK),
        _by_place(figures, ONCE_SENSOR, EACH_SENSOR),
    ]
    rows = tuple(
        (_title(name), _value(figures, name))
        for name in ONCE_ENGINE
        if figures.get(name) is not None
    )
    return [table for table in (*tables, FigureTable(("engine",), rows)) if table.rows]


def _by_place(
    figures: Mapping[str, Any], patterns: tuple[str, ...], places: tuple[Place, ...]
) -> FigureTable:
    known = [
        place
        for place in places
        if any(figures.get(place.fill(pattern)) is not None for pattern in patterns)
    ]
    rows = []
    for pattern in patterns:
        names = [place.fill(pattern) for place in known]
        told = [name for name in names if figures.get(name) is not None]
        if told:
            values = (_value(figures, name) for name in names)
            rows.append((_title(told[0]), *values))
    return FigureTable(tuple(place.about for place in known), tuple(rows))


def _title(name: str) -> str:
    derived = DERIVED[name].derived
    return f"{derived.title}, {derived.unit}" if derived.unit else derived.title


def _value(figures: Mapping[str, Any], name: str) -> str:
    entry = DERIVED.get(name)
    return number(figures.get(name), entry.derived.decimals if entry else 2)


def phase_table(engine: Engine) -> FigureTable:
    """How long each kind of driving lasted, and the trims in it, a column a bank."""
    figures = engine.figures()
    banks = [b for b in BANKS if figures.get(f"total_trim_b{b}_pct")]
    rows = []
    for phase in phases(engine.frame):
        if phase.seconds <= 0:
            continue
        row = [phase.name, f"{phase.seconds:.0f} s"]
        for bank in banks:
            cell = figures[f"total_trim_b{bank}_pct"].get(phase.name)
            row.append(
                f"{number(cell['median'], sign=True)} ± {number(cell['iqr'] / 2)}"
                if cell
                else NO_VALUE
            )
        rows.append(tuple(row))
    heads = ("driven", *(f"trim bank {bank}, %" for bank in banks))
    return FigureTable(heads, tuple(rows))


def code_rows(seen: Snapshot, engine: Engine) -> dict[str, Any]:
    """Lamp, sets, and each code with what it says and what the drive says to it."""
    lamp = {True: "on", False: "off", None: "not known"}[seen.lamp]
    columns = engine.frame.columns
    entered = {one.code: one for one in windows_entered(seen.frames, columns)}
    against = {one.code: one.text for one in contradictions(seen, engine.frame)}
    stories = []
    for story in code_stories(seen):
        parts = (description(story.code), failure_type(story.code))
        lines = [
            f"{', '.join(filter(None, parts))}. {sentence(story.text)}. {story.next}"
        ]
        if story.states:
            lines.append(f"Status: {', '.join(story.states)}.")
        if story.window is not None:
            lines.append(f"Similar conditions: {window_words(story.window)}.")
        if story.code in entered:
            lines.append(entered_words(entered[story.code]))
        stories.append(
            {
                "code": story.code,
                "about": story.about,
                "sets": ", ".join(story.sets),
                "lines": lines,
                "against": sentence(against.get(story.code, "")),
            }
        )
    return {
        "lamp": lamp,
        "stories": stories,
        "against_means": AGAINST_MEANS,
        "sets": [
            (when, "read" if reading.known else "; ".join(reading.trouble))
            for when, reading in seen.codes.items()
        ],
    }


def frame_rows(frame: FreezeFrame) -> dict[str, Any]:
    """One freeze frame in words."""
    return {
        "unit": frame.unit,
        "code": frame.code or "no code",
        "rows": list(frame_lines(frame)),
    }


def monitor_rows(seen: Snapshot) -> list[Row]:
    """Self-tests since codes were cleared: unit, name, state, meaning."""
    return [
        (
            unit,
            monitor.name,
            "complete" if monitor.complete else "OPEN",
            monitor.meaning,
        )
        for unit, status in seen.since_clear.items()
        for monitor in status.monitors
    ]


def result_rows(seen: Snapshot) -> list[dict[str, Any]]:
    """On-board test results; the bar is the room to the nearer limit, in percent."""
    order = sorted(seen.results, key=lambda r: (r.subject, r.test, r.about, r.unit))
    return [_result(result) for result in order]


def _result(result: MonitorResult) -> dict[str, Any]:
    margin = result.margin
    return {
        "about": result.about,
        "title": f"{result.subject}: {result.title}",
        "value": f"{short(result.value)} {result.sign}",
        "low": short(result.low) if result.has_low else NO_VALUE,
        "high": short(result.high) if result.has_high else NO_VALUE,
        "bar": None if margin is None else round(100 * min(max(margin, 0.0) * 2, 1.0)),
        "state": "" if result.passed else "FAILED",
        "raw": "" if result.scaled else "raw number",
    }


def hand_test_rows(engine: Engine) -> list[Row]:
    """Tests that a person did: moment, title, place, findings."""
    return [
        (clock(test.t), test.title, test.about, test.text)
        for test in done_tests(engine)
    ]


def mark_rows(engine: Engine) -> list[Row]:
    """A person's own remarks in order, then the notes made afterwards."""
    marks = engine.frame.columns.marks
    during: list[Row] = [(clock(mark_time(m)), m.text) for m in remarks(marks)]
    return [*during, *(("after", text) for text in notes(marks))]


_OWNER_VERDICTS = {
    Verdict.PROVEN: "The same driving before and after the repair shows that the fault "
    "is gone.",
    Verdict.NOT_YET: "It is not proven yet that the fault is gone.",
    Verdict.WORSE: "Compared with the earlier drive something got worse.",
}


def comparison_tables(before: str, made: Comparison) -> dict[str, Any]:
    """The comparison with an earlier drive: verdict, reasons and tables."""
    return {
        "before": before,
        "verdict": made.verdict.value,
        "owner": _OWNER_VERDICTS[made.verdict],
        "reasons": made.reasons,
        "flags": [
            (flag.change, flag.severity.value, flag.about, flag.id, flag.why)
            for flag in made.flags
        ],
        "codes": [
            (word, ", ".join(codes))
            for word, codes in (
                ("gone", made.codes_gone),
                ("new", made.codes_new),
                ("still", made.codes_still),
            )
            if codes
        ],
        "cells": [
            (
                str(cell.bank),
                f"{cell.rpm:.0f}",
                f"{cell.load_pct:.0f}",
                number(cell.before, sign=True),
                number(cell.after, sign=True),
                number(cell.after - cell.before, sign=True),
                interval_words(cell),
            )
            for cell in made.cells
        ],
        "figures": figure_rows(made),
        "margins": [
            (row.about, row.title, share(row.before), share(row.after))
            for row in made.margins
        ],
        "tests": [
            (
                test.about,
                test.title,
                test.before or "not done",
                test.after or "not done",
            )
            for test in made.tests
        ],
        "not_shared": made.not_shared,
    }
