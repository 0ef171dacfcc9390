"""The start: an adapter that was found, a saved session, or the demo."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from bankwise.replay_logs import shipped
from bankwise.tui.session_list import row, session_files
from bankwise.tui.words import clip

Opening = Callable[[], Any]
_NEWEST = 4
_EDGES = 20


@dataclass(frozen=True, slots=True)
class Choice:
    """One row that can be picked: what it says and what it opens."""

    text: str
    open: Opening


def adapter_choices(folder: Path) -> list[Choice]:
    """A row for every port that may hold an adapter."""
    from bankwise.adapters.ports import found_ports
    from bankwise.tui.openings import open_adapter

    return [
        Choice(
            f"{port.url:<24} {port.trouble or port.what}",
            partial(open_adapter, port.url, folder),
        )
        for port in found_ports()
        if port.likely
    ]


def session_choices(rows: Iterable[tuple[str, ...]]) -> list[Choice]:
    """A row for each session, opened for replay."""
    from bankwise.tui.openings import open_session

    return [
        Choice(f"{name:<32} {about}", partial(open_session, Path(path)))
        for path, name, _began, _size, about in rows
    ]


def demo_choices(folder: Path) -> list[Choice]:
    """A row for every story of the simulated car."""
    from bankwise.adapters.car.stories import STORIES
    from bankwise.tui.openings import open_demo

    return [
        Choice(f"{name:<30} {story.title}", partial(open_demo, name, folder))
        for name, story in STORIES.items()
    ]


class Start(ModalScreen[Opening | None]):
    """Asks what to watch."""

    BINDINGS: ClassVar = [
        Binding("escape,q", "away", "away"),
        Binding("r", "again", "look again"),
        Binding("u", "url", "type an address"),
    ]

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._folder = folder
        self._choices: dict[str, Choice] = {}

    def compose(self) -> ComposeResult:
        """The list, and a line for an address."""
        with Vertical(classes="box wide tall"):
            yield Static("bankwise: what do you want to watch?", classes="head")
            yield OptionList(markup=False)
            yield Input(placeholder="socket://192.168.0.10:35000 or a serial port")
            yield Static(
                "enter: open   u: type an address   r: look again   esc: away",
                classes="hint",
            )

    def on_mount(self) -> None:
        """Looks for what there is."""
        self.query_one(Input).display = False
        self.query_one(OptionList).focus()
        self.look_around()

    @work(thread=True, exclusive=True, group="look around")
    def look_around(self) -> None:
        """Finds ports, sessions and stories, off the screen's thread."""
        newest = [row(path, "") for path in session_files(self._folder)[:_NEWEST]]
        kept = [row(path, "") for path in shipped().values()]
        sections = [
            ("ADAPTERS", adapter_choices(self._folder), _NO_ADAPTER),
            ("YOUR NEWEST SESSIONS", session_choices(newest), "none saved yet"),
            ("DEMO: a simulated car, no hardware", demo_choices(self._folder), "none"),
            ("SHIPPED SESSIONS", session_choices(kept), "none"),
        ]
        self.app.call_from_thread(self._show, sections)

    def _show(self, sections: list[tuple[str, list[Choice], str]]) -> None:
        options = self.query_one(OptionList)
        width = max(self.app.size.width - _EDGES, 20)
        options.clear_options()
        self._choices.clear()
        for title, choices, nothing in sections:
            options.add_option(Option(title, disabled=True))
            if not choices:
                options.add_option(Option(f"  {clip(nothing, width)}", disabled=True))
            for choice in choices:
                name = f"choice-{len(self._choices)}"
                self._choices[name] = choice
                options.add_option(Option(f"  {clip(choice.text, width)}", name))
        options.action_first()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Opens the row picked."""
        choice = self._choices.get(event.option_id or "")
        if choice is not None:
            self.dismiss(choice.open)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Opens the address typed."""
        url = event.value.strip()
        if url:
            from bankwise.tui.openings import open_adapter

            self.dismiss(lambda: open_adapter(url, self._folder))

    def action_url(self) -> None:
        """Shows the line for an address."""
        line = self.query_one(Input)
        line.display = True
        line.focus()

    def action_again(self) -> None:
        """Looks again."""
        self.look_around()

    def action_away(self) -> None:
        """Opens nothing."""
        self.dismiss(None)


_NO_ADAPTER = (
    "none found: plug it in or pair it, ignition on, then r; "
    "a Wi-Fi adapter needs its address: u"
)
