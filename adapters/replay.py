"""A recorded session as a source: records come when their time has come.

The clock is given from outside, so a replay can be tested without waiting.
"""

from __future__ import annotations

import time
from bisect import bisect_right
from collections.abc import Callable, Mapping

from bankwise.adapters.records import Exchange, FlagRecord, Header, MarkRecord, Record
from bankwise.adapters.session_file import Session
from bankwise.adapters.source import LinkState, Recording


class Replay:
    """Plays a session at any speed; can pause, seek and step.

    Remarks made while replaying come back like any record, but no file keeps them.

    Args:
        session: as read.
        speed: session seconds per second of the clock.
        start_s: session time to begin at; everything before comes at once.
        clock: seconds from a monotonic clock.
    """

    kind = "replay"

    def __init__(
        self,
        session: Session,
        speed: float = 1.0,
        start_s: float = 0.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.header: Header | None = session.header
        self.recording = Recording()
        """Nothing is recorded while replaying."""
        self.epoch = 0
        """Grows by one when a seek goes back: records then come from the first one."""
        self._records = list(session.records)
        self._times = [record.t for record in self._records]
        self._clock = clock
        self._speed = max(speed, 0.0)
        self._given = 0
        self._begun = self._stopped = False
        self._paused = False
        self._anchor_s = min(max(start_s, 0.0), self.duration_s)
        self._anchor_clock = 0.0

    @property
    def duration_s(self) -> float:
        """Session time of the end. Unit: seconds."""
        if not self._records:
            return 0.0
        last = self._records[-1]
        return last.t + (last.d if isinstance(last, Exchange) else 0.0)

    @property
    def speed(self) -> float:
        """Session seconds per second of the clock; may be set at any time."""
        return self._speed

    @speed.setter
    def speed(self, speed: float) -> None:
        self._hold()
        self._speed = max(speed, 0.0)

    @property
    def paused(self) -> bool:
        """Whether time stands still."""
        return self._paused

    @property
    def at_end(self) -> bool:
        """Whether everything has been played."""
        return self.now() >= self.duration_s

    @property
    def state(self) -> LinkState:
        """The recorded link's state now; closed at the end."""
        if not self._begun:
            return LinkState.CONNECTING
        if self._stopped or self.at_end:
            return LinkState.CLOSED
        for record in reversed(self._records[: self._due()]):
            state = getattr(record, "state", None) if record.t <= self.now() else None
            if state is not None and not isinstance(record, FlagRecord):
                return LinkState.LOST if state == "lost" else LinkState.UP
            if isinstance(record, Exchange) and record.e is None:
                return LinkState.UP
        return LinkState.UP

    @property
    def status(self) -> str:
        """What the replay is doing, in plain words."""
        if not self._begun:
            return "ready to replay"
        if self._stopped or self.at_end:
            return "at the end of the session"
        if self._paused:
            return "paused"
        return f"replaying at {self._speed:g} times speed"

    def start(self) -> None:
        """Lets time run from the beginning, or from `start_s`."""
        if not self._begun:
            self._begun = True
            self._anchor_clock = self._clock()

    def now(self) -> float:
        """Session time. Unit: seconds since the session began."""
        if not self._begun or self._paused or self._stopped:
            return self._anchor_s
        passed = (self._clock() - self._anchor_clock) * self._speed
        return min(self._anchor_s + max(passed, 0.0), self.duration_s)

    def drain(self) -> list[Record]:
        """Records whose time has come since the last call."""
        if not self._begun:
            return []
        due = max(self._due(), self._given)
        fresh = self._records[self._given : due]
        self._given = due
        return fresh

    def pause(self) -> None:
        """Lets time stand still."""
        self._hold()
        self._paused = True

    def resume(self) -> None:
        """Lets time go on."""
        self._hold()
        self._paused = False

    def seek(self, t: float) -> None:
        """Goes to a session time; a step back starts a new epoch."""
        t = min(max(t, 0.0), self.duration_s)
        if t < self.now():
            self.epoch += 1
            self._given = 0
        self._anchor_s, self._anchor_clock = t, self._clock()

    def step(self, seconds: float) -> None:
        """Pauses, and moves on (or back) by some seconds."""
        self.pause()
        self.seek(self.now() + seconds)

    def mark(self, text: str, tag: str | None = None) -> None:
        """Notes a remark now; it comes back through `drain`, no file keeps it."""
        record = MarkRecord(self.now(), text, tag)
        where = max(bisect_right(self._times, record.t), self._given)
        self._records.insert(where, record)
        self._times.insert(where, record.t)

    def note(self, record: FlagRecord) -> None:
        """Does nothing: the session already holds what the person was told."""

    def ask(self, *requests: str) -> None:
        """Does nothing: a recorded car cannot be asked."""

    def want(self, rates: Mapping[str, float] | None) -> None:
        """Does nothing: a recorded car cannot be polled."""

    def stop(self) -> None:
        """Ends the replay."""
        self._hold()
        self._stopped = True

    def _hold(self) -> None:
        """Makes now the moment that time is counted from."""
        self._anchor_s, self._anchor_clock = self.now(), self._clock()

    def _due(self) -> int:
        return bisect_right(self._times, self.now())
