"""Codes: stored, pending, permanent, with freeze frame, monitors and test results."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from bankwise.signals import evidence as ev
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.two_trips import code_stories
from bankwise.tui.canvas import Canvas
from bankwise.tui.keys import Group, Key
from bankwise.tui.messages import Ask, Intent, Say
from bankwise.tui.panes.figures import titled
from bankwise.tui.panes.rows import heading, paragraph
from bankwise.tui.snapshot import Look, PaneState, Snapshot, bank_of
from bankwise.tui.themes import BANK_INK, BOLD, Ink, look
from bankwise.tui.words import clip, clock, number, sentence, wrap

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_SIDE_FROM = 100
_NO_PART = "It may come and go, or be mended: buy no part on this code alone."

KEYS = (Key(("r",), "read", "read the codes and their history now", Group.NOTE),)
Lines = list[tuple[str, int]]


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws what was read; says in words what was not."""
    found = shot.evidence
    if found is None:
        y = heading(canvas, 0, "CODES", "nothing read yet")
        words = (
            "A replay shows what was read during the drive."
            if (shot.link.kind == "replay")
            else "r: read codes, freeze frame, monitors and test results now."
        )
        if shot.unread is not None:
            words = f"reading: {shot.unread} answers to come"
        y = paragraph(canvas, y, words)
        paragraph(canvas, y + 1, CAUTIONS["clearing"], _SOFT)
        return
    beside = canvas.width >= _SIDE_FROM
    half = canvas.width // 2
    width = half - 1 if beside else canvas.width
    sections = [
        (
            "CODES",
            _progress(shot),
            code_lines(found, shot.code_words, width, shot.code_against),
        ),
        ("FREEZE FRAME", "", frame_lines(found)),
        ("MONITORS", "", monitor_lines(found)),
        ("SINCE CLEARED", "", counter_lines(found)),
        ("TEST RESULTS", "service 06", result_lines(found)),
        ("CONTROL UNITS", "", unit_lines(found)),
    ]
    if beside:
        left = canvas.part(0, 0, half - 1, canvas.height)
        right = canvas.part(half + 1, 0, canvas.width - half - 1, canvas.height)
        _draw_sections(left, sections[:2], state.state.first_row)
        _draw_sections(right, sections[2:], state.state.first_row)
        return
    _draw_sections(canvas, sections, state.state.first_row)


def _progress(shot: Snapshot) -> str:
    if shot.unread is not None:
        return f"reading: {shot.unread} answers to come"
    return "as read in this drive" if shot.link.kind == "replay" else "r: read again"


def _draw_sections(
    area: Canvas, sections: list[tuple[str, str, Lines]], first: int
) -> None:
    y = -first
    for title, note, lines in sections:
        if y >= 0:
            heading(area, y, title, note)
        y += 2
        for text, code in lines or [("nothing read", _SOFT)]:
            area.put(1, y, clip(text, area.width - 2), code)
            y += 1
        y += 1


def act(name: str, shot: Snapshot, state: Look) -> tuple[PaneState, Intent | None]:
    """Reads again, or scrolls."""
    own = state.state
    if name == "read":
        if shot.link.kind == "replay":
            return own, Say("a replay cannot ask the car")
        return own, Ask()
    by = {"up": -4, "down": 4}.get(name, 0)
    return replace(own, first_row=max(own.first_row + by, 0)), None


def code_lines(
    found: ev.Snapshot,
    words: Mapping[str, str],
    width: int,
    against: Mapping[str, str],
) -> Lines:
    """Every code with what its sets mean and what comes next; then the empty sets."""
    lines: Lines = []
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
        window = story.window
        if window is not None:
            warm = {True: ", warm", False: ", not yet warm", None: ""}[window.warm]
            text = (
                f"Similar conditions: {window.rpm[0]:.0f} to {window.rpm[1]:.0f} rpm, "
                f"load {window.load[0]:.0f} to {window.load[1]:.0f} %{warm}"
            )
            lines += _wrapped(text, width, 0)
    for when, reading in found.codes.items():
        if reading.codes and reading.known:
            continue
        why = "; ".join(reading.trouble) or ("none" if reading.known else "no answer")
        moment = f" ({clock(reading.t)})" if reading.t is not None else ""
        lines.append((f"{when:<10} {why}{moment}", 0))
    return lines


def _wrapped(text: str, width: int, code: int) -> Lines:
    return [(f"  {line}", code) for line in wrap(text, max(width - 5, 10))]


def frame_lines(found: ev.Snapshot) -> Lines:
    """What the control units kept of the moment a code set."""
    lines: Lines = []
    for frame in found.frames:
        lines.append(
            (f"{frame.unit} frame {frame.number}: {frame.code or 'no code'}", _BOLD)
        )
        for name, value in frame.values.items():
            signal = SIGNALS.get(name)
            title = titled(name)
            unit = signal.unit if signal else ""
            decimals = signal.decimals if signal else 1
            lines.append((f"  {title:<34} {number(value, decimals):>8} {unit}", 0))
    return lines


def monitor_lines(found: ev.Snapshot) -> Lines:
    """Which self-tests have run, and the lamp."""
    lines: Lines = []
    for unit, status in found.since_clear.items():
        lamp = "lamp ON" if status.lamp else "lamp off"
        lines.append((f"{unit}: {lamp}, {status.count} codes", _BOLD))
        for monitor in status.monitors:
            done = "complete" if monitor.complete else "not complete"
            code = 0 if monitor.complete else _BOLD
            lines.append((f"  {monitor.name:<34} {done}", code))
    for unit, status in found.this_drive.items():
        left = ", ".join(status.open) or "none"
        lines.append((f"{unit}: not yet run this drive: {left}", 0))
    return lines


def counter_lines(found: ev.Snapshot) -> Lines:
    """Distance, time and warm-ups since the codes were cleared."""
    lines: Lines = []
    for name, value in found.counters.items():
        signal = SIGNALS.get(name)
        title = signal.title if signal else name
        unit = signal.unit if signal else ""
        lines.append((f"{title:<34} {number(value, 0):>8} {unit}", 0))
    return lines


def result_lines(found: ev.Snapshot) -> Lines:
    """A line a test result, with its limits and whether it passed."""
    lines: Lines = []
    for result in found.results:
        low = _short(result.low) if result.has_low else ""
        high = _short(result.high) if result.has_high else ""
        limits = f"[{low}…{high}]" if low or high else ""
        verdict = "pass" if result.passed else "FAIL"
        ink = BANK_INK.get(bank_of(result.about), Ink.TEXT)
        ink = Ink.TEXT if ink is Ink.NEUTRAL else ink
        title = clip(result.title or result.subject, 26)
        text = (
            f"{verdict} {result.about:<6} {title:<26} "
            f"{_short(result.value)} {result.sign} {limits}"
        )
        lines.append((text, look(ink, attributes=0 if result.passed else BOLD)))
    return lines


def _short(value: float) -> str:
    return number(value, 3).rstrip("0").rstrip(".")


def unit_lines(found: ev.Snapshot) -> Lines:
    """What the control units say of themselves, and what was not read."""
    lines: Lines = []
    for unit in found.units:
        lines.append((f"{unit.unit} {unit.name}".rstrip(), _BOLD))
        for label, words in (
            ("VIN", unit.vin),
            ("calibration", ", ".join(unit.calibrations)),
            ("verification", ", ".join(unit.verifications)),
        ):
            if words:
                lines.append((f"  {label} {words}", 0))
    lines += [(f"not read: {words}", _SOFT) for words in found.unread]
    return lines
