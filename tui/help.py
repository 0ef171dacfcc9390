"""The help overlay, made of the key table: complete because there is no other list."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from bankwise.tui.keys import KEYS, Group, Key
from bankwise.tui.panes import Pane
from bankwise.tui.words import clip

_COLUMN = 50


def help_lines(pane: Pane) -> list[str]:
    """Every key, under headings; those of the situation shown come first."""
    lines: list[str] = []
    if pane.keys:
        lines += _section(f"Here: {pane.title}", pane.keys)
    for group in Group:
        lines += _section(group.value, [key for key in KEYS if key.group is group])
    return lines


def _section(title: str, keys: tuple[Key, ...] | list[Key]) -> list[str]:
    rows = [f"  {key.label:>6}  {key.words}" for key in keys]
    return [title, *rows, ""]


def in_columns(lines: list[str], width: int) -> str:
    """Sections flowed into as many columns as fit, none broken in two."""
    count = max(min(width // _COLUMN, 3), 1)
    sections: list[list[str]] = [[]]
    for line in lines:
        sections[-1].append(line)
        if not line:
            sections.append([])
    goal = -(-len(lines) // count)
    columns: list[list[str]] = [[]]
    for section in sections:
        if len(columns[-1]) + len(section) > goal + 4 and len(columns) < count:
            columns.append([])
        columns[-1] += section
    height = max(map(len, columns))
    padded = [[*column, *[""] * (height - len(column))] for column in columns]
    return "\n".join(
        "".join(clip(cell, _COLUMN - 1).ljust(_COLUMN) for cell in row).rstrip()
        for row in zip(*padded, strict=True)
    ).rstrip()


class Help(ModalScreen[None]):
    """Every key of the screen."""

    BINDINGS: ClassVar = [
        Binding("escape,question_mark,h,f1,q,enter,space", "away", "away")
    ]

    def __init__(self, pane: Pane) -> None:
        super().__init__()
        self._pane = pane

    def compose(self) -> ComposeResult:
        """The table."""
        with VerticalScroll(classes="box wide"):
            yield Static("Keys   ↑ ↓ scroll, esc away", classes="head")
            text = in_columns(help_lines(self._pane), self.app.size.width - 8)
            yield Static(text, markup=False)

    def action_away(self) -> None:
        """Read."""
        self.dismiss()
