"""Chooses lanes, their order, and which of them are drawn larger."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from bankwise.tui.lane_table import LANES

Choice = tuple[tuple[str, ...], frozenset[str]]


class LaneChooser(ModalScreen[Choice | None]):
    """A list of all lanes; those shown come first, in their order."""

    BINDINGS: ClassVar = [
        Binding("space", "show_or_hide", "show", priority=True),
        Binding("plus,equals_sign", "enlarge", "larger", priority=True),
        Binding("shift+up,K", "move(-1)", "up", priority=True),
        Binding("shift+down,J", "move(1)", "down", priority=True),
        Binding("enter", "take", "take", priority=True),
        Binding("escape", "away", "never mind", priority=True),
    ]

    def __init__(self, shown: tuple[str, ...], tall: frozenset[str]) -> None:
        super().__init__()
        self._shown = list(shown)
        self._order = [*shown, *(name for name in LANES if name not in shown)]
        self._tall = set(tall)

    def compose(self) -> ComposeResult:
        """The list and its keys."""
        with VerticalScroll(classes="box"):
            yield Static("Lanes", classes="head")
            yield OptionList(*self._rows(), markup=False)
            yield Static(
                "space: show or hide   shift+↑ ↓: move   +: larger   enter: take",
                classes="hint",
            )

    def on_mount(self) -> None:
        """Starts on the first row."""
        self._list.highlighted = 0
        self._list.focus()

    @property
    def _list(self) -> OptionList:
        return self.query_one(OptionList)

    def _rows(self) -> list[Option]:
        rows = []
        for name in self._order:
            shown = "●" if name in self._shown else "○"
            larger = "larger" if name in self._tall else ""
            rows.append(Option(f"{shown} {LANES[name].about:<44} {larger}", name))
        return rows

    def _redraw(self, row: int) -> None:
        self._list.clear_options()
        self._list.add_options(self._rows())
        self._list.highlighted = row

    def _picked(self) -> tuple[int, str]:
        row = self._list.highlighted or 0
        return row, self._order[row]

    def action_show_or_hide(self) -> None:
        """Shows or hides the lane picked."""
        row, name = self._picked()
        if name in self._shown:
            self._shown.remove(name)
        else:
            self._shown.append(name)
        self._redraw(row)

    def action_enlarge(self) -> None:
        """Draws the lane picked larger, or as usual again."""
        row, name = self._picked()
        self._tall ^= {name}
        self._redraw(row)

    def action_move(self, by: int) -> None:
        """Moves the lane picked up or down."""
        row, name = self._picked()
        place = min(max(row + by, 0), len(self._order) - 1)
        self._order.remove(name)
        self._order.insert(place, name)
        self._redraw(place)

    def action_take(self) -> None:
        """Keeps the choice; an empty one is no choice."""
        lanes = tuple(name for name in self._order if name in self._shown)
        self.dismiss((lanes, frozenset(self._tall)) if lanes else None)

    def action_away(self) -> None:
        """Leaves everything as it was."""
        self.dismiss(None)
