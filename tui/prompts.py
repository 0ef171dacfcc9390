"""The few questions the screen asks, each a small box over it."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from bankwise.signals.cautions import CAUTIONS


class Caution(ModalScreen[None]):
    """Shown on opening: the driver drives, someone else watches."""

    BINDINGS: ClassVar = [Binding("enter,space,escape", "go_on", "go on")]

    def compose(self) -> ComposeResult:
        """The caution and how to go on."""
        with Vertical(classes="box"):
            yield Static("Before you drive", classes="head")
            yield Static(CAUTIONS["driver-drives"])
            yield Static(CAUTIONS["legal-roads"])
            yield Static(CAUTIONS["evidence-only"])
            yield Static("enter: understood", classes="hint")

    def action_go_on(self) -> None:
        """Understood."""
        self.dismiss()


class Leave(ModalScreen[bool]):
    """Asks before a recording ends."""

    BINDINGS: ClassVar = [
        Binding("y", "answer(True)", "yes"),
        Binding("n,escape,q", "answer(False)", "no"),
    ]

    def __init__(self, file: str) -> None:
        super().__init__()
        self._file = file

    def compose(self) -> ComposeResult:
        """The question."""
        with Vertical(classes="box"):
            yield Static("End the recording and quit?", classes="head")
            yield Static(f"{self._file} will be sealed and closed.", markup=False)
            yield Static("y: end and quit    n: go on recording", classes="hint")

    def action_answer(self, leave: bool) -> None:
        """Yes or no."""
        self.dismiss(leave)


class Prompt(ModalScreen[str | None]):
    """Asks for one line of text; None when the person turned away."""

    BINDINGS: ClassVar = [Binding("escape", "away", "away")]

    def __init__(self, question: str, text: str = "") -> None:
        super().__init__()
        self._question = question
        self._text = text

    def compose(self) -> ComposeResult:
        """The question and a line to write on."""
        with Vertical(classes="box"):
            yield Static(self._question, classes="head", markup=False)
            yield Input(self._text)
            yield Static("enter: keep    esc: never mind", classes="hint")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Written."""
        self.dismiss(event.value.strip() or None)

    def action_away(self) -> None:
        """Nothing written."""
        self.dismiss(None)
