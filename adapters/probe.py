"""What an adapter can really do, tested and not believed.

Version numbers and polite `OK`s prove nothing. Each capability is shown by bytes or
times that change when it is used: spaces that go away, an answer that comes sooner, two
values where one was asked for. An adapter that agrees to nonsense agrees to anything.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import Enum
from statistics import median
from typing import Final

from bankwise.adapters.adapter import COMMAND_S, Adapter, Asked
from bankwise.adapters.adapter_notes import Note
from bankwise.adapters.asked import asked as what_is_asked
from bankwise.adapters.asked import walk
from bankwise.adapters.batching import Rung
from bankwise.adapters.current_data import expected_digit
from bankwise.adapters.errors import NoVehicle
from bankwise.adapters.frames import Data, answers
from bankwise.adapters.link import Link
from bankwise.adapters.records import Exchange
from bankwise.adapters.startup import Found, StartUp, payloads
from bankwise.adapters.troubles import Reaction, is_hex

TIMES: Final = 5
"""Each time is the median of so many exchanges. Our choice."""
SOONER: Final = 0.8
"""A digit is honoured when it takes at most this share of the time. Our choice."""
_POLLED: Final = (0x0C, 0x0D, 0x04, 0x05, 0x11, 0x0F, 0x06, 0x07, 0x0E, 0x10, 0x0B)


class Able(Enum):
    """The outcome of one test."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "could not be tested"


@dataclass(frozen=True, slots=True)
class Finding:
    """One tested capability: what, the outcome, and a sentence for the person."""

    what: str
    able: Able
    text: str


@dataclass(slots=True)
class Probe:
    """Everything a probe found.

    Attributes:
        found: what start-up learned.
        findings: the tests in order.
        baud: the serial speed, None where there is none.
        command_s: median time of a command to the adapter alone. Unit: seconds.
        single_s: time of a request for one value, in the best way. Unit: seconds.
        best_pids: values in the largest request that worked.
        best_s: time of that request. Unit: seconds.
        digit: the frame digit ends the wait.
        exchanges: all that was asked and answered.
    """

    found: Found
    findings: list[Finding] = field(default_factory=list)
    baud: int | None = None
    command_s: float = 0.0
    single_s: float = 0.0
    best_pids: int = 1
    best_s: float = 0.0
    digit: bool = False
    exchanges: list[Exchange] = field(default_factory=list)

    @property
    def rung(self) -> Rung:
        """Where a drive should begin."""
        return {1: Rung.ONE, 2: Rung.FRAME}.get(self.best_pids, Rung.SIX)

    @property
    def values_per_s(self) -> float:
        """Values a second to expect on this vehicle."""
        return self.best_pids / self.best_s if self.best_s > 0 else 0.0

    def verdict(self) -> str:
        """One sentence: what to expect."""
        if self.best_s <= 0:
            return "no vehicle answered, so its speed could not be measured"
        many = {1: "one value", 2: "two values"}.get(
            self.best_pids, f"{self.best_pids} values"
        )
        return (
            f"this adapter answers {many} a request; "
            f"expect {self.values_per_s:.0f} values a second"
        )

    def words(self) -> tuple[str, ...]:
        """The findings and the verdict, a sentence each."""
        return (*(finding.text for finding in self.findings), self.verdict())

    def note(self) -> Note:
        """What to remember of this adapter."""
        return Note(self.found.name, self.baud, self.digit, self.rung, self.words())


