"""What the feed stands on: a reader with its engine, and what a replay can do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from bankwise.adapters.pids import Layout
from bankwise.adapters.records import Record
from bankwise.signals.columns import Columns

if TYPE_CHECKING:
    from bankwise.signals.engine import FlagEvent, FlagSpan


class Engine(Protocol):
    """What the screen reads of the engine."""

    frame: Any
    flags: list[FlagSpan]

    def explanations(self) -> list[Any]:
        """The ledger, most likely first."""
        ...

    def figures(self) -> dict[str, Any]:
        """Figures of the session, ready for JSON."""
        ...

    def cannot_tell(self) -> list[Any]:
        """What the data cannot tell."""
        ...


class Reader(Protocol):
    """Records in, columns and engine out."""

    @property
    def columns(self) -> Columns:
        """What was measured so far."""
        ...

    @property
    def layout(self) -> Layout:
        """Which places the sensor PIDs stand for."""
        ...

    @property
    def engine(self) -> Any:
        """The engine that watches the columns."""
        ...

    def feed(self, records: list[Record]) -> list[FlagEvent]:
        """Takes records in order; returns the flags that rose or cleared."""
        ...

    def finish(self) -> list[FlagEvent]:
        """Judges the last moments, once no more records will come."""
        ...

    def holes(self) -> list[tuple[float, float]]:
        """Stretches without a usable answer. Unit: s."""
        ...


@runtime_checkable
class Playing(Protocol):
    """What a replay can do beyond a source."""

    speed: float
    epoch: int

    def now(self) -> float:
        """Session time. Unit: s."""
        ...

    @property
    def paused(self) -> bool:
        """Whether it stands still."""
        ...

    @property
    def duration_s(self) -> float:
        """Length of the session. Unit: s."""
        ...

    def pause(self) -> None:
        """Stands still."""
        ...

    def resume(self) -> None:
        """Goes on."""
        ...

    def seek(self, t: float) -> None:
        """Goes to a moment of the session. Unit: s."""
        ...
