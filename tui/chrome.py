"""The lines that are always there, whatever situation is looked at.

Above: the situation, where the data comes from and how the link is. Below: what is
being recorded. Between them: a flag that nobody has seen yet.
"""

from __future__ import annotations

from bankwise.signals.severity import Severity
from bankwise.tui.canvas import Canvas
from bankwise.tui.keys import KEYS
from bankwise.tui.lane_axis import SIGNS
from bankwise.tui.snapshot import Flag, Look, Snapshot
from bankwise.tui.themes import BOLD, REVERSE, Ink, Paper, look
from bankwise.tui.words import clip, clock, sentence, size

_BAR = look(Ink.TEXT, Paper.BAR)
_BAR_BOLD = look(Ink.TEXT, Paper.BAR, BOLD)
_BAR_SOFT = look(Ink.SOFT, Paper.BAR)
_SHOUT = look(Ink.TEXT, attributes=BOLD | REVERSE)
_WIDE = 100

_HINTS = (
    "? help",
    "1–8",
    *(f"{key.label} {key.short}" for key in KEYS if key.short and key.short != "help"),
)

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
    place = "" if flag.text.startswith(flag.about) else f"{flag.about}  "
    text = f" {SIGNS[flag.severity]} {place}{sentence(flag.text)}"
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


def draw_bottom(row: Canvas, shot: Snapshot, state: Look, said: str) -> None:
    """What is recorded, how late the screen is, gaps in the data, and the main keys."""
    row.clear(_BAR)
    x = _recording(row, shot)
    facts = [f"gaps {len(shot.holes)}", f"lag {shot.lag_ms:.0f} ms"]
    if shot.exchanges_hz and row.width >= _WIDE:
        facts.insert(0, f"{shot.exchanges_hz:.0f} answers/s")
    if shot.behind:
        facts.append(f"reading on: {shot.behind} to go")
    if not state.bell:
        facts.append("bell off")
    x = row.put(x + 2, 0, "  ".join(facts), _BAR_SOFT)
    if said:
        row.put(x + 2, 0, clip(said, row.width - x - 3), _BAR_BOLD)
        return
    hints = list(_HINTS)
    while hints and len("  ".join(hints)) > row.width - x - 3:
        hints.pop()
    row.put_right(row.width - 1, 0, "  ".join(hints), _BAR_SOFT)


def _recording(row: Canvas, shot: Snapshot) -> int:
    link = shot.link
    if link.error:
        return row.put(
            1,
            0,
            clip(f"✕ NOT RECORDING: {link.error}", row.width // 2),
            look(Ink.TEXT, Paper.BAR, BOLD | REVERSE),
        )
    if not link.file:
        own = {"replay": "recorded session", "viewer": "recorded elsewhere"}
        words = own.get(link.kind, "nothing recorded")
        return row.put(1, 0, words, _BAR_SOFT)
    name = clip(link.file, max(row.width // (3 if row.width >= _WIDE else 4), 16))
    if not link.size:
        return row.put(1, 0, f"○ REC {name}: waits for the car", _BAR)
    x = row.put(1, 0, "● REC", _BAR_BOLD)
    x = row.put(x + 1, 0, f"{name} {size(link.size)}", _BAR)
    if row.width >= _WIDE and link.sealed_s is not None:
        ago = max(shot.now_s - link.sealed_s, 0)
        x = row.put(x + 1, 0, f"sealed {ago:.0f} s ago", _BAR_SOFT)
    return x
