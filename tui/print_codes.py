"""What `codes` prints: codes with their history, conditions, self-tests and units."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from bankwise.adapters.code_table import description, failure_type
from bankwise.adapters.vin import masked, verdict
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.contradictions import Contradiction, contradictions
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import FreezeFrame, Monitor, MonitorResult, Snapshot
from bankwise.signals.similar_conditions import Entered, window_of, windows_entered
from bankwise.signals.two_trips import SOURCES, CodeStory, code_stories
from bankwise.tui.code_words import (
    RATIO_MEANS,
    SIMILAR,
    bar,
    counter_lines,
    entered_words,
    frame_lines,
    in_use_lines,
    open_words,
    result_rows,
    short,
    value_words,
    window_words,
)
from bankwise.tui.words import clip

__all__ = [
    "AGAINST_MEANS",
    "DriveSays",
    "clearing_caution",
    "codes_text",
    "drive_says",
    "entered_words",
    "frame_lines",
    "short",
    "window_words",
]

WIDTH = 88
_TITLE = 35
_CELL = 17


@dataclass(frozen=True, slots=True)
class DriveSays:
    """What the drive of a recorded session says about its codes.

    Attributes:
        entered: for each freeze frame, whether its conditions were met.
        against: codes that the drive contradicts.
    """

    entered: tuple[Entered, ...] = ()
    against: tuple[Contradiction, ...] = ()


def drive_says(seen: Snapshot, engine: Engine) -> DriveSays:
    """What an analysed drive says about the codes read in it."""
    if not engine.frame.n:
        return DriveSays()
    return DriveSays(
        windows_entered(seen.frames, engine.frame.columns),
        contradictions(seen, engine.frame),
    )


def codes_text(
    seen: Snapshot, *, mask_vin: bool = False, drive: DriveSays | None = None
) -> str:
    """The whole snapshot as lines of text.

    Args:
        seen: as read.
        mask_vin: print only the first eight characters of a VIN.
        drive: what the drive says about the codes, when there was one.
    """
    blocks = (
        _codes(seen, drive or DriveSays()),
        _frames(seen),
        _readiness(seen),
        _results(seen),
        _vehicle(seen, mask_vin),
        _unread(seen),
    )
    return "\n\n".join("\n".join(lines) for block in blocks if (lines := list(block)))


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent)
    )


def _codes(seen: Snapshot, drive: DriveSays) -> Iterator[str]:
    lamp = {True: "on", False: "off", None: "not known"}[seen.lamp]
    sets = ", ".join(_set_words(seen, when) for when in seen.codes)
    yield f"Lamp {lamp}; {sets}"
    for unit in seen.count_mismatch():
        yield from _wrapped(
            f"{unit} counts {seen.since_clear[unit].count} stored codes but listed "
            "another number: read again.",
            "  ",
        )
    stories = code_stories(seen)
    several = len({unit for story in stories for unit in story.units}) > 1
    for story in stories:
        yield ""
        yield from _story(story, several)
        for one in drive.entered:
            if one.code == story.code:
                yield from _wrapped(entered_words(one), "       ")
        for said in drive.against:
            if said.code == story.code:
                yield from _wrapped(f"Against it: {said.text}.", "       ")
                yield from _wrapped(AGAINST_MEANS, "       ")
    if stories:
        yield ""
        yield from _wrapped(f"Trips and lamp: {SOURCES}.", "  ")


AGAINST_MEANS = (
    "The fault may come and go, be mended, or need other conditions: no part is bought "
    "on this code alone."
)
"""What a contradicted code means, and what not."""


def _set_words(seen: Snapshot, when: str) -> str:
    reading = seen.codes[when]
    if reading.known:
        return f"{len(reading.codes) or 'no'} {when}"
    if reading.codes:
        return f"at least {len(reading.codes)} {when}"
    return f"{when} not known"


def _story(story: CodeStory, several: bool) -> Iterator[str]:
    units = f" from {', '.join(story.units)}" if several else ""
    yield f"{story.about:6} {story.code}  {' + '.join(story.sets)}{units}"
    parts = (description(story.code), failure_type(story.code))
    yield from _wrapped(f"{', '.join(filter(None, parts))} — {story.system}", "       ")
    yield from _wrapped(f"{story.text[0].upper()}{story.text[1:]}.", "       ")
    if story.states:
        yield from _wrapped(f"Status: {', '.join(story.states)}", "       ")
    yield from _wrapped(f"Next: {story.next}", "       ")
    if story.window is not None:
        yield from _wrapped(
            f"Similar conditions: {window_words(story.window)}", "       "
        )


def _frames(seen: Snapshot) -> Iterator[str]:
    for frame in seen.frames:
        if frame.values:
            yield from _frame(frame)


def _frame(frame: FreezeFrame) -> Iterator[str]:
    code = frame.code or "no code"
    yield f"Freeze frame {frame.number} of {frame.unit}, set by {code}"
    for title, shown in frame_lines(frame):
        yield f"  {title:34} {shown}"
    window = window_of(frame.values)
    if window is not None:
        yield from _wrapped(f"Verify inside: {window_words(window)} ({SIMILAR})", "  ")


def _readiness(seen: Snapshot) -> Iterator[str]:
    if not seen.since_clear:
        return
    yield "Self-tests since codes were cleared"
    units = tuple(seen.since_clear)
    many = len(units) > 1
    for names, monitor, done in _monitors(seen):
        state = "complete" if done else "OPEN"
        who = "" if len(names) == len(units) or not many else f" ({', '.join(names)})"
        yield f"  {monitor.name:22} {state:9} {monitor.meaning}{who}"
    for line in open_words(seen):
        yield from _wrapped(line, "  ")
    if seen.this_drive and not any(s.open for s in seen.this_drive.values()):
        yield "  in this drive every one of them has run"
    yield from (f"  {line}" for line in counter_lines(seen))


def _monitors(seen: Snapshot) -> Iterator[tuple[list[str], Monitor, bool]]:
    """Each monitor once, with the units that have it in that state."""
    found: dict[tuple[str, bool], tuple[list[str], Monitor]] = {}
    for unit, status in seen.since_clear.items():
        for monitor in status.monitors:
            key = (monitor.name, monitor.complete)
            found.setdefault(key, ([], monitor))[0].append(unit)
    for (_, done), (names, monitor) in found.items():
        yield names, monitor, done


def _results(seen: Snapshot) -> Iterator[str]:
    if not seen.results:
        return
    yield "On-board test results (service 06); the bar is the room to the nearer limit"
    several = len({result.unit for result in seen.results}) > 1
    subject = ""
    for row in result_rows(seen.results):
        if row.subject != subject:
            subject = row.subject
            banks = ("bank 1", "bank 2")[: len(row.cells)] if len(row.cells) > 1 else ()
            head = "".join(f"{name:<{_CELL}}" for name in banks)
            yield f"  {subject:{_TITLE + 2}}{head}".rstrip()
        unit = f"  {row.unit}" if several else ""
        cells = "".join(f"{_cell(cell):{_CELL}}" for cell in row.cells)
        yield f"    {clip(row.title, _TITLE - 1):{_TITLE}}{cells}{row.limits}{unit}"


def _cell(result: MonitorResult | None) -> str:
    if result is None:
        return "–"
    room = bar(result.margin, 5) if result.passed else "FAILED"
    return f"{value_words(result):<9} {room}"


def _vehicle(seen: Snapshot, mask_vin: bool) -> Iterator[str]:
    if not seen.units:
        return
    yield "Control units"
    tables = [(unit.unit, in_use_lines(unit)) for unit in seen.units]
    for unit in seen.units:
        vin = masked(unit.vin) if mask_vin else unit.vin
        digit = f" ({verdict(unit.vin).value})"
        facts = [
            unit.name,
            f"VIN {vin}{digit}" if vin else "",
            *(
                f"calibration {name}" + (f", verification {check}" if check else "")
                for name, check in _paired(unit.calibrations, unit.verifications)
            ),
        ]
        words = "; ".join(filter(None, facts)) or "tells nothing of itself"
        yield from _wrapped(f"{unit.unit}: {words}", "  ")
    for name, lines in tables:
        if lines:
            yield ""
            yield f"How often the self-tests of {name} ran (in-use ratios)"
            for line in lines:
                yield from _wrapped(line, "  ") if len(line) > WIDTH else [f"  {line}"]
            yield from _wrapped(RATIO_MEANS, "  ")


def _paired(
    names: tuple[str, ...], checks: tuple[str, ...]
) -> Iterator[tuple[str, str]]:
    for i, name in enumerate(names):
        yield name, checks[i] if i < len(checks) else ""


def _unread(seen: Snapshot) -> Iterator[str]:
    if not seen.unread:
        return
    yield "Not read (this is not the same as none)"
    for line in seen.unread:
        yield from _wrapped(line, "  ")


def clearing_caution() -> str:
    """The caution shown before codes are cleared."""
    return "\n".join(_wrapped(CAUTIONS["clearing"], "  "))
