"""Opens what a person chose to watch: an adapter, a recorded session, or the demo."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from pathlib import Path
from random import Random

from bankwise.adapters.blind import KEY, SUBJECT
from bankwise.adapters.car.server import ProcessServer
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.definitions import NONE, Definitions
from bankwise.adapters.errors import LinkError
from bankwise.adapters.link import Link, PortLink
from bankwise.adapters.live import Live
from bankwise.adapters.records import FlagRecord, Header, Record
from bankwise.adapters.replay import Replay
from bankwise.adapters.session_file import read_session
from bankwise.adapters.source import LinkState, Recording, Source
from bankwise.tui.places import new_session_file
from bankwise.tui.practice import hidden, pick

DEMO = "demo"
"""Id of the story the demo opens with."""


class Demo:
    """A simulated car in a process of its own, watched through the whole live stack.

    Args:
        story: id of the story.
        folder: where the session is kept.
        cold: from a cold start.
        faster: simulated seconds per real second.
        path: the session file; a new one in `folder` when None.
        blind: neither the file nor the session's text names the story.
    """

    def __init__(
        self,
        story: str,
        folder: Path,
        *,
        cold: bool = False,
        faster: float = 1.0,
        path: Path | None = None,
        blind: bool = False,
    ) -> None:
        options = ["--faster", f"{faster:g}"] + (["--cold"] if cold else [])
        told = STORIES[story]
        subject = story if story == DEMO else f"{DEMO}-{story}"
        if blind:
            subject = SUBJECT
        self._server = ProcessServer(story, *options)
        self._served = threading.Lock()
        self._up = self._stopped = False
        self._live = Live(
            "the simulated car",
            path or new_session_file(folder, subject),
            kind="simulated",
            clock_rate=faster,
            note=told.text,
            vehicle={
                "name": f"{told.spec.identity.name} (invented)",
                "displacement_l": told.spec.displacement_l,
                **({KEY: hidden(story)} if blind else {}),
            },
            open_link=self._open,
        )

    def _open(self) -> Link:
        # In the live thread, so that the screen is there while the car starts.
        with self._served:
            if self._stopped:
                raise LinkError("the simulated car has stopped")
            if not self._up:
                self._server.__enter__()
                self._up = True
        return PortLink(self._server.address)

    @property
    def kind(self) -> str:
        """Always `simulated`."""
        return self._live.kind

    @property
    def header(self) -> Header | None:
        """The session's header, or None until it is known."""
        return self._live.header

    @property
    def state(self) -> LinkState:
        """The link's state now."""
        return self._live.state

    @property
    def status(self) -> str:
        """What the source is doing, in plain words."""
        return self._live.status

    @property
    def recording(self) -> Recording:
        """The state of the file being written."""
        return self._live.recording

    def start(self) -> None:
        """Begins."""
        self._live.start()

    def drain(self) -> list[Record]:
        """New records since the last call."""
        return self._live.drain()

    def mark(self, text: str, tag: str | None = None) -> None:
        """Notes a remark now."""
        self._live.mark(text, tag)

    def note(self, record: FlagRecord) -> None:
        """Keeps what the person was told."""
        self._live.note(record)

    def ask(self, *requests: str) -> None:
        """Asks these once. Raises GateRefused."""
        self._live.ask(*requests)

    def want(self, rates: Mapping[str, float] | None) -> None:
        """Asks for other poll rates. Unit: Hz."""
        self._live.want(rates)

    def touch(self, line: str) -> str:
        """Hands on the simulated car; its answer. Raises LinkError."""
        return self._server.say(line)

    def now(self) -> float:
        """Session time. Unit: s."""
        return self._live.now()

    def stop(self) -> None:
        """Closes the session, then the car."""
        self._live.stop()
        with self._served:
            self._stopped = True
            if self._up:
                self._server.__exit__(None, None, None)
                self._up = False


def open_demo(
    story: str,
    folder: Path,
    *,
    cold: bool = False,
    faster: float = 1.0,
    path: Path | None = None,
    blind: bool = False,
) -> Source:
    """The simulated car of a story; it is started when the source is."""
    return Demo(story, folder, cold=cold, faster=faster, path=path, blind=blind)


def open_blind_demo(folder: Path) -> Source:
    """The simulated car of a story that is not told."""
    return open_demo(pick(Random()), folder, blind=True)


def open_adapter(
    url: str,
    folder: Path,
    *,
    note: str | None = None,
    baud: int | None = None,
    path: Path | None = None,
    definitions: Definitions = NONE,
) -> Source:
    """A real adapter, recorded from the first byte; nothing is opened before start."""
    return Live(
        url,
        path or new_session_file(folder, "drive"),
        baud=baud,
        note=note,
        definitions=definitions,
    )


def open_session(path: Path, *, speed: float = 1.0, start_s: float = 0.0) -> Source:
    """A recorded session as if it happened now. Raises SessionError."""
    return Replay(read_session(path), speed, start_s)
