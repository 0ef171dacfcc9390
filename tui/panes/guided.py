"""Guided tests: one step at a time in big words, with the live figure it is about."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.code_marks import OUTCOMES
from bankwise.signals.guided import pace
from bankwise.signals.guided.runs import Run, runs
from bankwise.signals.guided.script import Figure, Finding, GuidedTest
from bankwise.signals.guided.table import GUIDED, judge
from bankwise.tui import big_words, digits, guided_flow
from bankwise.tui.canvas import Canvas
from bankwise.tui.guided_flow import (
    CARE,
    ENDED,
    FACT,
    LIST,
    RESULT,
    RUN,
    SUBJECT,
    Page,
    case_of,
    choices,
    in_the_way,
    left_s,
    page_of,
    rows,
    the_run,
    watch,
)
from bankwise.tui.guided_hands import hands
from bankwise.tui.keys import Group, Key
from bankwise.tui.lane_table import Lane, Scale
from bankwise.tui.lanes import draw_stack
from bankwise.tui.messages import Intent
from bankwise.tui.panes.rows import first_row, heading, paragraph, pick_bar
from bankwise.tui.snapshot import Look, PaneState, Snapshot, bank_of
from bankwise.tui.themes import BANK_INK, BOLD, REVERSE, Ink, look
from bankwise.tui.timeview import TimeView
from bankwise.tui.words import MINUS, clip, clock, number, wrap

KEYS = (
    Key(("y",), "yes", "answer yes to a guided test", Group.NOTE),
    Key(("n",), "no", "answer no to a guided test", Group.NOTE),
    Key(("u",), "hand", "do on the simulated car what a step asks", Group.NOTE),
)
"""Keys that answer a question; ⏎ goes on, esc breaks off."""

_SOFT = look(Ink.SOFT)
_BOLD = look(Ink.TEXT, attributes=BOLD)
_SERVICE = "Where this and the car's service information differ, the latter counts."
_BIG_FROM = 13
"""Rows from which a step is written in big words."""
_ROOMY = 24
"""Rows from which there is room for blank ones."""
_WIDE, _BESIDE = 100, 44
_TRACE_ROWS = 6
_TRACE_S = 10.0
_FOOT = 2
"""The key to go on stands above the row of the screen's answers to keys."""

__all__ = ["KEYS", "act", "draw", "watch"]


def draw(canvas: Canvas, shot: Snapshot, state: Look) -> None:
    """Draws the page that the person has come to; a trace always ends now."""
    state = replace(state, view=TimeView())
    page = page_of(state.state)
    _PAGES[page.kind](canvas, page, shot, state)


def act(name: str, shot: Snapshot, state: Look) -> tuple[PaneState, Intent | None]:
    """Goes on in the list or in a test."""
    return guided_flow.act(name, shot, state.state)


def _draw_list(canvas: Canvas, _page: Page, shot: Snapshot, state: Look) -> None:
    found = rows(shot)
    picked = min(state.state.picked, len(found) - 1)
    only = shot.link.kind in ("replay", "viewer")
    note = "as made in this session" if only else "⏎ begins one"
    y = heading(canvas, 0, "GUIDED TESTS", note)
    foot = 3
    height = canvas.height - y - foot
    first = first_row(picked, len(found), height)
    for i in range(first, min(first + height, len(found))):
        row = found[i]
        if isinstance(row, GuidedTest):
            canvas.put(2, y, clip(row.title, canvas.width - 3), _SOFT if only else 0)
            if canvas.width >= _WIDE:
                canvas.put(_BESIDE, y, clip(row.decides, canvas.width - 45), _SOFT)
        else:
            _put_run(canvas, y, row, shot)
        if i == picked:
            pick_bar(canvas, y)
        y += 1
    row = found[picked]
    words = row.decides if isinstance(row, GuidedTest) else "⏎ shows what was found."
    paragraph(canvas, canvas.height - foot + 1, words, _SOFT)


