"""What `compare` prints, as text and as JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from bankwise.signals.comparison import Comparison, Verdict
from bankwise.signals.shared_cells import SharedCell
from bankwise.tui.words import number

WIDTH = 88
_SIGNS = {Verdict.PROVEN: "✓", Verdict.NOT_YET: "·", Verdict.WORSE: "▲"}
_FLAG_ORDER = ("new", "still", "not driven", "gone")


def compare_text(before: str, after: str, made: Comparison) -> str:
    """The comparison as lines of text. `before`, `after`: the names of the drives."""
    blocks = (
        _verdict(before, after, made),
        _flags(made),
        _codes(made),
        _cells(made),
        _figures(made),
        _margins(made),
        _tests(made),
        _not_shared(made),
    )
    return "\n\n".join("\n".join(lines) for block in blocks if (lines := list(block)))


def compare_json(before: str, after: str, made: Comparison) -> dict[str, Any]:
    """The comparison as plain data; keys are stable, numbers finite or null."""
    return {
        "before": before,
        "after": after,
        "verdict": made.verdict.value,
        "reasons": list(made.reasons),
        "flag": None if made.verdict is Verdict.PROVEN else "repair-not-proven",
        "flags": [
            {**asdict(flag), "severity": flag.severity.value} for flag in made.flags
        ],
        "codes": {
            "gone": list(made.codes_gone),
            "new": list(made.codes_new),
            "still": list(made.codes_still),
            "history": [asdict(note) for note in made.code_notes],
        },
        "cells": [
            {key: _rounded(value) for key, value in asdict(cell).items()}
            for cell in made.cells
        ],
        "figures": [asdict(figure) for figure in made.figures],
        "margins": [asdict(margin) for margin in made.margins],
        "tests": [asdict(test) for test in made.tests],
        "not_shared": list(made.not_shared),
    }


def _rounded(value: float) -> float:
    return round(value, 2) if isinstance(value, float) else value


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent)
    )


def _verdict(before: str, after: str, made: Comparison) -> Iterator[str]:
    yield f"before  {before}"
    yield f"after   {after}"
    yield ""
    yield f"{_SIGNS[made.verdict]} {made.verdict.value.upper()}"
    for reason in made.reasons:
        yield from _wrapped(reason, "    ")


def _flags(made: Comparison) -> Iterator[str]:
    if made.flags:
        yield "Flags"
    for flag in sorted(made.flags, key=lambda f: _FLAG_ORDER.index(f.change)):
        why = f" ({flag.why})" if flag.why else ""
        yield (
            f"  {flag.change:10} {flag.severity.value:5} {flag.about:6} {flag.id}{why}"
        )


def _codes(made: Comparison) -> Iterator[str]:
    rows = (
        ("gone", made.codes_gone),
        ("new", made.codes_new),
        ("still", made.codes_still),
    )
    if made.code_notes or any(codes for _, codes in rows):
        yield "Codes"
    for word, codes in rows:
        if codes:
            yield f"  {word:10} {', '.join(codes)}"
    for note in made.code_notes:
        yield from _wrapped(note.text, "  ")


def _cells(made: Comparison) -> Iterator[str]:
    if not made.cells:
        return
    yield "Total trim, median % in the cells that both drives held"
    yield "  bank   rpm  load   before   after   change  95 % interval"
    for cell in made.cells:
        yield (
            f"  {cell.bank:4} {cell.rpm:5.0f} {cell.load_pct:4.0f} % "
            f"{number(cell.before, sign=True):>7} {number(cell.after, sign=True):>7} "
            f"{number(cell.after - cell.before, sign=True):>8}  "
            f"{interval_words(cell)}"
        )


_FIGURES = (
    ("closed_loop_entry_{}_s", "closed-loop entry", "s", 0, ("b1", "b2")),
    ("wake_up_{}_s", "sensor wake-up", "s", 0, ("b1s1", "b2s1", "b1s2", "b2s2")),
    ("switches_100_{}", "switches in 100 s", "", 0, ("b1s1", "b2s1")),
    ("lr_low_{}_ms", "lean to rich, at least", "ms", 0, ("b1s1", "b2s1")),
    ("rl_low_{}_ms", "rich to lean, at least", "ms", 0, ("b1s1", "b2s1")),
    ("downstream_ratio_{}", "rear to front activity", "", 2, ("b1", "b2")),
    ("storage_{}_mg", "oxygen stored, proxy", "mg", 0, ("b1", "b2")),
    ("rear_drop_{}_s", "rear drop in a fuel cut", "s", 1, ("b1s2", "b2s2")),
    ("plateau_c", "coolant plateau", "°C", 0, ("",)),
    ("pull_ve_ratio", "airflow at full load, of expected", "", 2, ("",)),
)
"""Figures shown in words: derived name, title, unit, decimals, places. JSON has all."""


def figure_rows(made: Comparison) -> list[tuple[str, str, str, str, str]]:
    """Figures in words: place, title, before, after, unit."""
    known = {row.name: row for row in made.figures}
    return [
        (
            place.upper(),
            title,
            number(known[name].before, decimals),
            number(known[name].after, decimals),
            unit,
        )
        for pattern, title, unit, decimals, places in _FIGURES
        for place in places
        if (name := pattern.format(place)) in known
    ]


def interval_words(cell: SharedCell) -> str:
    """The interval of a cell's change, or in which drive it was held too shortly."""
    if cell.low is None or cell.high is None:
        short = {
            "before": cell.n_before < cell.needs,
            "after": cell.n_after < cell.needs,
        }
        which = " and ".join(word for word, is_so in short.items() if is_so)
        return f"held too shortly {which}".rstrip()
    return f"{number(cell.low, sign=True)} … {number(cell.high, sign=True)}"


def _figures(made: Comparison) -> Iterator[str]:
    rows = figure_rows(made)
    if rows:
        yield f"{'Figures':54} {'before':>8} {'after':>8}"
    for place, title, before, after, unit in rows:
        yield f"  {place:6} {title:45} {before:>8} {after:>8} {unit}".rstrip()


def _margins(made: Comparison) -> Iterator[str]:
    if made.margins:
        title = "On-board test results, room to the limit"
        yield f"{title:54} {'before':>8} {'after':>8}"
    for row in made.margins:
        title = row.title if len(row.title) <= 45 else f"{row.title[:44]}…"
        before, after = share(row.before), share(row.after)
        yield f"  {row.about:6} {title:45} {before:>8} {after:>8}"


def _tests(made: Comparison) -> Iterator[str]:
    if made.tests:
        yield "Tests done by hand"
    for test in made.tests:
        yield f"  {test.about:6} {test.title}"
        yield from _wrapped(f"before: {test.before or 'not done'}", "         ")
        yield from _wrapped(f"after:  {test.after or 'not done'}", "         ")


def share(value: float | None) -> str:
    """A share of the room between limits, or a dash for none."""
    return "–" if value is None else f"{value:.0%}"


def _not_shared(made: Comparison) -> Iterator[str]:
    if made.not_shared:
        yield "Not compared"
    for line in made.not_shared:
        yield from _wrapped(line, "  ")
