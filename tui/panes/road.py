"""The road test: what must be read in one second, and the lanes beneath it."""

from __future__ import annotations

import math
from functools import partial

from bankwise.signals.severity import Severity
from bankwise.tui import digits
from bankwise.tui.canvas import Canvas
from bankwise.tui.drawn import CALM_HZ, draw_calmly
from bankwise.tui.lane_axis import SIGNS
from bankwise.tui.lanes import chosen, draw_stack
from bankwise.tui.measure import draw_readout
from bankwise.tui.panes.flags import draw_ledger
from bankwise.tui.snapshot import Flag, Look, Snapshot
from bankwise.tui.themes import BANK_INK, BOLD, REVERSE, Ink, look
from bankwise.tui.words import (
    DIFFERENCE,
    clip,
    driving,
    fuel_status,
    number,
    placed,
    sentence,
    unproven,
    wrap,
)

_WIDE, _SIDE_FROM = 100, 110
_ROOMY_ROWS = 26
_LEDGER_FROM = 40
_TOP_ROWS, _SMALL = 5, 10
_WIDE_STEP, _NARROW_STEP = 24, 15
_RPM_COLUMNS = 20
_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws instruments on top, lanes below, flags beside or under them."""
    top = canvas.part(0, 0, canvas.width, _TOP_ROWS)
    instruments = partial(draw_instruments, shot=shot, state=state)
    draw_calmly(top, "instruments", shot, state, (), instruments)
    y = _TOP_ROWS + (canvas.height >= _ROOMY_ROWS)
    lanes = chosen(shot, state.lanes)
    readout = 2 if state.view.cursor_s is not None else 0
    if canvas.width >= _SIDE_FROM:
        side = min(max(canvas.width // 3, 36), 64)
        wide = canvas.width - side - 2
        height = canvas.height - y - readout
        draw_stack(canvas.part(0, y, wide, height), shot, state, lanes)
        beside = partial(_draw_side, shot=shot, state=state)
        words = (shot.flags, state.acknowledged, shot.causes, shot.unsaid)
        area = canvas.part(wide + 2, y, side - 1, canvas.height - y)
        draw_calmly(area, "side", shot, state, words, beside)
        if readout:
            part = canvas.part(0, canvas.height - readout, wide, readout)
            draw_readout(part, shot, state.view)
        return
    flags_rows = readout or min(max(canvas.height // 6, 3), 8)
    height = canvas.height - y - flags_rows
    draw_stack(canvas.part(0, y, canvas.width, height), shot, state, lanes)
    part = canvas.part(0, y + height, canvas.width, flags_rows)
    if readout:
        draw_readout(part, shot, state.view)
    else:
        draw_flags(part, shot, state)


def _draw_side(area: Canvas, shot: Snapshot, state: Look) -> None:
    both = area.height >= _LEDGER_FROM
    split = area.height // 2 if both else area.height
    draw_flags(area.part(0, 0, area.width, split - both), shot, state)
    rest = area.part(0, split, area.width, area.height - split)
    if rest.height:
        draw_ledger(rest, shot)


def draw_instruments(area: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws both banks' trims, their difference, engine speed and the small figures."""
    at_s = state.view.read_at(shot.now_s)
    if at_s is None:
        # Numbers that change more often than this cannot be read anyway.
        at_s = math.floor(shot.now_s * CALM_HZ) / CALM_HZ
    wide = area.width >= _WIDE
    places = 1 if wide else 0
    step = _WIDE_STEP if wide else _NARROW_STEP
    banks = (1, 2) if shot.two_banks else (1,)
    trims = [shot.value(f"total_trim_b{bank}_pct", at_s) for bank in banks]
    x = 1
    for bank, trim in zip(banks, trims, strict=True):
        words, faulty = fuel_status(shot.value(f"status_b{bank}", at_s))
        ink = BANK_INK[bank]
        area.put(x, 0, f"BANK {bank} trim %", look(ink, attributes=BOLD))
        digits.draw(area, x, 1, _big(trim, places), look(ink))
        code = look(ink, attributes=BOLD | (REVERSE if faulty else 0))
        area.put(x, 4, f" {words} " if faulty and wide else words, code)
        x += step
    if shot.two_banks:
        area.put(x, 0, f"{DIFFERENCE} %", _BOLD)
        digits.draw(area, x, 1, _big(trims[0] - trims[1], places), look(Ink.TEXT))
        _flag_under(area, x, step - 2, shot)
        x += step
    if x + _RPM_COLUMNS > area.width:
        return
    rpm = shot.value("rpm", at_s)
    area.put(x, 0, "ENGINE rpm", _BOLD)
    rounded = round(rpm / 10) * 10 if math.isfinite(rpm) else float("nan")
    digits.draw(area, x, 1, _big(rounded, 0, False).rjust(4), look(Ink.TEXT))
    area.put(x, 4, driving_words(shot, at_s), _SOFT)
    _small(area, x + (22 if wide else 20), shot, at_s, wide)