class _Tests:
    """The tests of one adapter, in order."""

    def __init__(self, adapter: Adapter, probe: Probe) -> None:
        self._adapter = adapter
        self._probe = probe

    def _ask(self, text: str, deadline: float | None = None) -> Asked:
        asked = self._adapter.ask(text, deadline)
        self._probe.exchanges.append(asked.exchange)
        if not self._adapter.in_step:
            self._adapter.resync()
        return asked

    def _support(self) -> str:
        return self._probe.found.way.request([0x00])

    def _find(self, what: str, able: bool | None, text: str) -> None:
        outcome = Able.UNKNOWN if able is None else Able.YES if able else Able.NO
        self._probe.findings.append(Finding(what, outcome, text))

    def manners(self) -> None:
        """Honesty, echo, voltage, and how long the adapter itself takes."""
        nonsense = self._ask("ATQQ", COMMAND_S)
        honest = nonsense.reply.says(Reaction.UNKNOWN)
        self._find(
            "honesty",
            honest,
            "a command that does not exist is refused"
            if honest
            else "it agrees to a command that does not exist: its OK proves nothing",
        )
        asked = [self._ask("ATI", COMMAND_S) for _ in range(TIMES)]
        self._probe.command_s = median(one.exchange.d for one in asked)
        echo = any(one.reply.echoed for one in asked)
        self._find(
            "echo",
            not echo,
            "echo is off" if not echo else "echo stays on; it is taken off here",
        )
        prompts = all(one.reply.finished for one in asked)
        self._find(
            "prompts",
            prompts,
            "every reply ended with a prompt"
            if prompts
            else "replies came without their prompt; each costs a wait",
        )
        voltage = self._ask("ATRV", COMMAND_S)
        told = (
            voltage.ok and voltage.text.upper().rstrip("V").replace(".", "").isdigit()
        )
        self._find(
            "voltage",
            told,
            f"supply voltage {voltage.text}" if told else "it has no voltmeter",
        )

    def bytes_on_the_line(self) -> None:
        """Whether spaces and line feeds really went away; headers must be there."""
        asked = self._ask(self._support())
        hexed = [raw for raw in asked.reply.raw if is_hex(raw.replace(" ", "").upper())]
        if not hexed:
            self._find("spaces", None, "no answer to look for spaces in")
            return
        spaced = any(" " in raw for raw in hexed)
        self._find(
            "spaces",
            not spaced,
            "spaces are off: shorter answers"
            if not spaced
            else "spaces stay on: every answer is half as long again",
        )
        feeds = asked.reply.line_feeds
        self._find(
            "line feeds",
            not feeds,
            "line feeds are off" if not feeds else "line feeds stay on",
        )
        self.headers(shown=bool(payloads(asked, self._probe.found.protocol)))

    def headers(self, *, shown: bool) -> None:
        """Whether answers show who sent them; without it nothing can be read."""
        self._find(
            "headers",
            shown,
            "headers are on"
            if shown
            else "headers stay off: answers cannot be told apart, so none is shown",
        )

    def digit(self) -> None:
        """Whether the frame digit is taken, and whether it ends the wait."""
        units = self._probe.found.units
        digit = len(units)
        plain = [self._ask(self._support()) for _ in range(TIMES)]
        told = [self._ask(f"{self._support()}{digit:X}") for _ in range(TIMES)]
        plain_s = median(one.exchange.d for one in plain)
        told_s = median(one.exchange.d for one in told)
        same = all(one.ok and len(one.reply.lines) == digit for one in told)
        self._probe.digit = same and told_s <= SOONER * plain_s
        self._probe.single_s = told_s if same else plain_s
        if not same:
            text = "the number of frames to expect is not understood"
        elif self._probe.digit:
            text = (
                f"the number of frames to expect ends the wait: {1e3 * told_s:.0f} ms "
                f"instead of {1e3 * plain_s:.0f} ms"
            )
        else:
            text = "the number of frames to expect is accepted but changes nothing"
        self._find("frame digit", self._probe.digit, text)

    def adaptive(self) -> None:
        """Whether adaptive timing shortens the wait for more answers."""
        fixed = self._timed("ATAT0")
        adapted = self._timed("ATAT1")
        if fixed is None or adapted is None:
            self._find("adaptive timing", None, "adaptive timing could not be tested")
            return
        able = adapted <= SOONER * fixed
        self._find(
            "adaptive timing",
            able,
            f"adaptive timing works: {1e3 * adapted:.0f} ms instead of "
            f"{1e3 * fixed:.0f} ms"
            if able
            else "adaptive timing changes nothing",
        )

    def _timed(self, command: str) -> float | None:
        self._ask(command, COMMAND_S)
        asked = [self._ask(self._support()) for _ in range(TIMES + 3)][3:]
        good = [one.exchange.d for one in asked if one.ok]
        return median(good) if good else None

    def many(self) -> None:
        """How many values one request really brings."""
        found = self._probe.found
        self._probe.best_s = self._probe.single_s
        # What is announced is not always answered; such PIDs would blame the adapter.
        polled = [
            pid
            for pid in _POLLED
            if pid in found.supported
            and _carries(self._ask(found.way.request([pid])), [pid], found.protocol)
        ]
        for count in (2, found.way.most) if found.can else ():
            pids = polled[:count]
            if len(pids) < count:
                break
            best = self._values(pids)
            if best is None:
                self._find(
                    f"{count} values",
                    False,
                    f"a request for {count} values does not bring them",
                )
                return
            self._probe.best_pids, self._probe.best_s = count, best
            self._find(f"{count} values", True, f"{count} values come in one answer")
        if not found.can:
            self._find("2 values", None, "this bus carries one value a request")

    def _values(self, pids: Sequence[int]) -> float | None:
        """Time of a request for these; None when they do not all come."""
        found = self._probe.found
        number = expected_digit(pids, found.units, can=found.can, way=found.way)
        text = found.way.request(pids, number if self._probe.digit else None)
        asked = [self._ask(text) for _ in range(TIMES)]
        if not all(_carries(one, pids, found.protocol) for one in asked):
            if not self._probe.digit or number is None:
                return None
            text = found.way.request(pids)
            asked = [self._ask(text) for _ in range(TIMES)]
            if not all(_carries(one, pids, found.protocol) for one in asked):
                return None
            self._probe.digit = False
            self._find("digit with many", False, "the digit fails with several values")
        return median(one.exchange.d for one in asked)