def _put_run(canvas: Canvas, y: int, run: Run, shot: Snapshot) -> None:
    test = GUIDED.get(run.test)
    title = test.title if test is not None else run.test
    x = canvas.put(2, y, f"{clock(run.began)}  {title}", look(Ink.MARK))
    where = "" if run.about == "engine" else f" {run.about}"
    told = [f"{f.about} {f.outcome}" for f in judge(case_of(run, shot)) if f.outcome]
    words = ", ".join(told) or ("no verdict" if run.ended else _without_end(shot))
    canvas.put(x, y, clip(f"{where}: {words}", max(canvas.width - x - 1, 0)), _BOLD)


def _without_end(shot: Snapshot) -> str:
    """What a run without an end is: one still going on, or one the session cut off."""
    link = shot.link
    played = link.length_s is not None and shot.now_s >= link.length_s
    return "broken off: the session ended" if played else "under way"


def _draw_subject(canvas: Canvas, page: Page, shot: Snapshot, state: Look) -> None:
    y = heading(canvas, 0, page.guided.title.upper(), "which one?")
    about = choices(page, shot)
    picked = min(state.state.picked, max(len(about) - 1, 0))
    for i, place in enumerate(about):
        ink = look(BANK_INK[bank_of(place)], attributes=BOLD)
        big_words.draw(canvas, 4, y, place, ink)
        canvas.put(4 + big_words.width(place) + 3, y + 1, in_words(place), _BOLD)
        if i == picked:
            pick_bar(canvas, y, big_words.HEIGHT)
        y += big_words.HEIGHT + 1
    paragraph(canvas, y, page.guided.decides, _SOFT)


def in_words(place: str) -> str:
    """A sensor's place in words: `bank 1, before the catalyst (front)`."""
    front = place.endswith("S1")
    side = "before the catalyst (front)" if front else "after the catalyst (rear)"
    return f"bank {place[1]}, {side}"


def _short(place: str) -> str:
    return f"bank {place[1]} {'front' if place.endswith('S1') else 'rear'}"


def _draw_fact(canvas: Canvas, page: Page, _shot: Snapshot, _state: Look) -> None:
    y = heading(canvas, 0, page.guided.title.upper(), "asked once")
    y = paragraph(canvas, y, "The engine's displacement, from its papers:", _BOLD) + 1
    x = digits.draw(canvas, 2, y, f"{page.since:.1f}", _BOLD)
    canvas.put(x + 1, y + 2, "litres", _BOLD)
    paragraph(canvas, y + 4, "↑ ↓ change it, ⏎ takes it.", _SOFT)


def _draw_care(canvas: Canvas, page: Page, _shot: Snapshot, state: Look) -> None:
    test = page.guided
    where = "" if page.about in ("", "engine") else f"{page.about}, "
    y = heading(canvas, 0, test.title.upper(), f"{where}before the first step")
    texts = [*(CAUTIONS[key] for key in test.cautions), _SERVICE]
    lines: list[str] = []
    for text in texts:
        part = wrap(text, canvas.width - 5)
        lines += [f"▲ {part[0]}", *(f"  {line}" for line in part[1:]), ""]
    room = canvas.height - y - _FOOT
    first = min(state.state.first_row, max(len(lines) - room, 0))
    for line in lines[first : first + room]:
        canvas.put(1, y, line, _BOLD if line.startswith("▲") else look(Ink.TEXT))
        y += 1
    more = "   ↓ more" if first + room < len(lines) else ""
    _foot(canvas, f"⏎  I have read this: begin{more}", "esc  not now")


def _foot(canvas: Canvas, left: str, right: str) -> None:
    y = canvas.height - _FOOT
    canvas.put(1, y, f" {left} ", look(Ink.TEXT, attributes=BOLD | REVERSE))
    canvas.put_right(canvas.width - 1, y, right, _SOFT)


