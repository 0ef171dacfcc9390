"""One adapter on one link: asks, waits to a deadline, gets back in step.

`Adapter.ask` gives an `Asked` for whatever happens on the bus; it raises only when the
link itself is gone. A bare carriage return is never sent; one space brings an adapter
that still works on something to its prompt.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from bankwise.adapters.dialogue import Dialogue, Reply
from bankwise.adapters.gate import RESYNC, Permitted, permit
from bankwise.adapters.link import POLL_S, Link
from bankwise.adapters.records import Exchange
from bankwise.adapters.troubles import Reaction

SEARCH_S: Final = 20.0
"""Longest protocol search. From memory of adapter data sheets."""
FIRST_S: Final = 2.0
"""Deadline of a request that was never timed before. Our choice."""
COMMAND_S: Final = 1.0
"""Deadline of a command to the adapter itself. Our choice."""
RESTART_S: Final = 3.0
"""Deadline of a restart of the adapter. Our choice."""
LEAST_S: Final = 0.6
"""No deadline is shorter. Our choice: an adapter's own wait of 200 ms for a silent
vehicle, over a slow link, ends well before; what ends later is out of step."""
TIMES_P99: Final = 4.0
"""A deadline in multiples of the slowest usual answer. Our choice."""
_QUIET_S: Final = 0.3
"""After a resync, silence this long means that the adapter was at rest. Our choice."""
_REMEMBERED: Final = 100
"""Answers whose durations are remembered a kind of request. Our choice."""

CANCELLED: Final = "cancelled"
"""The word for an exchange that was given up because the drive ends."""


class SessionClock:
    """Session time from a link's clock: zero at the start, `rate` times as fast."""

    def __init__(self, origin: float, rate: float = 1.0) -> None:
        self._origin = origin
        self.rate = rate
        """Session seconds in a second of the link's clock."""

    def at(self, link_time: float) -> float:
        """Session time of a moment of the link's clock. Unit: seconds."""
        return (link_time - self._origin) * self.rate

    def lasted(self, link_seconds: float) -> float:
        """Session seconds of a duration of the link's clock."""
        return link_seconds * self.rate


class Latencies:
    """How long answers took, by kind of request, and the deadline that follows."""

    def __init__(self) -> None:
        self._seen: dict[str, deque[float]] = {}

    def add(self, kind: str, seconds: float) -> None:
        """Remembers one finished answer."""
        seen = self._seen.setdefault(kind, deque(maxlen=_REMEMBERED))
        seen.append(seconds)

    def deadline(self, kind: str, first: float = FIRST_S) -> float:
        """Seconds to wait: four times the slowest usual answer, or `first` at first."""
        seen = self._seen.get(kind)
        if not seen or len(seen) < 3:
            return first
        slow = sorted(seen)[min(len(seen) - 1, int(0.99 * len(seen)))]
        return max(LEAST_S, TIMES_P99 * slow)


@dataclass(frozen=True, slots=True)
class Asked:
    """One exchange as recorded, and the reply it came from."""

    exchange: Exchange
    reply: Reply

    @property
    def ok(self) -> bool:
        """Whether there is a usable answer."""
        return self.exchange.e is None

    @property
    def text(self) -> str:
        """The first answer line as it came, or an empty string."""
        return self.reply.raw[0] if self.reply.raw else ""


def _never() -> bool:
    return False


class Adapter:
    """Asks one request at a time over a link."""

    def __init__(
        self,
        link: Link,
        clock: SessionClock | None = None,
        cancelled: Callable[[], bool] = _never,
    ) -> None:
        """Takes an open link.

        Args:
            link: the way to the adapter.
            clock: session time; by default it starts now.
            cancelled: asked often while waiting; True ends the wait.
        """
        self.link = link
        self.clock = clock or SessionClock(link.now())
        self.latencies = Latencies()
        self.in_step = True
        """False after a reply without its end: a resync is due."""
        self.aside: list[Exchange] = []
        """Exchanges made only to get back in step; take them for the session."""
        self.stray_bytes = 0
        """Bytes that belonged to no request, so far."""
        self.cancelled = cancelled
        """Asked often while waiting; True ends the wait."""
        self._dialogue = Dialogue()

    def ask(
        self,
        request: str | Permitted,
        deadline: float | None = None,
        progress: Callable[[], None] | None = None,
    ) -> Asked:
        """Sends one request and waits for its reply, never past the deadline.

        Args:
            request: text for the gate, or what it permitted.
            deadline: seconds to wait; by default from measured answers.
            progress: called once when the adapter says that it is searching.

        Raises:
            GateRefused: nothing was sent.
            LinkError: the link is gone.
        """
        permitted = permit(request) if isinstance(request, str) else request
        kind = permitted.text[:2] + str(len(permitted.text))
        wait = self.latencies.deadline(kind) if deadline is None else deadline
        self.stray_bytes += self._dialogue.begin(permitted.text)
        sent = self.link.now()
        self.link.write(permitted)
        reply = self._await(sent + wait, sent, progress)
        ended = self.link.now()
        word = reply.word
        if reply.finished and word is None:
            self.latencies.add(kind, ended - sent)
        if word is not None and self.cancelled():
            word = CANCELLED
        self.in_step = reply.finished and not reply.says(Reaction.RESET)
        exchange = Exchange(
            t=self.clock.at(sent),
            q=permitted.text,
            a=reply.lines,
            d=self.clock.lasted(ended - sent),
            e=word,
        )
        return Asked(exchange, reply)

    def _await(
        self, end: float, sent: float, progress: Callable[[], None] | None
    ) -> Reply:
        dialogue = self._dialogue
        told = False
        while True:
            now = self.link.now()
            if now >= end or self.cancelled():
                return dialogue.give_up()
            data = self.link.read(min(POLL_S, end - now))
            reply = dialogue.feed(data) if data else None
            if reply is not None:
                return reply
            if data and not told and dialogue.in_progress:
                told = True
                end = max(end, sent + SEARCH_S)
                if progress is not None:
                    progress()

    def resync(self) -> bool:
        """Brings the adapter to its prompt: one space, then it must name itself.

        Returns:
            Whether it is in step again.

        Raises:
            LinkError: the link is gone.
        """
        self._dialogue.begin("")
        self.link.write(RESYNC)
        self.drain(_QUIET_S)
        asked = self.ask("ATI", COMMAND_S)
        self.aside.append(asked.exchange)
        if not asked.ok and not self.cancelled():
            # The space may have met a half-typed command, or been taken for part of
            # the name's request; the next one is clean.
            asked = self.ask("ATI", COMMAND_S)
            self.aside.append(asked.exchange)
        self.in_step = asked.ok and asked.reply.finished
        return self.in_step

    def drain(self, quiet_s: float) -> None:
        """Reads and forgets until the link is quiet. Raises LinkError."""
        hard_end = self.link.now() + 4 * quiet_s
        end = self.link.now() + quiet_s
        while (now := self.link.now()) < min(end, hard_end):
            data = self.link.read(min(POLL_S, end - now))
            self.stray_bytes += len(data)
            if data.rstrip().endswith(b">"):
                return
            if data:
                end = self.link.now() + quiet_s