def _carries(asked: Asked, pids: Sequence[int], protocol: str) -> bool:
    request = what_is_asked(asked.exchange.q)
    if not asked.ok or request is None:
        return False
    came: set[int] = set()
    for answer in answers(asked.exchange, protocol):
        if isinstance(answer, Data):
            came |= {piece.pid for piece in walk(answer.payload, request) or ()}
    return came == set(pids)


def probe(
    link: Link,
    tell: Callable[[str], None] = lambda _: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Probe:
    """Tests the adapter on an open link, and the vehicle behind it if it answers.

    Args:
        link: an open link; it stays open.
        tell: told in plain words what is tried.
        cancelled: True ends every wait.

    Raises:
        NoAdapter: nothing answers like an adapter.
        LinkError: the link is gone.
    """
    adapter = Adapter(link, cancelled=cancelled)
    start_up = StartUp(adapter, tell)
    result = Probe(start_up.found, baud=getattr(link, "baud", None))
    result.exchanges += start_up.adapter_steps()
    tests = _Tests(adapter, result)
    tell("testing the adapter")
    tests.manners()
    result.exchanges += start_up.bus_steps()
    if not start_up.found.units:
        hidden = any(x.q == "0100" and x.a and x.e is None for x in result.exchanges)
        if hidden:
            tests.headers(shown=False)
        result.exchanges.append(adapter.ask("ATPC", COMMAND_S).exchange)
        return result
    result.exchanges += start_up.vehicle_steps()
    tell("testing the adapter on this vehicle")
    tests.bytes_on_the_line()
    tests.digit()
    tests.adaptive()
    tests.many()
    result.exchanges.append(adapter.ask("ATPC", COMMAND_S).exchange)
    return result


def require_vehicle(result: Probe) -> None:
    """Raises NoVehicle when the probe met an adapter but no vehicle."""
    if not result.found.units:
        raise NoVehicle("the vehicle does not answer: is the ignition on?")
