"""The lines that are always there, whatever situation is looked at.

Above: the situation, where the data comes from and how the link is. Below: what is
being recorded. Between them: a flag that nobody has seen yet.
"""

from __future__ import annotations

from bankwise.signals.severity import Severity
from bankwise.tui.canvas import Canvas
from bankwise.tui.keys import KEYS
from bankwise.tui.lane_axis import SIGNS
from bankwise.tui.lane_band import window_words
from bankwise.tui.snapshot import Flag, Look, Snapshot
from bankwise.tui.themes import BOLD, REVERSE, Ink, Paper, look
from bankwise.tui.words import clip, clock, middle, placed, size

_BAR = look(Ink.TEXT, Paper.BAR)
_BAR_BOLD = look(Ink.TEXT, Paper.BAR, BOLD)
_BAR_SOFT = look(Ink.SOFT, Paper.BAR)
_SHOUT = look(Ink.TEXT, attributes=BOLD | REVERSE)
_NOTICE = look(Ink.TEXT, Paper.PICK, BOLD)
_WIDE = 100
_LINK_ROOM = 24

_ALWAYS = ("help", "mark", "quit")
"""Keys that the bottom line never leaves out."""

_MAIN = "  ".join(
    f"{key.label} {key.short}" for word in _ALWAYS for key in KEYS if key.short == word
)
_MORE = (
    "1–8 views",
    *(f"{k.label} {k.short}" for k in KEYS if k.short and k.short not in _ALWAYS),
)
_LONG_NAME, _SHORT_NAME = 34, 8

KINDS = {
    "live": "LIVE",
    "simulated": "SIMULATED",
    "replay": "REPLAY",
    "viewer": "VIEWER",
}
"""How the origin of the data is written, at all times."""


def draw_top(row: Canvas, title: str, shot: Snapshot, state: Look) -> None:
    """Situation, time, origin of the data and state of the link on one row."""
    row.clear(_BAR)
    x = row.put(1, 0, title.upper(), _BAR_BOLD)
    x = row.put(x + 2, 0, clock(shot.now_s), _BAR)
    if shot.link.length_s is not None:
        x = row.put(x, 0, f" of {clock(shot.link.length_s)}", _BAR_SOFT)
    kind = f" {KINDS.get(shot.link.kind, shot.link.kind.upper())} "
    x = row.put(x + 2, 0, kind, look(Ink.TEXT, Paper.BAR, REVERSE))
    if shot.link.kind == "replay":
        motion = f"×{shot.link.speed:g}" if shot.link.playing else "paused"
        x = row.put(x + 1, 0, motion, _BAR)
    held = _held_words(shot, state)
    right = row.width - 1
    if held:
        right = row.put_right(right, 0, f" {held} ", look(Ink.TEXT, Paper.BAR, REVERSE))
        right -= 1
    words = link_words(shot)
    code = _BAR if shot.link.state == "up" else _BAR_BOLD
    room = right - x - 2 - min(len(words) + 2, _LINK_ROOM)
    for text in window_words(shot.windows):
        if len(text) <= room:
            right = row.put_right(right, 0, text, _BAR_BOLD) - 1
            break
    row.put(x + 2, 0, clip(words, right - x - 3), code)


def _held_words(shot: Snapshot, state: Look) -> str:
    view = state.view
    if not view.held:
        return ""
    behind = shot.now_s - view.end(shot.now_s)
    return f"HELD {clock(behind)} back · n: now" if behind >= 1 else "HELD · n: now"


def link_words(shot: Snapshot) -> str:
    """The link's state, the words of the source after it."""
    sign = {"up": "●", "connecting": "◌", "lost": "✕", "closed": "○"}
    link = shot.link
    head = f"{sign.get(link.state, '?')} link {link.state}"
    if link.kind == "replay" and shot.behind:
        return f"reading on, {shot.behind} answers to go"
    if link.kind == "replay" and link.state == "up":
        return ""
    if link.kind == "replay" and link.state == "closed":
        head = ""
    parts = [head, link.words if link.words != link.state else ""]
    return ": ".join(part for part in parts if part)


