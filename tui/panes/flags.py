"""Flags and explanations: the list, the proof of one flag, and the ledger of causes."""

from __future__ import annotations

from dataclasses import replace

from bankwise.signals.ledger import EXPLANATIONS
from bankwise.signals.limit_words import WORDS
from bankwise.tui.canvas import Canvas
from bankwise.tui.lane_axis import SIGNS
from bankwise.tui.lane_table import LANES
from bankwise.tui.lanes import draw_stack
from bankwise.tui.messages import Acknowledge, Intent, ShowTime
from bankwise.tui.panes.rows import first_row, heading, paragraph, pick_bar, step
from bankwise.tui.snapshot import Cause, Flag, Look, PaneState, Snapshot, Unsaid
from bankwise.tui.themes import BANK_INK, BOLD, REVERSE, Ink, look
from bankwise.tui.timeview import SPANS_S, TimeView
from bankwise.tui.words import (
    LEGEND,
    TRADE_PRACTICE,
    clip,
    clock,
    number,
    sentence,
    trade,
    unproven,
    wrap,
)

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_SIDE_FROM = 100
_LEAD_S = 20.0
_MOST_LINES = 4
_ROOMY = 24
_PAGE_ROWS = 80
_KEPT_BACK = ("kept back for what was not seen",)
_PROOF_LANES = ("slowfront", "trim", "rear", "rpm", "load", "coolant")


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws the list and the ledger, or the proof of the flag that is open."""
    flag = picked(shot, state)
    if state.state.opened and flag is not None:
        draw_proof(canvas, shot, state, flag)
        return
    if canvas.width >= _SIDE_FROM:
        half = canvas.width // 2
        draw_list(canvas.part(0, 0, half - 1, canvas.height), shot, state)
        draw_ledger(
            canvas.part(half + 1, 0, canvas.width - half - 1, canvas.height), shot
        )
        return
    half = canvas.height // 2
    draw_list(canvas.part(0, 0, canvas.width, half), shot, state)
    draw_ledger(canvas.part(0, half, canvas.width, canvas.height - half), shot)


def picked(shot: Snapshot, state: Look) -> Flag | None:
    """The flag that is picked; the same one after newer flags rose above it."""
    if state.state.tag:
        for flag in shot.flags:
            if "/".join(flag.key) == state.state.tag:
                return flag
    if not shot.flags:
        return None
    return shot.flags[min(state.state.picked, len(shot.flags) - 1)]


def draw_list(area: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws all flags, newest first."""
    up = len(shot.active)
    y = heading(area, 0, "FLAGS", f"{up} up, {len(shot.flags)} in all  ⏎ proof")
    if not shot.flags:
        paragraph(area, y, "No flag so far.", _SOFT)
        return
    current = picked(shot, state)
    place = shot.flags.index(current) if current is not None else 0
    lines = min(max((area.height - y) // len(shot.flags) - 1, 1), _MOST_LINES)
    rows = (area.height - y) // (1 + lines)
    first = first_row(place, len(shot.flags), rows)
    for flag in shot.flags[first : first + rows]:
        end = _draw_row(area, y, flag, state, lines)
        if flag is current:
            pick_bar(area, y, end - y)
        y = end


def _draw_row(area: Canvas, y: int, flag: Flag, state: Look, lines: int) -> int:
    seen = flag.key in state.acknowledged
    ink = BANK_INK[flag.bank] if flag.bank else Ink.TEXT
    sign = look(Ink.TEXT, attributes=BOLD | REVERSE) if flag.active else _SOFT
    area.put(1, y, f" {SIGNS[flag.severity]} ", sign)
    code = look(ink, attributes=0 if seen else BOLD) if flag.active else _SOFT
    x = area.put(5, y, f"{flag.about:<5} {flag.id}", code)
    when = f"up since {clock(flag.last_rise_s)}" if flag.active else "cleared"
    when += f", {clock(flag.total_s)} in all" + (", seen" if seen else "")
    if x + len(when) + 2 < area.width:
        area.put_right(area.width - 1, y, when, _SOFT)
    width = area.width - 6
    if lines == 1:
        area.put(5, y + 1, clip(sentence(flag.text), width))
        return y + 2
    shown = wrap(sentence(flag.text), width)[:lines]
    for i, line in enumerate(shown, 1):
        area.put(5, y + i, line)
    return y + 1 + len(shown)


def draw_ledger(area: Canvas, shot: Snapshot) -> None:
    """Draws explanations, likeliest first, with what speaks for and against each."""
    y = heading(area, 0, "EXPLANATIONS", "what the data supports")
    for cause in shot.causes:
        if y >= area.height - 1:
            return
        y = _draw_cause(area, y, cause, first=cause is shot.causes[0])
    if not shot.causes:
        y = paragraph(area, y, "Nothing to explain yet.", _SOFT)
    if shot.unsaid and y + 3 < area.height:
        y = heading(area, y + 1, "CANNOT TELL")
        for row in shot.unsaid:
            if y >= area.height:
                return
            y = _draw_unsaid(area, y, row)


def _draw_unsaid(area: Canvas, y: int, row: Unsaid) -> int:
    why = row.why or "not enough was seen"
    for i, line in enumerate(wrap(f"{row.about} {row.what}: {why}", area.width - 4)):
        area.put(1 if i == 0 else 3, y, line)
        y += 1
    return y


def _draw_cause(area: Canvas, y: int, cause: Cause, first: bool) -> int:
    bar = "█" * round(cause.share * 10)
    area.put(1, y, f"{bar:░<10}", look(Ink.NEUTRAL))
    share = f"{round(cause.share * 100):>3} %"
    x = area.put(12, y, share, _BOLD)
    engine = cause.about == "engine"
    words = EXPLANATIONS.get(cause.id, cause.id.replace("-", " "))
    words = sentence(words) if engine else f"{cause.about}: {words}"
    named = wrap(words, area.width - x - 3)
    for line in named:
        area.put(x + 2, y, line, _BOLD)
        y += 1
    many = 4 if first else 2
    for_ = cause.speaks_for or (_KEPT_BACK if cause.id == "cannot-tell" else ())
    for sign, rows, code in (("+", for_, 0), ("−", cause.against, 0)):
        for text in rows[:many]:
            area.put(3, y, sign, _BOLD)
            if area.height >= _ROOMY:
                y = paragraph(area, y, text, code, 5)
            else:
                area.put(5, y, clip(text, area.width - 6), code)
                y += 1
    if first and cause.next:
        y = paragraph(area, y, f"Next: {cause.next}", _BOLD, 3)
    return y + 1


def draw_proof(canvas: Canvas, shot: Snapshot, state: Look, flag: Flag) -> None:
    """Draws one flag whole: lanes about it, limits and sources, what it leaves open."""
    words_width = canvas.width // 2 if canvas.width >= _SIDE_FROM else canvas.width
    beside = words_width < canvas.width
    rows = canvas.height if beside else canvas.height * 3 // 5
    page = Canvas.blank(words_width - 1, _PAGE_ROWS)
    end = draw_words(page, flag, spaced=beside)
    room = rows - 1
    first = max(min(state.state.first_row, end - room), 0)
    area = canvas.part(0, 0, words_width - 1, room)
    part = page.part(0, first, area.width, area.height)
    area.chars[:] = part.chars
    area.looks[:] = part.looks
    more = "↑ ↓ more   " if end > room else ""
    hint = f"{more}esc: back   a: seen   v: lanes at this moment"
    canvas.put(1, rows - 1, clip(hint, words_width - 2), _SOFT)
    if beside:
        lanes = canvas.part(words_width, 0, canvas.width - words_width, canvas.height)
    else:
        lanes = canvas.part(0, rows, canvas.width, canvas.height - rows)
    ids = [name for name in _PROOF_LANES if not (name == "slowfront" and not beside)]
    shown = [LANES[name] for name in ids][: max(lanes.height // 4, 2)]
    draw_stack(lanes, shot, replace(state, view=about(flag, shot.now_s)), shown)


def draw_words(page: Canvas, flag: Flag, spaced: bool) -> int:
    """Draws all a flag has to say from the top of a page; returns the row after it."""
    ink = BANK_INK[flag.bank] if flag.bank else Ink.TEXT
    title = f"{SIGNS[flag.severity]} {flag.severity.value.upper()}  {flag.about}"
    page.put(1, 0, f" {title} ", look(ink, attributes=BOLD | REVERSE))
    page.put(len(title) + 5, 0, flag.id, look(ink, attributes=BOLD))
    y = paragraph(page, 1 + spaced, sentence(flag.text), _BOLD)
    spans = ", ".join(f"{clock(a)}–{clock(b)}" for a, b in flag.spans[-3:])
    y = paragraph(page, y, f"Up {spans}; {clock(flag.total_s)} in all.", _SOFT)
    for text in (
        unproven(flag.does_not_prove) if flag.does_not_prove else "",
        f"Likely causes: {'; '.join(flag.causes)}." if flag.causes else "",
        f"Next check: {flag.next}" if flag.next else "",
        f"Caution: {flag.caution}" if flag.caution else "",
    ):
        if text:
            y = paragraph(page, y + spaced, text)
    y += spaced
    for limit in flag.limits:
        value = number(limit.value, 3).rstrip("0").rstrip(".")
        words = WORDS.get(limit.name, limit.name.replace("_", " "))
        text = f"{words}: {value} {limit.unit}".rstrip()
        y = paragraph(page, y, f"Limit, {text}. {sentence(trade(limit.source))}", _SOFT)
    sources = (flag.source, *(limit.source for limit in flag.limits))
    if flag.source:
        y = paragraph(page, y, f"Pattern: {trade(flag.source)}.", _SOFT)
    if TRADE_PRACTICE in " ".join(trade(source) for source in sources):
        y = paragraph(page, y, LEGEND, _SOFT)
    return y


def about(flag: Flag, now_s: float) -> TimeView:
    """A window that holds a flag's newest rising and what led to it."""
    rise = flag.last_rise_s
    length = min(max(flag.last_s - rise, 0.0), 60.0) + 3 * _LEAD_S
    span = next((s for s in SPANS_S if s >= length), SPANS_S[-1])
    end = max(min(rise - 2 * _LEAD_S + span, now_s), min(span, now_s))
    return TimeView(span, end)


def act(name: str, shot: Snapshot, state: Look) -> tuple[PaneState, Intent | None]:
    """Picks, opens, scrolls, closes, acknowledges; `v` shows the lanes there."""
    own = state.state
    flag = picked(shot, state)
    if flag is None:
        return own, None
    at = replace(own, picked=shot.flags.index(flag))
    if name == "seen":
        return at, Acknowledge(flag.key)
    if name == "show":
        return at, ShowTime(flag.last_rise_s)
    if at.opened and name in ("up", "down"):
        by = 2 if name == "down" else -2
        return replace(at, first_row=max(at.first_row + by, 0)), None
    moved = replace(step(at, name, len(shot.flags)), first_row=0)
    chosen = shot.flags[min(moved.picked, len(shot.flags) - 1)]
    return replace(moved, tag="/".join(chosen.key)), None