def _draw_run(canvas: Canvas, page: Page, shot: Snapshot, state: Look) -> None:
    test = page.guided
    run = the_run(page, shot)
    place = "" if page.about == "engine" else f"  {page.about} {_short(page.about)}"
    count = f"step {page.step + 1} of {len(test.steps)}"
    if page.kind == ENDED:
        heading(canvas, 0, f"{test.title.upper()}{place}", "ended")
        canvas.put(1, 3, "The last values come in …", _BOLD)
        return
    y = heading(canvas, 0, f"{test.title.upper()}{place}", count)
    y = _draw_words(canvas, y, page)
    by_hand = hands(page.test, page.now.id, page.about)
    if shot.link.kind == "simulated" and by_hand:
        words = f"Simulated car: u does it for you ({', '.join(by_hand)})."
        canvas.put(1, y - 1, clip(words, canvas.width - 2), _BOLD)
        y += 1
    case = case_of(run, shot)
    figures = test.watch(case)
    if figures and y + 5 < canvas.height:
        x = _draw_figures(canvas, y, figures)
        lane = _lane(page)
        short = canvas.height - y - 6 < _TRACE_ROWS
        if lane is not None and short and canvas.width - x >= _BESIDE:
            part = canvas.part(x, y, canvas.width - x, 4)
            draw_stack(part, shot, state, [lane], _TRACE_S)
        y += 5
    found = judge(case)
    _draw_pace(canvas, pace.words(pace.live(test, case)))
    rest = canvas.part(0, y, canvas.width, canvas.height - _FOOT - 1 - y)
    _draw_findings(_draw_trace(rest, page, shot, state, len(found)), found)
    _draw_run_foot(canvas, page, shot)


def _draw_pace(canvas: Canvas, told: tuple[str, ...]) -> None:
    """How often the readings come, beside how often they must, above the key."""
    code = _BOLD if any(line.startswith("▲") for line in told) else _SOFT
    text = clip("; ".join(told), canvas.width - 2)
    canvas.put(1, canvas.height - _FOOT - 1, text, code)


def _draw_trace(
    area: Canvas, page: Page, shot: Snapshot, state: Look, rows_below: int
) -> Canvas:
    """The sensor's own trace, where there is room; returns what is left beside it."""
    lane = _lane(page)
    if lane is None or area.height < _TRACE_ROWS:
        return area
    if area.width >= _WIDE:
        half = area.width // 2
        part = area.part(half, 0, area.width - half, area.height)
        draw_stack(part, shot, state, [lane], _TRACE_S)
        return area.part(0, 0, half - 1, area.height)
    rows_ = max(area.height - 2 * rows_below, _TRACE_ROWS)
    draw_stack(area.part(0, 0, area.width, rows_), shot, state, [lane], _TRACE_S)
    return area.part(0, rows_, area.width, area.height - rows_)


def _draw_run_foot(canvas: Canvas, page: Page, shot: Snapshot) -> None:
    left = left_s(page, shot)
    wrong = in_the_way(page, shot)
    last = page.step + 1 == len(page.guided.steps)
    if wrong:
        key = f"▲ {wrong}"
    elif left > 0:
        key = f"wait {math.ceil(left)} s"
    elif page.now.asks:
        key = "y  yes      n  no"
    else:
        key = "⏎  end the test" if last else "⏎  done, go on"
    _foot(canvas, key, "esc  break off")


def _draw_words(canvas: Canvas, y: int, page: Page) -> int:
    """What to do, as large as there is room for; returns the row after it."""
    step = page.now
    lines = big_words.lines(step.say, canvas.width - 2)
    big = canvas.height >= _BIG_FROM and len(lines) <= 2
    if big:
        for line in lines:
            big_words.draw(canvas, 1, y, line, _BOLD)
            y += big_words.HEIGHT + 1
        # The blank row below them is needed for the figures on a small screen.
        y -= canvas.height < _ROOMY
    else:
        canvas.put(1, y, step.say.upper(), _BOLD)
        y += 1
    return paragraph(canvas, y, step.detail, look(Ink.TEXT)) + 1


def _draw_figures(canvas: Canvas, y: int, figures: tuple[Figure, ...]) -> int:
    """Live figures side by side, as many as fit; returns the column after them."""
    x = 1
    for figure in figures:
        text = number(figure.value, figure.decimals, sign=figure.unit == "%")
        text = text.replace("-", MINUS)
        shown = "".join(c if c in _DIGITS else "–" for c in text)
        wide = max(digits.width(shown) + len(figure.unit) + 1, len(figure.label))
        if x + wide > canvas.width - 1:
            break
        code = look(BANK_INK[figure.bank], attributes=BOLD) if figure.bank else _BOLD
        canvas.put(x, y, figure.label, code)
        end = digits.draw(canvas, x, y + 1, shown, code)
        canvas.put(end + 1, y + 3, figure.unit, code)
        x += wide + 4
    return x


