"""Three looks: dark, sun (dark on white) and night (true black, dimmed).

A cell's look is one small number: an ink, a paper and two attributes. What colour
that is, the theme says; nothing else on the screen knows a colour.

The two bank colours of each theme stay apart under the common kinds of colour
blindness. Source: our own measurement, CIEDE2000 worst case 51, 47 and 45.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum

from rich.style import Style
from textual.theme import Theme as TextualTheme


class Ink(IntEnum):
    """What a character is drawn with."""

    TEXT = 0
    SOFT = 1
    FAINT = 2
    BANK1 = 3
    BANK2 = 4
    BOTH = 5
    NEUTRAL = 6
    MARK = 7


class Paper(IntEnum):
    """What a character is drawn on."""

    BASE = 0
    PLOT = 1
    TINT1 = 2
    TINT2 = 3
    BAR = 4
    PICK = 5
    CURSOR = 6
    BAND = 7


_PAPER_SHIFT = 4
BOLD = 1 << 8
REVERSE = 1 << 9


def look(ink: Ink, paper: Paper = Paper.BASE, attributes: int = 0) -> int:
    """The number of a look: ink, paper and the attributes BOLD and REVERSE."""
    return int(ink) | int(paper) << _PAPER_SHIFT | attributes


def on(code: int, paper: Paper) -> int:
    """The same look on other paper."""
    return (code & ~(0xF << _PAPER_SHIFT)) | int(paper) << _PAPER_SHIFT


BANK_INK: Mapping[int | None, Ink] = {
    None: Ink.NEUTRAL,
    1: Ink.BANK1,
    2: Ink.BANK2,
}
"""Bank colours are for bank signals only; the rest is neutral."""


def _mix(over: str, under: str, share: float) -> str:
    pairs = [(int(over[i : i + 2], 16), int(under[i : i + 2], 16)) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(a * share + b * (1 - share)):02X}" for a, b in pairs)


@dataclass(frozen=True)
class Palette:
    """The colours of one theme.

    Attributes:
        name: as in the command line's `--theme`.
        dark: whether light text lies on a dark ground.
        inks: a colour for every `Ink`.
        papers: a colour for every `Paper`.
    """

    name: str
    dark: bool
    inks: tuple[str, ...]
    papers: tuple[str, ...]
    _made: dict[int, Style] = field(default_factory=dict, compare=False, repr=False)

    def style(self, code: int) -> Style:
        """The drawing style of a look number."""
        made = self._made.get(code)
        if made is None:
            made = self._made[code] = self._make(code)
        return made

    def _make(self, code: int) -> Style:
        return Style(
            color=self.inks[code & 0xF],
            bgcolor=self.papers[code >> _PAPER_SHIFT & 0xF],
            bold=bool(code & BOLD),
            reverse=bool(code & REVERSE),
        )

    def textual(self) -> TextualTheme:
        """The same colours for dialogs made of Textual's own widgets."""
        return TextualTheme(
            name=f"bankwise-{self.name}",
            dark=self.dark,
            primary=self.inks[Ink.TEXT],
            secondary=self.inks[Ink.SOFT],
            accent=self.inks[Ink.TEXT],
            warning=self.inks[Ink.TEXT],
            error=self.inks[Ink.TEXT],
            success=self.inks[Ink.TEXT],
            foreground=self.inks[Ink.TEXT],
            background=self.papers[Paper.BASE],
            surface=self.papers[Paper.PLOT],
            panel=self.papers[Paper.BAR],
        )


def _palette(
    name: str,
    dark: bool,
    *,
    base: str,
    plot: str,
    text: str,
    soft: str,
    faint: str,
    banks: tuple[str, str],
    both: str,
    neutral: str,
    mark: str,
    tint: float,
) -> Palette:
    return Palette(
        name,
        dark,
        inks=(text, soft, faint, *banks, both, neutral, mark),
        papers=(
            base,
            plot,
            _mix(banks[0], plot, tint),
            _mix(banks[1], plot, tint),
            _mix(text, base, 0.10),
            _mix(text, base, 0.20),
            _mix(text, base, 0.30),
            _mix(text, plot, 0.12),
        ),
    )


PALETTES: dict[str, Palette] = {
    palette.name: palette
    for palette in (
        _palette(
            "dark",
            True,
            base="#0B0E11",
            plot="#12171C",
            text="#E4E9ED",
            soft="#93A0AB",
            faint="#3D4750",
            banks=("#56B4E9", "#E69F00"),
            both="#F3EFE4",
            neutral="#B9C3CB",
            mark="#CFA9E0",
            tint=0.20,
        ),
        _palette(
            "sun",
            False,
            base="#FFFFFF",
            plot="#F3F4F5",
            text="#000000",
            soft="#3C4650",
            faint="#B4BCC4",
            banks=("#003E99", "#A83A00"),
            both="#000000",
            neutral="#2B333A",
            mark="#6B1F7C",
            tint=0.16,
        ),
        _palette(
            "night",
            True,
            base="#000000",
            plot="#07090A",
            text="#A3A8AB",
            soft="#6A7277",
            faint="#2A2F33",
            banks=("#2F7FA8", "#A86E00"),
            both="#B5B0A2",
            neutral="#7F888E",
            mark="#87699A",
            tint=0.18,
        ),
    )
}
"""Every theme by name, in the order one key steps through them."""


def next_theme(name: str) -> str:
    """The theme after this one, round and round."""
    names = list(PALETTES)
    return names[(names.index(name) + 1) % len(names)]
