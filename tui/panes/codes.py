"""Codes: stored, pending, permanent, with freeze frame, monitors and test results."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from bankwise.signals import evidence as ev
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.similar_conditions import Entered, window_of
from bankwise.signals.two_trips import code_stories
from bankwise.tui import code_words
from bankwise.tui.canvas import Canvas
from bankwise.tui.code_words import (
    NO_LIMIT,
    RATIO_MEANS,
    SIMILAR,
    bar,
    counter_lines,
    in_use_lines,
    open_words,
    result_rows,
    value_words,
    window_words,
)
from bankwise.tui.keys import Group, Key
from bankwise.tui.messages import Ask, Intent, Say
from bankwise.tui.panes.rows import heading, paragraph
from bankwise.tui.snapshot import Look, PaneState, Snapshot, bank_of
from bankwise.tui.themes import BANK_INK, BOLD, Ink, look
from bankwise.tui.words import clip, clock, sentence, wrap

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_SIDE_FROM = 100
_MORE = " ↓ more "
_READING = {"lost": "LINK LOST", "connecting": "not connected"}
_NO_PART = "It may come and go, or be mended: buy no part on this code alone."

KEYS = (Key(("r",), "read", "read the codes and their history now", Group.NOTE),)
Lines = list[tuple[str, int]]


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws what was read; says in words what was not."""
    found = shot.evidence
    if found is None:
        y = heading(canvas, 0, "CODES", "nothing read yet")
        words = (
            "This session holds no reading of codes up to this moment."
            if (shot.link.kind == "replay")
            else "r: read codes, freeze frame, monitors and test results now."
        )
        if shot.unread is not None:
            words = _to_come(shot)
        y = paragraph(canvas, y, words)
        paragraph(canvas, y + 1, CAUTIONS["clearing"], _SOFT)
        return
    beside = canvas.width >= _SIDE_FROM
    half = canvas.width // 2
    sections = _sections(shot, found, half - 1 if beside else canvas.width)
    first = state.state.first_row
    if beside:
        left = canvas.part(0, 0, half - 1, canvas.height)
        right = canvas.part(half + 1, 0, canvas.width - half - 1, canvas.height)
        _draw_sections(left, sections[:2], first)
        _draw_sections(right, sections[2:], first)
        return
    _draw_sections(canvas, sections, first)


Section = tuple[str, str, Lines]


def _sections(shot: Snapshot, found: ev.Snapshot, width: int) -> list[Section]:
    against, entered = shot.code_against, shot.windows
    codes = code_lines(found, shot.code_words, width, against, entered)
    return [
        ("CODES", _progress(shot), [*unread_lines(found, width), *codes]),
        ("FREEZE FRAME", "what was so when the code set", frame_lines(found)),
        ("MONITORS", "since codes were cleared", monitor_lines(found)),
        ("SINCE CLEARED", "", [(line, 0) for line in counter_lines(found)]),
        ("TEST RESULTS", "service 06; bar: room to the limit", result_lines(found)),
        ("CONTROL UNITS", "", unit_lines(found)),
        ("IN USE", "how often each self-test ran", use_lines(found, width)),
    ]


def _rows(sections: list[Section]) -> int:
    return sum(len(lines or (0,)) + 3 for _, _, lines in sections)


def _progress(shot: Snapshot) -> str:
    if shot.unread is not None:
        return f"{_to_come(shot)}, shown as read so far"
    return "as read in this drive" if shot.link.kind == "replay" else "r: read again"


def _to_come(shot: Snapshot) -> str:
    """How many answers are missing, and whether they can come as the link stands."""
    count = f"{shot.unread} {'answer' if shot.unread == 1 else 'answers'}"
    if shot.link.state == "closed":
        return f"link closed: {count} never came"
    return f"{_READING.get(shot.link.state, 'reading')}: {count} to come"


def _draw_sections(area: Canvas, sections: list[Section], first: int) -> None:
    below = _rows(sections) - area.height
    y = -min(first, max(below, 0))
    more = y + below > 0
    for title, note, lines in sections:
        if y >= 0:
            heading(area, y, title, note)
        y += 2
        for text, code in lines or [("nothing read", _SOFT)]:
            area.put(1, y, clip(text, area.width - 2), code)
            y += 1
        y += 1
    if more:
        area.put(area.width - len(_MORE) - 1, area.height - 1, _MORE, _SOFT)


def act(name: str, shot: Snapshot, state: Look) -> tuple[PaneState, Intent | None]:
    """Reads again, or scrolls."""
    own = state.state
    if name == "read":
        if shot.link.kind == "replay":
            return own, Say("a replay cannot ask the car")
        return own, Ask()
    by = {"up": -4, "down": 4}.get(name, 0)
    found = shot.evidence
    most = _rows(_sections(shot, found, _SIDE_FROM)) if found is not None else 0
    return replace(own, first_row=min(max(own.first_row + by, 0), most)), None