def draw_alert(row: Canvas, shot: Snapshot, state: Look) -> None:
    """The flag that matters most and is not acknowledged; stop flags always."""
    flag = loudest(shot, state)
    if flag is None:
        return
    count = len([f for f in shot.active if f.severity >= Severity.ACT])
    text = f" {SIGNS[flag.severity]} {placed(flag.text, flag.about)}"
    more = f" +{count - 1} " if count > 1 else " "
    hint = "o: proof  a: seen " if row.width >= _WIDE else "o: proof "
    row.clear(_SHOUT)
    room = row.width - len(more) - len(hint)
    row.put(0, 0, clip(text, room), _SHOUT)
    row.put_right(row.width, 0, more + hint, _SHOUT)


def loudest(shot: Snapshot, state: Look) -> Flag | None:
    """The most urgent flag that is up and unseen; a stop flag counts even if seen."""
    for flag in shot.active:
        if flag.severity is Severity.STOP:
            return flag
        if flag.severity is Severity.ACT and flag.key not in state.acknowledged:
            return flag
    return None


def draw_bottom(row: Canvas, shot: Snapshot, state: Look) -> None:
    """What is recorded, how late the screen is, gaps in the data, and the main keys."""
    row.clear(_BAR)
    right = row.put_right(row.width - 1, 0, _MAIN, _BAR_SOFT)
    facts = [f"gaps {len(shot.holes)}", f"lag {shot.lag_ms:.0f} ms"]
    if shot.exchanges_hz and row.width >= _WIDE:
        facts.insert(0, f"{shot.exchanges_hz:.0f} answers/s")
    if shot.behind:
        facts.append(f"{shot.behind} to read")
    if not state.bell:
        facts.append("bell off")
    while facts and len("  ".join(facts)) > right - len("● REC 999.9 kB") - 5:
        facts.pop()
    text = "  ".join(facts)
    left = row.part(0, 0, right - (len(text) + 4 if text else 1), 1)
    x = _recording(left, shot, roomy=row.width >= _WIDE)
    x = row.put(x + 2, 0, text, _BAR_SOFT)
    more = list(_MORE)
    while more and len("  ".join(more)) > right - x - 4:
        more.pop()
    row.put_right(right - 2, 0, "  ".join(more), _BAR_SOFT)


def draw_notice(row: Canvas, said: str) -> None:
    """One line that answers a key, for a few seconds, just above the bottom line."""
    if not said:
        return
    row.clear(_NOTICE)
    row.put(1, 0, clip(said, row.width - 2), _NOTICE)


def _recording(row: Canvas, shot: Snapshot, roomy: bool) -> int:
    link = shot.link
    if link.error:
        text = clip(f"✕ NOT RECORDING: {link.error}", row.width - 1)
        return row.put(1, 0, text, look(Ink.TEXT, Paper.BAR, BOLD | REVERSE))
    if not link.file:
        own = {"replay": "recorded session", "viewer": "recorded elsewhere"}
        words = own.get(link.kind, "nothing recorded")
        return row.put(1, 0, clip(words, row.width - 1), _BAR_SOFT)
    head = "● REC" if link.size else "○ REC"
    tail = size(link.size) if link.size else "waits for the car"
    x = row.put(1, 0, head, _BAR_BOLD if link.size else _BAR)
    room = min(row.width - x - len(tail) - 3, _LONG_NAME)
    if room >= min(len(link.file), _SHORT_NAME):
        x = row.put(x + 1, 0, middle(link.file, room), _BAR)
    x = row.put(x + 1, 0, clip(tail, row.width - x - 1), _BAR)
    if roomy and link.sealed_s is not None:
        sealed = f"sealed {max(shot.now_s - link.sealed_s, 0):.0f} s ago"
        if x + 1 + len(sealed) <= row.width:
            x = row.put(x + 1, 0, sealed, _BAR_SOFT)
    return x
