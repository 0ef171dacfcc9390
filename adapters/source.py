"""What the screen and the recorder see of a drive, whichever way it comes in.

A source hands over records in order. It never blocks its caller, never raises for what
a car, an adapter or a disk does, and says in words what it is busy with.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Protocol

from bankwise.adapters.records import FlagRecord, Header, Record


class LinkState(Enum):
    """The connection's life, as shown at all times."""

    CONNECTING = "connecting"
    UP = "up"
    LOST = "lost"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Recording:
    """The state of the file being written, as shown at all times.

    Attributes:
        path: the file, or None when nothing is recorded.
        size: bytes written so far.
        sealed_s: session time of the newest seal, or None before the first.
        error: why recording stopped, in plain words, or None.
    """

    path: Path | None = None
    size: int = 0
    sealed_s: float | None = None
    error: str | None = None


class Source(Protocol):
    """A drive as it happens: a live car, a simulated one, or a recorded session.

    All methods may be called from the screen's thread and return at once.
    """

    @property
    def kind(self) -> str:
        """`live`, `simulated` or `replay`."""
        ...

    @property
    def header(self) -> Header | None:
        """The session's header, or None until it is known."""
        ...

    @property
    def state(self) -> LinkState:
        """The link's state now."""
        ...

    @property
    def status(self) -> str:
        """What the source is doing, or why it cannot, in plain words."""
        ...

    @property
    def recording(self) -> Recording:
        """The state of the file being written."""
        ...

    def start(self) -> None:
        """Begins; records arrive from now on."""
        ...

    def drain(self) -> list[Record]:
        """New records since the last call, in order; empty when there are none."""
        ...

    def mark(self, text: str, tag: str | None = None) -> None:
        """Notes a remark now; it comes back through `drain` like any record."""
        ...

    def note(self, record: FlagRecord) -> None:
        """Keeps in the session what the person was told; a replay ignores it."""
        ...

    def ask(self, *requests: str) -> None:
        """Asks these once, between two polls (`"03"`, `"0902"`); a replay ignores it.

        The answers come back through `drain` as exchanges.

        Raises:
            GateRefused: when one of them may not be sent to a vehicle.
        """
        ...

    def want(self, rates: Mapping[str, float] | None) -> None:
        """Asks for other poll rates by signal name. Unit: Hz. None: the usual ones.

        Signals that are not named fall to a trickle. A rate above what the link can
        give means: as fast as it goes.
        """
        ...

    def now(self) -> float:
        """Session time. Unit: seconds since the session began."""
        ...

    def stop(self) -> None:
        """Closes in good order: adapter at rest, file sealed. May be called twice."""
        ...