def code_lines(
    found: ev.Snapshot,
    words: Mapping[str, str],
    width: int,
    against: Mapping[str, str],
    windows: Iterable[Entered] = (),
) -> Lines:
    """Every code with what its sets mean and what comes next; then the empty sets."""
    lines: Lines = []
    entered = {one.code: one for one in windows}
    for story in code_stories(found):
        bank = bank_of(story.about)
        ink = BANK_INK[bank] if bank else Ink.TEXT
        sets = " + ".join(story.sets)
        head = f"{story.code}  {story.about}  {sets}"
        lines.append((head, look(ink, attributes=BOLD)))
        parts = (words.get(story.code, ""), story.system, *story.states)
        lines += _wrapped(", ".join(filter(None, parts)), width, _SOFT)
        lines += _wrapped(f"{sentence(story.text)}. {story.next}", width, 0)
        if story.code in against:
            text = f"Against it: {against[story.code]}. {_NO_PART}"
            lines += _wrapped(text, width, _BOLD)
        if story.window is not None:
            text = f"Similar conditions: {window_words(story.window)} ({SIMILAR})"
            lines += _wrapped(text, width, 0)
            lines += _ticked(entered.get(story.code), width)
    for when, reading in found.codes.items():
        if reading.codes and reading.known:
            continue
        why = "; ".join(reading.trouble) or ("none" if reading.known else "no answer")
        moment = f" ({clock(reading.t)})" if reading.t is not None else ""
        lines.append((f"{when:<10} {why}{moment}", 0))
    return lines


def _ticked(one: Entered | None, width: int) -> Lines:
    """Whether this drive has been in a code's conditions."""
    if one is None:
        return []
    if one.at_s is None:
        return _wrapped("□ not yet entered in this drive", width, _BOLD)
    return _wrapped(f"✓ entered at {clock(one.at_s)}", width, _BOLD)


def unread_lines(found: ev.Snapshot, width: int) -> Lines:
    """What was asked in vain, first of all: it is not the same as none."""
    return [line for words in found.unread for line in _wrapped(words, width, _SOFT)]


def _wrapped(text: str, width: int, code: int) -> Lines:
    return [(f"  {line}", code) for line in wrap(text, max(width - 5, 10))]


def frame_lines(found: ev.Snapshot) -> Lines:
    """What the control units kept of the moment a code set."""
    lines: Lines = []
    for frame in found.frames:
        head = f"{frame.unit} frame {frame.number}: {frame.code or 'empty'}"
        lines.append((head, _BOLD))
        window = window_of(frame.values)
        if window is not None:
            lines.append((f"  drive again at {window_words(window)}", _BOLD))
        lines += [
            (f"  {title:<34} {value:>12}", 0)
            for title, value in code_words.frame_lines(frame)
        ]
    return lines


def monitor_lines(found: ev.Snapshot) -> Lines:
    """Which self-tests have run, and the lamp."""
    lines: Lines = []
    for unit, status in found.since_clear.items():
        lamp = "lamp ON" if status.lamp else "lamp off"
        codes = f"{status.count} {'code' if status.count == 1 else 'codes'} stored"
        lines.append((f"{unit}: {lamp}, {codes}", _BOLD))
        if unit in found.count_mismatch():
            lines.append(("  its list holds another number: read again (r)", _BOLD))
        for monitor in status.monitors:
            done = "complete" if monitor.complete else "OPEN"
            code = 0 if monitor.complete else _BOLD
            lines.append((f"  {monitor.name:<34} {done}", code))
            if not monitor.complete:
                lines.append((f"    {monitor.meaning}", _SOFT))
    return lines + [(line, 0) for line in open_words(found)]


def result_lines(found: ev.Snapshot) -> Lines:
    """Each test with its limits, then bank against bank with the room to the limit."""
    lines: Lines = []
    subject = ""
    for row in result_rows(found.results):
        if row.subject != subject:
            subject = row.subject
            lines.append((subject, _BOLD))
        failed = any(not result.passed for result in row.results)
        code = _BOLD if failed else 0
        limits = "" if row.limits == NO_LIMIT else f", {row.limits}"
        if len(row.cells) == 1:
            lines.append((f"  {row.title}: {_cell(row.cells[0])}{limits}", code))
            continue
        lines.append((f"  {row.title}{limits}", code))
        cells = "   ".join(
            f"bank {bank} {_cell(cell):<16}" for bank, cell in enumerate(row.cells, 1)
        )
        lines.append((f"      {cells}", code))
    return lines


def _cell(result: ev.MonitorResult | None) -> str:
    if result is None:
        return "–"
    room = bar(result.margin, 5) if result.passed else "FAILED"
    return f"{value_words(result)} {room}".rstrip()


def use_lines(found: ev.Snapshot, width: int) -> Lines:
    """The in-use table of each control unit that keeps one."""
    lines: Lines = []
    for unit in found.units:
        table = in_use_lines(unit)
        if table:
            lines.append((unit.unit, _BOLD))
            lines += [(f"  {line}", 0) for line in table]
    if lines:
        lines += _wrapped(RATIO_MEANS, width, _SOFT)
    return lines


def unit_lines(found: ev.Snapshot) -> Lines:
    """What the control units say of themselves, and what was not read."""
    lines: Lines = []
    for unit in found.units:
        lines.append((f"{unit.unit} {unit.name}".rstrip(), _BOLD))
        for label, words in (
            ("VIN", f"{unit.vin} ({unit.vin_verdict})" if unit.vin else ""),
            ("calibration", ", ".join(unit.calibrations)),
            ("verification", ", ".join(unit.verifications)),
        ):
            if words:
                lines.append((f"  {label} {words}", 0))
    return lines
