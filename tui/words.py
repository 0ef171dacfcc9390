"""Numbers, times and states as the screen writes them.

A true minus, one form of time everywhere, and words where there is no number.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

COMMON_PRACTICE, TRADE_PRACTICE = "common practice, no source", "trade practice"
"""How a limit without a document is written in the tables, and how on the screen."""

LEGEND = "Trade practice: common in the trade, no published source."
"""Said once where `TRADE_PRACTICE` stands."""

NO_VALUE = "–"
MINUS = "−"

DIFFERENCE = "B1−B2"
"""The banks' difference by its name: bank 1 less bank 2, everywhere, signed."""

_MINUTE, _HOUR = 60, 3600

FUEL_STATUS = {
    0: "engine off",
    1: "open: cold",
    2: "closed loop",
    4: "open: demand",
    8: "OPEN: FAULT",
    16: "CLOSED: FAULT",
}
"""Fuel system status in words. Source: from memory of SAE J1979, PID 03."""

_FAULTY = (8, 16)

DRIVING = (
    "engine off",
    "cranking",
    "idle",
    "cruise",
    "acceleration",
    "wide open",
    "closed throttle",
    "fuel cut",
    "part load",
)
"""Driving states in words, by the engine's number."""

DRIVING_SHORT = (
    "off",
    "crank",
    "idle",
    "cruise",
    "accel",
    "full",
    "shut",
    "cut",
    "part",
)
"""The same where there is little room."""


def number(value: float | None, decimals: int = 1, sign: bool = False) -> str:
    """A number with a true minus; an en dash when there is none."""
    if value is None or not math.isfinite(value):
        return NO_VALUE
    text = f"{value:+.{decimals}f}" if sign else f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("+-")
        text = f"+{text}" if sign else text
    return text.replace("-", MINUS)


def clock(t_s: float, tenths: bool = False) -> str:
    """Session time as `m:ss`, or `h:mm:ss` from an hour on."""
    sign = MINUS if t_s < 0 else ""
    if tenths:
        total = math.floor(abs(t_s) * 10) / 10
        rest = f"{total % _MINUTE:04.1f}"
    else:
        total = math.floor(abs(t_s))
        rest = f"{int(total) % _MINUTE:02d}"
    minutes = int(total // _MINUTE)
    if minutes < _HOUR // _MINUTE:
        return f"{sign}{minutes}:{rest}"
    return f"{sign}{minutes // 60}:{minutes % 60:02d}:{rest}"


def parse_clock(text: str) -> float | None:
    """Seconds from `90`, `1:30` or `1:02:03`; None when it is not a time."""
    parts = text.strip().split(":")
    try:
        values = [float(part) for part in parts]
    except ValueError:
        return None
    if not 1 <= len(values) <= 3 or not all(map(math.isfinite, values)):
        return None
    total = 0.0
    for value in values:
        total = total * _MINUTE + value
    return total if total >= 0 else None


def size(count: int) -> str:
    """Bytes in the largest unit that keeps the number above one."""
    amount = float(count)
    for unit in ("B", "kB", "MB"):
        if amount < 1000:
            return f"{amount:.0f} {unit}" if unit == "B" else f"{amount:.1f} {unit}"
        amount /= 1000
    return f"{amount:.2f} GB"


def rate(hz: float) -> str:
    """Samples a second, short enough for a margin."""
    if not math.isfinite(hz) or hz <= 0:
        return ""
    return f"{hz:.0f}/s" if hz >= 3 else f"{hz:.1f}/s"


def fuel_status(value: float) -> tuple[str, bool]:
    """The loop status in words, and whether it is a fault."""
    if not math.isfinite(value):
        return "loop unknown", False
    code = int(value)
    return FUEL_STATUS.get(code, f"status {code}"), code in _FAULTY


def driving(state: float, warm: float) -> str:
    """The driving state, and whether the engine is warm, as far as they are known."""
    words = []
    if math.isfinite(state) and 0 <= int(state) < len(DRIVING):
        words.append(DRIVING[int(state)])
    if math.isfinite(warm):
        words.append("warm" if warm else "cold")
    return ", ".join(words)


def wrap(text: str, width: int) -> list[str]:
    """Lines of at most `width` cells, broken at spaces; a longer word is cut."""
    lines: list[str] = []
    line = ""
    for word in _pieces(text, max(width, 1)):
        if not line:
            line = word
        elif len(line) + 1 + len(word) <= width:
            line = f"{line} {word}"
        else:
            lines.append(line)
            line = word
    return [*lines, line] if line else lines


def _pieces(text: str, width: int) -> Iterable[str]:
    for word in text.split():
        for start in range(0, len(word), width):
            yield word[start : start + width]


def printable(text: str) -> str:
    """The text without what moves a terminal's cursor, colours it or turns it round."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def clip(text: str, width: int) -> str:
    """The text, cut with an ellipsis when it is longer than `width`.

    Cut after a whole word, unless that would leave less than half of the room filled.
    """
    if len(text) <= width:
        return text
    if width <= 0:
        return ""
    kept = text[: width - 1]
    if not kept.endswith(" ") and text[width - 1] != " ":
        space = kept.rfind(" ")
        kept = kept[:space] if space >= width // 2 else kept
    return kept.rstrip(" ,:;") + "…"


def middle(text: str, width: int) -> str:
    """The text with its middle left out when it is longer than `width`.

    A file's name begins with its date and ends with what was driven: both ends count.
    """
    if len(text) <= width:
        return text
    if width <= 1:
        return "…"[:width]
    end = (width - 1) // 2
    return f"{text[: width - 1 - end]}…{text[len(text) - end :]}"


def placed(text: str, about: str) -> str:
    """A flag's sentence with the place it is about in front, and only once."""
    if about in ("", "engine") or text.startswith((f"{about}:", f"{about} ")):
        return sentence(text)
    return f"{about}: {text}"


def span(seconds: float) -> str:
    """A length of time in the unit that keeps it short: `60 s`, `10 min`."""
    if seconds <= 2 * _MINUTE:
        return f"{seconds:.0f} s"
    return f"{seconds / _MINUTE:.0f} min"


def grouped(value: float) -> str:
    """A whole number, its thousands set apart from five digits on: `2140`, `12 140`.

    Four digits stay together, as ISO 80000-1 allows: beside the lanes' bank numbers
    `1 350` would read as bank 1 at 350.
    """
    if not math.isfinite(value):
        return NO_VALUE
    whole = f"{round(value):,}".replace("-", MINUS)
    return whole.replace(",", " " if abs(value) >= 9_999.5 else "")


def trade(source: str) -> str:
    """A source as the screen says it; the legend beside it has the whole words."""
    for first, fresh in (("c", TRADE_PRACTICE), ("C", sentence(TRADE_PRACTICE))):
        for whole in (COMMON_PRACTICE, COMMON_PRACTICE.partition(",")[0]):
            source = source.replace(first + whole[1:], fresh)
    return source


def unproven(text: str) -> str:
    """What a flag leaves open, as a sentence: `Not that …` becomes a whole one."""
    if text.startswith("Not "):
        return f"Does not prove {text[4:]}"
    return f"Does not prove: {text}"


def sentence(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]
