"""Codes: stored, pending, permanent, with freeze frame, monitors and test results."""

from __future__ import annotations

from dataclasses import replace

from bankwise.signals import evidence as ev
from bankwise.signals import trouble_codes
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.cautions import CAUTIONS
from bankwise.tui.canvas import Canvas
from bankwise.tui.keys import Group, Key
from bankwise.tui.messages import Ask, Intent, Say
from bankwise.tui.panes.figures import titled
from bankwise.tui.panes.rows import heading, paragraph
from bankwise.tui.snapshot import Look, PaneState, Snapshot, bank_of
from bankwise.tui.themes import BANK_INK, BOLD, Ink, look
from bankwise.tui.words import clip, clock, number

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_SIDE_FROM = 100

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
    sections = [
        ("CODES", _progress(shot), code_lines(found)),
        ("FREEZE FRAME", "", frame_lines(found)),
        ("MONITORS", "", monitor_lines(found)),
        ("SINCE CLEARED", "", counter_lines(found)),
        ("TEST RESULTS", "service 06", result_lines(found)),
        ("CONTROL UNITS", "", unit_lines(found)),
    ]
    if canvas.width >= _SIDE_FROM:
        half = canvas.width // 2
        left = canvas.part(0, 0, half - 1, canvas.height)
        right = canvas.part(half + 1, 0, canvas.width - half - 1, canvas.height)
        _draw_sections(left, [*sections[:4], sections[5]], state.state.first_row)
        _draw_sections(right, sections[4:5], state.state.first_row)
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


def code_lines(found: ev.Snapshot) -> Lines:
    """A line a code, under when it counts; in words what could not be read."""
    lines: Lines = []
    for when in ("stored", "pending", "permanent"):
        reading = found.codes.get(when)
        if reading is None or reading.t is None:
            lines.append((f"{when:<10} never asked", _SOFT))
            continue
        if not reading.codes:
            words = "; ".join(reading.trouble) or "none"
            lines.append((f"{when:<10} {words} ({clock(reading.t)})", 0))
        for code in reading.codes:
            about = trouble_codes.about(code)
            ink = BANK_INK.get(bank_of(about), Ink.TEXT)
            ink = Ink.TEXT if ink is Ink.NEUTRAL else ink
            text = f"{when:<10} {code}  {about}  {trouble_codes.system(code)}"
            lines.append((text, look(ink, attributes=BOLD)))
    return lines


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
        low = number(result.low, 3) if result.has_low else ""
        high = number(result.high, 3) if result.has_high else ""
        verdict = "pass" if result.passed else "FAIL"
        ink = BANK_INK.get(bank_of(result.about), Ink.TEXT)
        ink = Ink.TEXT if ink is Ink.NEUTRAL else ink
        title = clip(result.title or result.subject, 26)
        text = (
            f"{verdict} {result.about:<6} {title:<26} "
            f"{number(result.value, 3)} {result.sign} [{low}…{high}]"
        )
        lines.append((text, look(ink, attributes=0 if result.passed else BOLD)))
    return lines


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
