"""What `check` prints for one session, for a person to read aloud.

The order is the one of the job: the verdict, what speaks for and against it, the next
check with its caution, what else fits, the flags, and last what could not be judged.
"""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.session_stream import SessionFacts
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.columns import Mark
from bankwise.signals.engine import CannotTell, Engine, Explanation, FlagSpan
from bankwise.signals.ledger import EXPLANATIONS
from bankwise.signals.next_check import caution_of
from bankwise.signals.remarks import mark_time, notes, remarks
from bankwise.signals.severity import Severity
from bankwise.signals.tests_done import done_tests
from bankwise.tui.limits import changed_words
from bankwise.tui.print_check_json import fresh_hz
from bankwise.tui.words import clip, clock, number, printable, sentence, unproven

_PIPE_WIDTH = 88
_LEAST_WIDTH = 38
_TRIMS = "Total trim, median %"
_FRONTS = frozenset({"o2_b1s1_v", "o2_b2s1_v", "lambda_b1s1", "lambda_b2s1"})
_SHOWN = 3
"""Explanations told with their evidence; the others in a line. Our choice."""
_LONGEST = 300
"""Letters shown of what a person wrote; JSON and the report have all. Our choice."""
_OPEN = "cannot-tell"
_WELL = "no-fault-seen"
_CLEAR_SHARE = 0.5
"""From this share on a verdict is called clear. Our choice: more than all the rest."""

SIGNS = {
    Severity.STOP: "▲▲",
    Severity.ACT: "▲",
    Severity.WATCH: "△",
    Severity.INFO: "·",
}
"""Severity by shape, so that it survives a terminal without colour."""