def _small(area: Canvas, x: int, shot: Snapshot, at_s: float, wide: bool) -> None:
    rows = (
        ("load", "load", "load_pct", "%"),
        ("speed", "", "speed_kmh", "km/h"),
        ("coolant", "cool", "ect_c", "°C"),
        ("air", "air", "maf_gps", "g/s"),
        ("MAP", "MAP", "map_kpa", "kPa"),
    )
    y = 0
    room = area.width - x - 1
    if wide and room >= 44:
        for label, _, name, unit in rows[:3]:
            value = number(shot.value(name, at_s), 0)
            area.put(x, 0, f"{label.upper()} {unit}", _BOLD)
            digits.draw(area, x, 1, _fit(value, 3), look(Ink.TEXT))
            x += 17
        return
    for label, short, name, unit in rows:
        measured = shot.value(name, at_s)
        if name in ("maf_gps", "map_kpa") and not math.isfinite(measured):
            continue
        before = 8 if wide else 4
        area.put(x, y, label if wide else short, _SOFT)
        area.put_right(x + before + 4, y, number(measured, 0), _BOLD)
        area.put(x + before + 5, y, unit, _SOFT)
        y += 1


def _fit(text: str, count: int) -> str:
    return text.rjust(count)[-count:]


def _big(value: float, decimals: int, sign: bool = True) -> str:
    if not math.isfinite(value):
        return "––"
    text = number(value, decimals, sign)
    return text if len(text) <= 5 or not decimals else number(value, 0, sign)


def driving_words(shot: Snapshot, at_s: float) -> str:
    """The driving state and how warm the engine is, where the engine knows them."""
    return driving(shot.value("state", at_s), shot.value("warm", at_s))


def _flag_under(area: Canvas, x: int, width: int, shot: Snapshot) -> None:
    for flag in shot.active:
        if flag.about in ("B1", "B2") and flag.severity >= Severity.WATCH:
            sign = SIGNS[flag.severity]
            forms = (f"{sign} {flag.about} {flag.id}", f"{sign} {flag.about} flag up")
            text = next((t for t in forms if len(t) <= width), f"{sign} {flag.about}")
            area.put(x, 4, text, look(Ink.TEXT, attributes=BOLD))
            return


def draw_flags(area: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws the flags: those up first, the newest with all it has to say."""
    up = list(shot.active)
    past = [flag for flag in shot.flags if not flag.active]
    small = area.height < _SMALL
    y = 0
    if not small:
        title = f"FLAGS  {len(up)} up" if up else "FLAGS"
        area.put(1, 0, title, _BOLD)
        area.chars[1, 1:] = ord("─")
        area.looks[1, 1:] = look(Ink.FAINT)
        y = 2
    if not up and not past:
        area.put(1, y, clip("no flag so far", area.width - 1), _SOFT)
        return
    listed = [*up, *past]
    for place, flag in enumerate(listed):
        if y >= area.height - (not small):
            if not small:
                left = f"and {len(listed) - place} more: 5 lists all"
                area.part(0, area.height - 1, area.width, 1).clear()
                area.put(1, area.height - 1, left, _SOFT)
            return
        y = _draw_flag(area, y, flag, state, whole=place == 0 and flag.active)
        y += 0 if small else 1


def _draw_flag(area: Canvas, y: int, flag: Flag, state: Look, whole: bool) -> int:
    seen = flag.key in state.acknowledged
    width = area.width - 4
    ink = BANK_INK[flag.bank] if flag.bank else Ink.TEXT
    sign = look(Ink.TEXT, attributes=REVERSE | BOLD) if flag.active else _SOFT
    area.put(0, y, f" {SIGNS[flag.severity]} ", sign)
    code = look(ink, attributes=BOLD) if flag.active and not seen else look(ink)
    if area.height < _SMALL:
        return _draw_small(area, y, flag, code, whole)
    x = area.put(4, y, flag.about, code)
    area.put(x + 1, y, clip(flag.id, area.width - x - 2), code)
    y += 1
    if not flag.active:
        return y
    for line in wrap(sentence(flag.text), width):
        area.put(4, y, line)
        y += 1
    if whole:
        left_open = unproven(flag.does_not_prove) if flag.does_not_prove else ""
        next_check = f"Next: {flag.next}" if flag.next else ""
        for text, code in ((left_open, _SOFT), (next_check, _BOLD)):
            for line in wrap(text, width):
                area.put(4, y, line, code)
                y += 1
    return y


def _draw_small(area: Canvas, y: int, flag: Flag, code: int, whole: bool) -> int:
    width = area.width - 5
    text = placed(flag.text, flag.about)
    lines = wrap(text, width)[:2] if whole else [clip(text, width)]
    for line in lines:
        area.put(4, y, line)
        y += 1
    if text.startswith(flag.about):
        area.part(4, y - len(lines), len(flag.about), 1).looks[:] = code
    if whole and flag.next:
        area.put(4, y, clip(f"Next: {flag.next}", width), _BOLD)
        y += 1
    if whole and flag.does_not_prove:
        area.put(4, y, clip(unproven(flag.does_not_prove), width), _SOFT)
        y += 1
    return y