_DIGITS = frozenset("0123456789+−–. ")


def _draw_findings(area: Canvas, found: tuple[Finding, ...]) -> None:
    """The newest findings that fit, the verdicts strong."""
    lines: list[tuple[str, int]] = []
    for finding in found:
        code = _BOLD if finding.outcome else look(Ink.TEXT)
        part = wrap(finding.text, area.width - 4)
        lines += [(f"{'·' if i == 0 else ' '} {t}", code) for i, t in enumerate(part)]
    for y, (text, code) in enumerate(lines[-area.height :] if area.height > 0 else ()):
        area.put(1, y, text, code)


def _lane(page: Page) -> Lane | None:
    """One sensor's own lane, for tests that are about one."""
    low = page.about.lower()
    bank = bank_of(page.about)
    if bank is None or len(page.about) != 4:
        return None
    scales = (
        Scale((f"o2_{low}_v",), "V", 0.0, 1.0, (0.45,), 2, 0.5),
        Scale((f"lambda_{low}",), "λ", 0.8, 1.2, (1.0,), 3, 0.1),
    )
    about = f"{page.about} as fast as it comes"
    return Lane("one", page.about, about, (bank,), scales, short=True, least=3)


def _draw_result(canvas: Canvas, page: Page, shot: Snapshot, state: Look) -> None:
    number_ = int(page.test)
    known = runs(shot.columns.marks)
    if number_ >= len(known):
        heading(canvas, 0, "RESULT", "not reached yet")
        return
    run = known[number_]
    test = GUIDED.get(run.test)
    title = test.title.upper() if test is not None else run.test
    place = "" if run.about == "engine" else f"  {run.about}"
    when = clock(run.began) + (
        f" to {clock(run.until)}" if run.ended else f", {_without_end(shot)}"
    )
    y = heading(canvas, 0, f"{title}{place}", when)
    lines: list[tuple[str, int]] = []
    for finding in judge(case_of(run, shot)):
        code = look(Ink.TEXT)
        if finding.outcome:
            said = OUTCOMES[finding.outcome]
            lines.append((f"▲ {finding.about} {finding.outcome}: {said}", _BOLD))
        for line in wrap(finding.text, canvas.width - 5):
            lines.append((f"  {line}", code))
    if not lines:
        lines.append(("  Nothing was found.", _SOFT))
    lines.append(("", 0))
    lines += _step_lines(run, test)
    room = canvas.height - y - _FOOT
    first = min(state.state.first_row, max(len(lines) - room, 0))
    for text, code in lines[first : first + room]:
        canvas.put(1, y, clip(text, canvas.width - 2), code)
        y += 1
    _foot(canvas, "esc  back to the list", "↑ ↓")


def _step_lines(run: Run, test: GuidedTest | None) -> list[tuple[str, int]]:
    """When each step was, and what was answered."""
    says = {step.id: step.say for step in test.steps} if test is not None else {}
    lines = []
    for name, (start, end) in run.steps.items():
        lasted = f" {end - start:.0f} s" if math.isfinite(end) else ""
        answer = run.answers.get(name)
        told = "" if answer is None else (" yes" if answer else " no")
        lines.append((f"  {clock(start)}  {says.get(name, name)}{told}{lasted}", _SOFT))
    lines += [(f"  given: {name} {value}", _SOFT) for name, value in run.given.items()]
    return lines


_PAGES: dict[str, Callable[[Canvas, Page, Snapshot, Look], None]] = {
    LIST: _draw_list,
    SUBJECT: _draw_subject,
    FACT: _draw_fact,
    CARE: _draw_care,
    RUN: _draw_run,
    ENDED: _draw_run,
    RESULT: _draw_result,
}