def as_text(
    name: str, session: SessionFacts, analysis: Analysis, width: int | None = None
) -> str:
    """The verdict, its evidence, flags and limits of one session, as lines of text.

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
    found = engine.explanations()
    limits = engine.cannot_tell()
    causes = [one for one in found if one.id != _OPEN]
    lines = [name, *_wrapped(f"Verdict: {verdict(found, limits)}", width, "", "  ")]
    if causes:
        lines += _evidence(causes[0], width)
    lines += ["", *_rivals(causes[1:], width)]
    lines += [*_session(session, analysis, width), ""]
    lines += _flags(engine.flags, width)
    lines += _tests(engine, width)
    lines += _remarks(analysis.columns.marks, width)
    trims = _trims(engine.figures())
    if trims:
        lines += [*trims, ""]
    changed = changed_words(engine.thresholds)
    if changed:
        lines.append("Limits changed by hand")
        lines += [f"  {words}" for words in changed]
        lines.append("")
    left = [reason for one in found if one.id == _OPEN for reason in one.for_]
    if limits or left:
        lines += ["Could not be judged", *_limits(left, limits, width), ""]
    return "\n".join(lines).rstrip()


def verdict(found: Sequence[Explanation], limits: Sequence[CannotTell]) -> str:
    """The outcome in one sentence, with how much of the evidence it has."""
    if not found or found[0].id == _OPEN:
        first = next((reason for one in found for reason in one.for_), "")
        why = first or next(
            (f"{one.about} {one.what}: {one.why}" for one in limits), ""
        )
        return f"cannot tell. {sentence(why)}".rstrip(" .") + "."
    lead = found[0]
    if lead.id == _WELL:
        return f"no fault seen; {EXPLANATIONS[_WELL]} ({_share(lead)} of the evidence)."
    words = f"{cause_words(lead)} ({_share(lead)} of the evidence)"
    if lead.share >= _CLEAR_SHARE:
        return f"{words}. Not proven until the next check agrees."
    return f"not settled. Fits best: {words}."


def cause_words(one: Explanation) -> str:
    """An explanation as words, with its place ahead unless it is the whole engine."""
    place = "" if one.about == "engine" else f"{one.about}: "
    return place + EXPLANATIONS[one.id]


def _share(one: Explanation) -> str:
    return f"{one.share * 100:.0f} %"


def _session(session: SessionFacts, analysis: Analysis, width: int) -> Iterator[str]:
    columns = analysis.columns
    header = session.header
    yield "Session"
    vin = header.vehicle.get("vin")
    note = header.vehicle.get("note")
    for text in (
        f"VIN {vin}" if vin else "",
        clip(str(note), _LONGEST) if note else "",
    ):
        yield from _wrapped(text, width, "  ")
    facts = [
        f"{clock(columns.end_s)} long",
        f"{analysis.decoder.exchanges:,} exchanges",
    ]
    rates = [
        rate
        for signal, column in columns.measured.items()
        if signal in _FRONTS
        if (rate := fresh_hz(column)) is not None
    ]
    if rates:
        facts.append(f"each front sensor read {min(rates):.1f} times a second")
    gaps = analysis.holes()
    if gaps:
        lost = sum(end - start for start, end in gaps)
        facts.append(f"link lost {len(gaps)}× for {clock(lost)} in all")
    if session.dropped_lines:
        facts.append(f"{session.dropped_lines} unreadable lines dropped")
    yield from _wrapped(", ".join(facts), width, "  ")
    adapter = header.adapter.name or "no name"
    if header.simulated and "simulated" not in adapter:
        adapter = f"simulated car ({adapter})"
    yield from _wrapped(f"adapter: {adapter}", width, "  ")


def _evidence(lead: Explanation, width: int) -> Iterator[str]:
    """For, against, the next check and its caution."""
    yield from _reasons(lead, width, "  ")
    yield from _labelled("Next check:", lead.next, width, "")
    yield from _labelled("Caution:", CAUTIONS.get(caution_of(lead.next), ""), width, "")


def _reasons(one: Explanation, width: int, lead: str) -> Iterator[str]:
    for sign, reasons in (("+", one.for_), ("−", one.against)):
        for text in reasons:
            told = text.replace(". (from ", " (from ")
            yield from _wrapped(f"{sign} {told}", width, lead, lead + "  ")


def _rivals(others: Sequence[Explanation], width: int) -> list[str]:
    if not others:
        return []
    lines = ["Fits less well"]
    for one in others[: _SHOWN - 1]:
        words = f"{cause_words(one)} ({_share(one)})"
        lines += _wrapped(sentence(words), width, "  ", "  ")
        lines += _reasons(one, width, "    ")
    for one in others[_SHOWN - 1 :]:
        words = f"{cause_words(one)} ({_share(one)})"
        lines += _wrapped(sentence(words), width, "  ", "  ")
    return [*lines, ""]


def _flags(flags: Sequence[FlagSpan], width: int) -> list[str]:
    """Every flag, the most severe first; a caution is told once."""
    if not flags:
        return ["No flags.", ""]
    lines = ["Flags"]
    told: dict[str, str] = {}
    for flag in sorted(flags, key=lambda flag: (-flag.severity.rank, flag.first_s)):
        caution = CAUTIONS.get(flag.rule.caution, "")
        if caution in told:
            caution = f"as for {told[caution]}."
        elif caution:
            told[caution] = flag.id
        lines += [*_flag(flag, caution, width), ""]
    return lines


def _flag(flag: FlagSpan, caution: str, width: int) -> Iterator[str]:
    rule = flag.rule
    when = f"{clock(flag.first_s)} to {clock(flag.last_s)}"
    if len(flag.spans) != 1:
        when += f", {clock(flag.total_s)} in all"
    sign = f"{SIGNS[flag.severity]:2} {flag.severity.value:5}"
    yield from _wrapped(f"{sign} {flag.about} {flag.id}  {when}", width, "  ", "     ")
    yield from _wrapped(flag.text, width, "     ")
    yield from _wrapped(unproven(rule.does_not_prove), width, "     ", "       ")
    yield from _labelled("Likely causes:", "; ".join(rule.causes), width)
    yield from _labelled("Next check:", rule.next, width)
    yield from _labelled("Caution:", caution, width)


def _tests(engine: Engine, width: int) -> list[str]:
    """What guided tests and noted ones found, in order; empty when none was done."""
    lines = []
    for test in done_tests(engine):
        place = "" if test.about == "engine" else f"{test.about} "
        words = f"{clock(test.t)}  {place}{test.title}: {test.text}"
        lines += _wrapped(words, width, "  ", "     ")
    return ["Tests done", *lines, ""] if lines else []


def _remarks(marks: Sequence[Mark], width: int) -> list[str]:
    """What people said during the drive and noted afterwards."""
    lines = []
    for mark in remarks(marks):
        lines += _wrapped(
            f"{clock(mark_time(mark))}  {clip(mark.text, _LONGEST)}",
            width,
            "  ",
            "     ",
        )
    for text in notes(marks):
        lines += _wrapped(f"afterwards: {clip(text, _LONGEST)}", width, "  ", "     ")
    return ["Remarks", *lines, ""] if lines else []


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
        named = state.replace("-", " ")
        lines.append(f"  {named}".ljust(wide) + "".join(f"{cell:>9}" for cell in cells))
    return lines


def _limits(
    left: Iterable[str], limits: Iterable[CannotTell], width: int
) -> Iterator[str]:
    for reason in left:
        yield from _wrapped(reason, width, "  ")
    for limit in limits:
        place = "" if limit.about == "engine" else f"{limit.about} "
        yield from _wrapped(sentence(f"{place}{limit.what}: {limit.why}"), width, "  ")


def _labelled(label: str, text: str, width: int, lead: str = "     ") -> Iterator[str]:
    if text:
        yield from _wrapped(f"{label} {text}", width, lead, lead + "  ")


def _wrapped(text: str, width: int, first: str, later: str | None = None) -> list[str]:
    return textwrap.wrap(
        printable(text),
        width,
        initial_indent=first,
        subsequent_indent=" " * len(first) if later is None else later,
        break_long_words=False,
        break_on_hyphens=False,
    )
