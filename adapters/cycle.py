"""The poll cycle: one step, one exchange, over any link and without a thread.

    cycle = PollCycle(link)
    while driving:
        records = cycle.step()

A step starts the adapter up, asks what is most urgent, or waits for a vehicle that went
silent; it never lasts longer than one deadline. Errors of the link leave `step` as
`LinkError`; whoever opens links calls `relink` with the next one and goes on.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Generator, Iterator, Mapping
from typing import Final

from bankwise.adapters.adapter import CANCELLED, COMMAND_S, Adapter, Asked, SessionClock
from bankwise.adapters.adapter_notes import Note
from bankwise.adapters.backoff import Backoff
from bankwise.adapters.batching import Batching, Judged
from bankwise.adapters.definitions import NONE, Definitions
from bankwise.adapters.duties import Duties
from bankwise.adapters.errors import LinkLost
from bankwise.adapters.link import POLL_S, Link
from bankwise.adapters.maker_reads import MakerReads
from bankwise.adapters.plan import SLOW_LINK_HZ, plan
from bankwise.adapters.rates import Rates
from bankwise.adapters.records import Exchange, LinkRecord, Record
from bankwise.adapters.schedule import Schedule
from bankwise.adapters.source import LinkState
from bankwise.adapters.startup import Found, StartUp, payloads
from bankwise.adapters.troubles import Reaction

SILENCES: Final = 3
"""Unanswered requests in a row before the vehicle itself is asked. Our choice."""
HOLD_S: Final = 60.0
"""A PID that stays silent alone is left out this long. Our choice."""
JUDGE_LINK_AFTER_S: Final = 10.0
"""When a link is judged slow or not. Our choice."""
KEY_ON_S: Final = 6.0
"""Longest wait between looks for a vehicle. Our choice: a
person who turns the key should not wait."""
LEAST_INTERVAL_S: Final = 0.01
"""Requests are not closer than this in session time. Our choice: a control unit takes 8
ms or more to answer, so only an unreal one could be asked faster, to fill the disk."""
RESYNCS: Final = 3
"""Failed resyncs in a row before the link is opened anew. Our choice."""
_IGNITION: Final = "no answer from the vehicle: is the ignition on?"


class PollCycle:
    """Start-up and polling on one link at a time."""

    def __init__(
        self,
        link: Link,
        *,
        rate: float = 1.0,
        cancelled: Callable[[], bool] = lambda: False,
        jitter: random.Random | None = None,
        note: Note | None = None,
        definitions: Definitions = NONE,
    ) -> None:
        """Takes an open link; session time begins now.

        Args:
            link: the way to the adapter.
            rate: session seconds a link second, for a car that runs faster.
            cancelled: asked often while waiting; True ends any wait at once.
            jitter: spreads the waits; give a seeded one for repeatable runs.
            note: what is known of the adapter; heeded when it gives the same name.
            definitions: maker-specific values to ask for as well.
        """
        self.clock = SessionClock(link.now(), rate)
        self.adapter = Adapter(link, self.clock, cancelled)
        self.found = Found()
        self.state = LinkState.CONNECTING
        self.status = "connecting"
        self.other_vehicle = False
        """True when the car that came back is not the one before."""
        self.batching: Batching | None = None
        self.rates = Rates()
        self.counts: dict[str, int] = {}
        """How often each word of the adapter was heard."""
        self.maker = MakerReads(definitions)
        """Maker-specific values, and what the car refused of them."""
        self._note = note
        self._cancelled = cancelled
        self._jitter = jitter or random.Random()
        self._schedule = Schedule(())
        self._wanted: dict[str, float] | None = None
        self._slow_link = False
        self._duties = Duties()
        self._strikes: dict[int, int] = {}
        self._silent = 0
        self._judge_at = float("inf")
        self._agains = 0
        self._faulted = False
        self._sent = link.now() - 1.0
        self._was_up = False
        self._script = self._run()

    # --- what others may ask for -------------------------------------------------

    def now(self) -> float:
        """Session time. Unit: seconds."""
        return self.clock.at(self.adapter.link.now())

    def want(self, rates: Mapping[str, float] | None) -> None:
        """Other poll rates by signal name, as `Source.want`."""
        self._wanted = None if rates is None else dict(rates)
        self._replan()

    def ask(self, *requests: str) -> None:
        """Asks these once, between polls. Raises GateRefused."""
        self._duties.ask(*requests)

    def note(self) -> Note | None:
        """What was learned of the adapter; None before a vehicle on CAN answered."""
        batching = self.batching
        if batching is None or not self.found.can:
            return None
        baud = getattr(self.adapter.link, "baud", None)
        name = self.found.name
        return Note(name, baud, batching.digit_known, batching.rung)

    def step(self) -> list[Record]:
        """The next exchange and what it led to. Raises LinkError, NoAdapter."""
        return next(self._script)

    def lost(self, why: str) -> list[Record]:
        """Notes that the connection is gone; empty when that is known already."""
        self.status = why
        if self.state is not LinkState.UP:
            return []
        self.state = LinkState.LOST
        return [LinkRecord(self.now(), "lost", why)]

    def relink(self, link: Link) -> None:
        """Goes on over another link; start-up begins anew, session time does not."""
        self.adapter = Adapter(link, self.clock, self._cancelled)
        self._script = self._run()

    def rest(self) -> list[Record]:
        """Leaves the adapter at its prompt with the bus closed."""
        self.adapter.cancelled = lambda: False
        if not self.adapter.in_step:
            self.adapter.resync()
        exchange = self.adapter.ask("ATPC", COMMAND_S).exchange
        return self._kept(exchange)

    # --- the script -----------------------------------------------------------------

    def _run(self) -> Iterator[list[Record]]:
        while True:
            yield from self._start()
            yield from self._poll()

    def _start(self) -> Iterator[list[Record]]:
        """Until a vehicle answers."""
        backoff = Backoff(self._jitter, first_s=2.0, most_s=KEY_ON_S)
        remembered = self.found.protocol
        while True:
            start_up = StartUp(self.adapter, self._tell, faulted=self._faulted)
            for exchange in start_up.adapter_steps():
                yield self._kept(exchange)
            for exchange in start_up.bus_steps(remembered):
                yield self._kept(exchange)
            if start_up.found.units:
                break
            remembered = ""
            yield from self._wait(backoff.next())
        for exchange in start_up.vehicle_steps():
            yield self._kept(exchange)
        yield self._arrived(start_up.found)

    def _arrived(self, found: Found) -> list[Record]:
        before = self.found
        if self._was_up and _differs(before, found):
            self.other_vehicle = True
            self.status = "another vehicle answers: this drive ends here"
        self.found = found
        note = self._note if self._note and self._note.name == found.name else Note()
        self.batching = Batching(
            found.units,
            found.protocol,
            can=found.can,
            way=found.way,
            rung=note.rung,
            digit=note.digit,
        )
        self._slow_link = not found.can
        self._silent = 0
        self._strikes.clear()
        self._schedule.release()
        self._replan()
        self._duties.begin(found, self.now(), once=not self._was_up)
        self.maker.begin(found.protocol, self.now())
        self._judge_at = self.now() + JUDGE_LINK_AFTER_S
        return [self._up()]

    def _up(self) -> LinkRecord:
        state = "back" if self._was_up else "up"
        self._was_up = True
        self.state = LinkState.UP
        self.status = "watching"
        return LinkRecord(self.now(), state)

    def _poll(self) -> Iterator[list[Record]]:
        """Until the adapter must be set up again."""
        while True:
            if not self.adapter.in_step and not (yield from self._get_in_step()):
                return
            asked, judged = self._exchange()
            records = self._kept(asked.exchange)
            trouble = asked.reply.trouble
            if self._restarted(asked):
                self._faulted = trouble is not None and trouble.word.startswith("ERR")
                why = trouble.text if trouble else "the adapter restarted"
                yield records + self.lost(why)
                self.adapter.drain(POLL_S)
                return
            if judged is not None:
                self._silent = self._silent + 1 if judged.silent else 0
            yield records
            if self._silent >= SILENCES and not (yield from self._silence()):
                return

    def _restarted(self, asked: Asked) -> bool:
        reply = asked.reply
        name = self.found.name.replace(" ", "").upper()
        greeted = reply.restarted or (bool(name) and name in reply.lines)
        return greeted or reply.says(Reaction.RESET)

    def _get_in_step(self) -> Generator[list[Record], None, bool]:
        """Resyncs; False when the adapter must be set up again."""
        for _ in range(RESYNCS):
            if self._cancelled():
                yield []
                return True
            if self.adapter.resync():
                if self.state is LinkState.UP:
                    return True
                return (yield from self._again())
            yield self._aside() + self.lost("the adapter does not answer")
        raise LinkLost(f"{self.adapter.link.name} no longer answers")

    def _pace(self) -> None:
        """Waits when answers come faster than any vehicle's would."""
        link = self.adapter.link
        left = self._sent + LEAST_INTERVAL_S / self.clock.rate - link.now()
        if left > 0:
            self.adapter.drain(left)
        self._sent = link.now()

    def _exchange(self) -> tuple[Asked, Judged | None]:
        self._pace()
        now = self.now()
        self._judge_link(now)
        duty = self._duties.next(now)
        if duty is not None:
            # A refusal or silence here says nothing about the vehicle's presence.
            asked = self.adapter.ask(duty)
            self._duties.heard(p for _, p in payloads(asked, self.found.protocol))
            return asked, None
        maker = self.maker.next(now, self._wanted)
        if maker is not None:
            asked = self.maker.ask(self.adapter, maker, self.found.protocol)
            return asked, None
        self.maker.polled()
        batching = self.batching
        assert batching is not None
        pids = self._schedule.next(now, batching.fits)
        if not pids:
            pids = (0x00,)
        text = batching.request(pids, now)
        asked = self.adapter.ask(text)
        if asked.exchange.e == CANCELLED:
            return asked, None
        judged = batching.judge(pids, asked, now)
        self._agains = self._agains + 1 if judged.again else 0
        if not judged.again or self._agains > SILENCES:
            self._schedule.asked(pids, now)
        self.rates.add(now, judged.values)
        self._strike(pids, judged, now)
        return asked, judged

    def _strike(self, pids: tuple[int, ...], judged: Judged, now: float) -> None:
        for pid in judged.answered:
            self._strikes.pop(pid, None)
        alone = len(pids) == 1 and not judged.answered and not judged.again
        for pid in pids if alone else judged.blamed:
            strikes = self._strikes[pid] = self._strikes.get(pid, 0) + 1
            if strikes >= SILENCES:
                self._schedule.hold(pid, now + HOLD_S)

    def _judge_link(self, now: float) -> None:
        """Once, some seconds after the start: is this link a slow one?"""
        if now < self._judge_at:
            return
        self._judge_at = float("inf")
        if not self._slow_link and self.rates.per_second(now) < SLOW_LINK_HZ:
            self._slow_link = True
            self._replan()

    def _silence(self) -> Generator[list[Record], None, bool]:
        """Asks whether the vehicle is still there, until it is.

        False when the adapter must look for the protocol again.
        """
        backoff = Backoff(self._jitter, first_s=0.5, most_s=5.0)
        self._silent = 0
        while not self._cancelled():
            asked = self.adapter.ask(self.found.way.request([0x00]))
            records = self._kept(asked.exchange)
            if self._vehicle_answers(asked):
                yield records
                if self.state is not LinkState.UP:
                    return (yield from self._again())
                if self.batching is not None:
                    self.batching.vehicle_is_there(self.now())
                return True
            trouble = asked.reply.trouble
            told = trouble is not None and trouble.reaction is Reaction.BUS_FAULT
            yield records + self.lost(trouble.text if trouble and told else _IGNITION)
            if trouble is not None and trouble.reaction is Reaction.WRONG_PROTOCOL:
                return False
            if not self.adapter.in_step:
                return True
            yield from self._wait(backoff.next())
        return True

    def _vehicle_answers(self, asked: Asked) -> bool:
        start = self.found.way.answered(0x00)
        answered = payloads(asked, self.found.protocol)
        return any(payload.startswith(start) for _, payload in answered)

    def _again(self) -> Generator[list[Record], None, bool]:
        """The vehicle is back: who is it? False when it is not there after all."""
        start_up = StartUp(self.adapter, self._tell)
        start_up.found.name = self.found.name
        start_up.found.protocol = self.found.protocol
        start_up.found.way = self.found.way
        for exchange in start_up.support_steps():
            yield self._kept(exchange)
        if not start_up.found.units:
            return False
        for exchange in start_up.vehicle_steps():
            yield self._kept(exchange)
        yield self._arrived(start_up.found)
        return True

    def _wait(self, seconds: float) -> Iterator[list[Record]]:
        end = self.adapter.link.now() + seconds
        while not self._cancelled() and (left := end - self.adapter.link.now()) > 0:
            self.adapter.drain(min(POLL_S, left))
            yield []

    def _kept(self, exchange: Exchange) -> list[Record]:
        if exchange.e is not None:
            self.counts[exchange.e] = self.counts.get(exchange.e, 0) + 1
        return [*self._aside(), exchange]

    def _aside(self) -> list[Record]:
        aside: list[Record] = list(self.adapter.aside)
        self.adapter.aside.clear()
        return aside

    def _tell(self, words: str) -> None:
        self.status = words

    def _replan(self) -> None:
        self._schedule.replace(
            plan(
                self.found.supported,
                self.found.layout,
                self._wanted,
                slow_link=self._slow_link,
            )
        )


def _differs(before: Found, after: Found) -> bool:
    """Whether two start-ups met different vehicles."""
    if before.vin is not None and after.vin is not None:
        return before.vin != after.vin
    return before.protocol != after.protocol
