"""Which PIDs the next request asks for: pure, told the time, deterministic.

Each PID has a wanted rate. Its urgency is its age times that rate, so what is most
overdue in proportion comes first and a link that is too slow scales everything evenly.
A PID that was not asked for `FLOOR_S` leads every second request until none is left, so
nothing starves and the fast ones go on beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

FILL_FROM: Final = 0.6
"""A request is filled with PIDs this urgent. Our choice: lower
values make slow signals too frequent, higher ones leave places empty."""
FLOOR_S: Final = 12.0
"""No PID waits longer, on the slowest link. Unit: seconds. Our choice: coolant and
supply voltage still make a line, and 25 PIDs take 2 of 8 requests a second."""
JOIN_FROM: Final = 0.2
"""A companion rides along when at least this urgent. Our choice."""

Fits = Callable[[tuple[int, ...]], bool]
"""Whether these PIDs may go into one request."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One PID to ask for.

    Attributes:
        pid: its number.
        hz: wanted rate, above zero. Unit: requests per second.
        with_: PIDs worth having at the same moment; they ride along.
        fills: takes a place that is left over, more often than wanted.
        leads: in every request that has room for others beside it, so that its
            samples are evenly spaced.
    """

    pid: int
    hz: float
    with_: tuple[int, ...] = ()
    fills: bool = False
    leads: bool = False


class Schedule:
    """Ages and urgencies of the wanted PIDs."""

    def __init__(self, wanted: Iterable[Wanted]) -> None:
        """Starts with every PID just due."""
        self._wanted: dict[int, Wanted] = {row.pid: row for row in wanted}
        self._asked: dict[int, float] = {}
        self._held: dict[int, float] = {}
        self._led = False
        """Whether a starving PID led the last request."""

    @property
    def wanted(self) -> Mapping[int, Wanted]:
        """What is wanted, by PID."""
        return self._wanted

    def replace(self, wanted: Iterable[Wanted]) -> None:
        """Other rates from now on; ages are kept."""
        self._wanted = {row.pid: row for row in wanted}

    def hold(self, pid: int, until: float) -> None:
        """Leaves a PID out until a moment: it was not answered several times."""
        self._held[pid] = until

    def release(self) -> None:
        """Asks for every PID again: it was the vehicle that was silent."""
        self._held.clear()

    def urgency(self, pid: int, now: float) -> float:
        """Age times wanted rate."""
        return self._age(pid, now) * self._wanted[pid].hz

    def _age(self, pid: int, now: float) -> float:
        # At first sight a PID is just due, so that fast ones come again before the
        # last slow one had its first turn.
        return now - self._asked.setdefault(pid, now - 1 / self._wanted[pid].hz)

    def _starving(self, pid: int, now: float) -> float:
        """How long a PID has waited past its floor; at most 0 when it has not."""
        return self._age(pid, now) - max(FLOOR_S, 1.5 / self._wanted[pid].hz)

    def next(self, now: float, fits: Fits) -> tuple[int, ...]:
        """The PIDs of the next request, the most urgent first; empty without any.

        Args:
            now: session time. Unit: seconds.
            fits: says which sets one request can hold.
        """
        ranked = sorted(
            (
                (self.urgency(pid, now), pid)
                for pid in self._wanted
                if self._held.get(pid, now) <= now
            ),
            key=lambda row: (-row[0], -self._wanted[row[1]].hz, row[1]),
        )
        if not ranked:
            return ()
        self._led, led = False, self._led
        if not led:
            starving = max(ranked, key=lambda row: self._starving(row[1], now))
            if self._starving(starving[1], now) >= 0:
                ranked.remove(starving)
                ranked.insert(0, starving)
                self._led = True
        order = {pid: urgency for urgency, pid in ranked}
        chosen: tuple[int, ...] = ()

        def add(pid: int) -> None:
            nonlocal chosen
            if pid in order and pid not in chosen and fits((*chosen, pid)):
                chosen = (*chosen, pid)

        add(ranked[0][1])
        leads = tuple(pid for pid in order if self._wanted[pid].leads)
        if fits(tuple(dict.fromkeys((*chosen, *leads, *order)))[: len(leads) + 2]):
            for pid in leads:
                add(pid)
        for urgency, pid in ranked:
            if chosen and urgency < FILL_FROM:
                continue
            add(pid)
            for other in self._wanted[pid].with_:
                if order.get(other, 0.0) >= JOIN_FROM:
                    add(other)
        for _, pid in ranked:
            if self._wanted[pid].fills:
                add(pid)
        return chosen

    def asked(self, pids: Iterable[int], now: float) -> None:
        """Notes that these were asked at a moment, answered or not."""
        for pid in pids:
            self._asked[pid] = now
