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
from bankwise.tui.address import NETWORK
from bankwise.tui.errors import CommandError
from bankwise.tui.last_used import LastUsed, What, last_used, remember
from bankwise.tui.options import checked_port
from bankwise.tui.session_list import row, session_files
from bankwise.tui.words import clip, wrap

Opening = Callable[[], Any]
_NEWEST = 4
_EDGES = 20


@dataclass(frozen=True, slots=True)
class Choice:
    """One row that can be picked: what it says and what it opens.

    Attributes:
        text: the row.
        open: makes the source.
        used: what to put first the next time; None for what is never the same.
    """

    text: str
    open: Opening
    used: LastUsed | None = None


def adapter_choices(folder: Path) -> list[Choice]:
    """A row for every port that may hold an adapter."""
    from bankwise.adapters.ports import found_ports
    from bankwise.tui.openings import open_adapter

    return [
        Choice(
            f"{port.url:<24} {port.trouble or port.what}",
            partial(open_adapter, port.url, folder),
            LastUsed(What.ADAPTER, port.url),
        )
        for port in found_ports()
        if port.likely
    ]


def session_choices(rows: Iterable[tuple[str, ...]]) -> list[Choice]:
    """A row for each session, opened for replay."""
    from bankwise.tui.openings import open_session

    return [
        Choice(
            f"{name:<32} {about}",
            partial(open_session, Path(path)),
            LastUsed(What.SESSION, path),
        )
        for path, name, _began, _size, about in rows
    ]


def demo_choices(folder: Path) -> list[Choice]:
    """A row for every story of the simulated car."""
    from bankwise.adapters.car.stories import STORIES
    from bankwise.tui.openings import open_blind_demo, open_demo

    blind = Choice(
        f"{'practise':<30} one of these, not told which; `bankwise answer` tells",
        partial(open_blind_demo, folder),
    )
    known, *told = [
        Choice(
            f"{name:<30} {story.title}",
            partial(open_demo, name, folder),
            LastUsed(What.DEMO, name),
        )
        for name, story in STORIES.items()
    ]
    return [known, blind, *told]


def last_choices(folder: Path, others: Iterable[Choice]) -> list[Choice]:
    """The row of what was watched last, if anything was and it is still there.

    Args:
        folder: where sessions are kept.
        others: every row below; a row there is shown again as it is.
    """
    used = last_used()
    if used is None:
        return []
    for choice in others:
        if choice.used == used:
            return [choice]
    if used.what is What.ADAPTER:
        from bankwise.tui.openings import open_adapter

        url = used.name
        gone = "not seen now; tried all the same"
        words = "on the network" if url.startswith(NETWORK) else gone
        return [Choice(f"{url:<24} {words}", partial(open_adapter, url, folder), used)]
    if used.what is What.SESSION:
        return session_choices([row(Path(used.name), "")])
    return []


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
        every = [choice for _, choices, _ in sections for choice in choices]
        last = last_choices(self._folder, every)
        if last:
            sections.insert(0, ("LAST USED", last, ""))
        self.app.call_from_thread(self._show, sections)

    def _show(self, sections: list[tuple[str, list[Choice], str]]) -> None:
        options = self.query_one(OptionList)
        width = max(self.app.size.width - _EDGES, 20)
        options.clear_options()
        self._choices.clear()
        for title, choices, nothing in sections:
            options.add_option(Option(title, disabled=True))
            if not choices:
                told = "\n".join(f"  {line}" for line in wrap(nothing, width))
                options.add_option(Option(told, disabled=True))
            for choice in choices:
                name = f"choice-{len(self._choices)}"
                self._choices[name] = choice
                options.add_option(Option(f"  {clip(choice.text, width)}", name))
        options.action_first()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Opens the row picked."""
        choice = self._choices.get(event.option_id or "")
        if choice is not None:
            if choice.used is not None:
                remember(choice.used)
            self.dismiss(choice.open)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Opens the address typed."""
        try:
            url = checked_port(event.value)
        except CommandError as error:
            self.query_one(".hint", Static).update(str(error))
            return
        if url:
            from bankwise.tui.openings import open_adapter

            remember(LastUsed(What.ADAPTER, url))
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
    "none found. USB: plug it in. Bluetooth: pair it first. Then r looks again. "
    "Wi-Fi: join its network, then u and its address"
)
