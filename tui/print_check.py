"""What `check` prints for one session, for a person to read."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.session_file import Session
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.engine import CannotTell, Explanation, FlagSpan
from bankwise.signals.severity import Severity
from bankwise.tui.limits import changed_words
from bankwise.tui.print_check_json import exchanges, fresh_hz
from bankwise.tui.words import clock, number

_PIPE_WIDTH = 88
_LEAST_WIDTH = 50
_TRIMS = "Total trim, median %"
_FRONTS = frozenset({"o2_b1s1_v", "o2_b2s1_v", "lambda_b1s1", "lambda_b2s1"})
_SHOWN = 3
"""Explanations told with their evidence; the others by name. Our choice."""

SIGNS = {
    Severity.STOP: "▲▲",
    Severity.ACT: "▲",
    Severity.WATCH: "△",
    Severity.INFO: "·",
}
"""Severity by shape, so that it survives a terminal without colour."""


def as_text(
    name: str, session: Session, analysis: Analysis, width: int | None = None
) -> str:
    """Flags, explanations and limits of one session, as lines of text.

    Args:
        name: what the person called it.
        session: as read.
        analysis: of that session.
        width: columns to fill; None takes the terminal's.
    """
    if width is None:
        width = shutil.get_terminal_size((_PIPE_WIDTH, 0)).columns
    width = max(_LEAST_WIDTH, min(width, _PIPE_WIDTH))
    engine = analysis.engine
    lines = [*_heading(name, session, analysis, width), ""]
    if engine.flags:
        lines.append("Flags")
        ordered = sorted(
            engine.flags, key=lambda flag: (-flag.severity.rank, flag.first_s)
        )
        for flag in ordered:
            lines += [*_flag(flag, width), ""]
    else:
        lines += ["No flags.", ""]
    found = engine.explanations()
    if found:
        lines += ["What it may be", *_explanations(found, width), ""]
    trims = _trims(engine.figures())
    if trims:
        lines += [*trims, ""]
    changed = changed_words(engine.thresholds)
    if changed:
        lines.append("Limits changed by hand")
        lines += [f"  {words}" for words in changed]
        lines.append("")
    limits = engine.cannot_tell()
    if limits:
        lines += ["Cannot be told from this session", *_limits(limits, width), ""]
    return "\n".join(lines).rstrip()


def _heading(
    name: str, session: Session, analysis: Analysis, width: int
) -> Iterator[str]:
    columns = analysis.columns
    header = session.header
    yield name
    vin = header.vehicle.get("vin")
    note = header.vehicle.get("note")
    for text in (f"VIN {vin}" if vin else "", str(note) if note else ""):
        yield from _wrapped(text, width, "  ")
    facts = [f"{clock(columns.end_s)} long", f"{exchanges(session):,} exchanges"]
    rates = [
        rate
        for signal, column in columns.measured.items()
        if signal in _FRONTS
        if (rate := fresh_hz(column)) is not None
    ]
    if rates:
        facts.append(f"front sensors {min(rates):.1f} values a second")
    gaps = analysis.holes()
    if gaps:
        lost = sum(end - start for start, end in gaps)
        facts.append(f"link lost {len(gaps)}× for {clock(lost)} in all")
    if session.dropped_lines:
        facts.append(f"{session.dropped_lines} unreadable lines dropped")
    yield from _wrapped(", ".join(facts), width, "  ")
    yield from _wrapped(f"adapter: {header.adapter.name}", width, "  ")


def _flag(flag: FlagSpan, width: int) -> Iterator[str]:
    rule = flag.rule
    when = f"{clock(flag.first_s)} to {clock(flag.last_s)}"
    if len(flag.spans) != 1:
        when += f", {clock(flag.total_s)} in all"
    sign = f"{SIGNS[flag.severity]:2} {flag.severity.value:5}"
    yield f"  {sign} {flag.about:6} {flag.id}  {when}"
    yield from _wrapped(flag.text, width, "     ")
    yield from _labelled("Does not prove:", rule.does_not_prove, width)
    yield from _labelled("May be:", "; ".join(rule.causes), width)
    yield from _labelled("Next:", rule.next, width)
    yield from _labelled("Caution:", CAUTIONS.get(rule.caution, ""), width)


def _explanations(found: Sequence[Explanation], width: int) -> Iterator[str]:
    for rank, one in enumerate(found[:_SHOWN]):
        if rank:
            yield ""
        yield f"  {one.share:4.0%}  {one.id}  {one.about}"
        for text in one.for_:
            yield from _wrapped(text, width, "     + ")
        for text in one.against:
            yield from _wrapped(text, width, "     − ")
        if rank == 0 or one.next != found[0].next:
            yield from _labelled("Next:", one.next, width)
    rest = ", ".join(f"{one.id} {one.about} {one.share:.0%}" for one in found[_SHOWN:])
    if rest:
        yield ""
        yield from _wrapped(f"Less likely: {rest}", width, "  ", "    ")


def _trims(figures: dict[str, Any]) -> list[str]:
    """A row a driving state, a column a bank; empty when no trim was measured."""
    banks = {
        f"bank {bank}": row
        for bank in (1, 2)
        if isinstance(row := figures.get(f"total_trim_b{bank}_pct"), dict) and row
    }
    states = list(dict.fromkeys(state for row in banks.values() for state in row))
    if not states:
        return []
    wide = max(len(_TRIMS), *(len(state) + 2 for state in states))
    lines = [_TRIMS.ljust(wide) + "".join(f"{bank:>9}" for bank in banks)]
    for state in states:
        cells = [
            number(row.get(state, {}).get("median"), 1, True) for row in banks.values()
        ]
        lines.append(f"  {state}".ljust(wide) + "".join(f"{cell:>9}" for cell in cells))
    return lines


def _limits(limits: Iterable[CannotTell], width: int) -> Iterator[str]:
    for limit in limits:
        yield from _wrapped(f"{limit.about} {limit.what}: {limit.why}", width, "  ")


def _labelled(label: str, text: str, width: int) -> Iterator[str]:
    if text:
        yield from _wrapped(f"{label} {text}", width, "     ", "       ")


def _wrapped(text: str, width: int, first: str, later: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=first,
        subsequent_indent=" " * len(first) if later is None else later,
        break_long_words=False,
        break_on_hyphens=False,
    )
