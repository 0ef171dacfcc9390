"""How many PIDs a request carries, and what its answer says about the adapter.

Six PIDs a request, then what fits one frame, then one: a ladder that is descended after
repeated failures and tried again later. The number of frames to expect is computed from
the lengths, verified once, and left out after any mismatch until it is verified again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final

from bankwise.adapters.adapter import Asked
from bankwise.adapters.asked import asked as what_is_asked
from bankwise.adapters.asked import walk
from bankwise.adapters.current_data import PLAIN, SINGLE_FRAME, Way, expected_digit
from bankwise.adapters.frames import Data, Negative, answers
from bankwise.adapters.troubles import Reaction

FAILURES: Final = 3
"""Failures in a row that take a rung down. Our choice."""
RETRY_S: Final = 20.0
"""After this the next rung up, or the digit, is tried again. Our choice: a vain try
costs a fifth of a second, a fault that has passed would cost far more."""
ABSENT_AFTER: Final = 5
"""Answers without a unit while others spoke, then it is not waited for. Our choice."""
_PWM: Final = "1"
_REFUSALS: Final = 2
PENDING: Final = 0x78
BUSY: Final = 0x21


class Rung(Enum):
    """How much is asked at a time."""

    SIX = "six values a request"
    FRAME = "what one frame holds"
    ONE = "one value a request"


_DOWN: Final = {Rung.SIX: Rung.FRAME, Rung.FRAME: Rung.ONE, Rung.ONE: Rung.ONE}
_UP: Final = {Rung.SIX: Rung.SIX, Rung.FRAME: Rung.SIX, Rung.ONE: Rung.FRAME}


@dataclass(frozen=True, slots=True)
class Judged:
    """What one answer was worth.

    Attributes:
        answered: PIDs with a complete answer from every unit that has them.
        values: answers counted a PID and unit, as the rate shown.
        silent: the vehicle said nothing at all.
        again: worth asking once more at once: the unit was busy or not ready.
        refused: negative response codes.
        blamed: PIDs left out of an answer that went on after them: announced by the
            vehicle, but not given.
    """

    answered: frozenset[int] = frozenset()
    values: int = 0
    silent: bool = False
    again: bool = False
    refused: tuple[int, ...] = ()
    blamed: frozenset[int] = frozenset()


class Batching:
    """The ladder and the frame digit of one vehicle on one adapter."""

    def __init__(
        self,
        units: Mapping[str, frozenset[int]],
        protocol: str,
        *,
        can: bool,
        way: Way = PLAIN,
        rung: Rung = Rung.SIX,
        digit: bool = True,
    ) -> None:
        """Takes what start-up found.

        Args:
            units: supported PIDs by control unit.
            protocol: the adapter's protocol number.
            can: whether it is CAN; elsewhere a request carries one PID.
            way: how the vehicle is asked.
            rung: where to begin, as an earlier probe found.
            digit: False when the adapter is known not to take the frame digit.
        """
        self._all_units = units
        self._units = dict(units)
        self._missed: dict[str, int] = {}
        self._protocol = protocol
        self._can = can
        self._way = way
        self.rung = rung if can else Rung.ONE
        self.digit_known = digit
        self.mismatches = 0
        """Answers whose frames were not those computed."""
        self._top = Rung.SIX if can else Rung.ONE
        self._failures = 0
        self._retry_at: float | None = None
        self._verified: set[frozenset[int]] = set()
        self._trusted = False
        self._digit_off_until = 0.0
        self._digit_faults = 0
        self._digit_refusals = 0
        self._last_silent: tuple[int, bool] | None = None

    def fits(self, pids: tuple[int, ...]) -> bool:
        """Whether these PIDs may go into one request on the present rung."""
        if len(pids) <= 1:
            return True
        if self.rung is Rung.ONE:
            return False
        if self.rung is Rung.FRAME and self._way.payload_bytes(pids) > SINGLE_FRAME:
            return False
        return len(pids) <= self._way.most

    def digit(self, pids: tuple[int, ...], now: float) -> int | None:
        """The frame digit for a request, or None when it is better left out."""
        if not self.digit_known or now < self._digit_off_until:
            return None
        # On J1850 PWM too small a digit leaves answers unacknowledged and makes units
        # send again, so there each PID is seen once without it.
        harmful = self._protocol == _PWM
        if not (frozenset(pids) in self._verified if harmful else self._trusted):
            return None
        return expected_digit(pids, self._units, can=self._can, way=self._way)

    def request(self, pids: tuple[int, ...], now: float) -> str:
        """The request text for these PIDs. `now`: session time in seconds."""
        if self.rung is not self._top and self._retry_at is None:
            self._retry_at = now + RETRY_S
        if self._retry_at is not None and now >= self._retry_at:
            self._retry_at = None
            self.rung = _UP[self.rung]
            # One failure is enough to step down again.
            self._failures = FAILURES - 1
        return self._way.request(pids, self.digit(pids, now))

    def judge(self, pids: tuple[int, ...], asked: Asked, now: float) -> Judged:
        """Weighs an answer, and learns from it."""
        digit_used = len(asked.exchange.q) % 2 == 1
        trouble = asked.reply.trouble
        if trouble is not None and trouble.reaction is Reaction.UNKNOWN:
            self._unknown(pids, now, digit_used=digit_used)
            return Judged()
        if trouble is not None and trouble.reaction is Reaction.TOO_MUCH:
            self._demote(now)
            return Judged()
        if not asked.ok:
            if trouble is not None and trouble.reaction is Reaction.REJECT:
                self._failed(pids, now, digit_used=digit_used)
                return Judged()
            # Silence alone says nothing about this request: see `vehicle_is_there`.
            self._last_silent = len(pids), digit_used
            return Judged(silent=True)
        complete, values, refused = self._read(pids, asked)
        if complete == frozenset(pids):
            self._succeeded(pids, asked, now, digit_used=digit_used)
            return Judged(complete, values)
        waits = tuple(code for code in refused if code in (PENDING, BUSY))
        if waits:
            # With a digit the adapter took the "wait" for the answer.
            self._distrust()
            return Judged(complete, values, again=True, refused=refused)
        self.mismatches += 1
        blamed = _skipped(pids, complete)
        if blamed and blamed | complete == frozenset(pids):
            self._distrust()
        else:
            self._failed(pids, now, digit_used=digit_used)
        return Judged(complete, values, refused=refused, blamed=blamed)

    def vehicle_is_there(self, now: float) -> None:
        """Learns that the vehicle answers, though several requests got nothing.

        So it was their form: the digit is left out, or less is asked at a time.
        """
        if self._last_silent is None:
            return
        count, digit_used = self._last_silent
        self._last_silent = None
        if digit_used:
            self._distrust()
            self._digit_off_until = now + RETRY_S
        elif count > 1:
            self._demote(now)

    def _read(
        self, pids: tuple[int, ...], asked: Asked
    ) -> tuple[frozenset[int], int, tuple[int, ...]]:
        by_unit: dict[str, frozenset[int]] = {}
        refused: list[int] = []
        request = what_is_asked(asked.exchange.q)
        for answer in answers(asked.exchange, self._protocol):
            if isinstance(answer, Negative):
                refused.append(answer.nrc)
            elif isinstance(answer, Data) and request is not None:
                pieces = walk(answer.payload, request)
                if pieces is not None:
                    by_unit[answer.ecu] = frozenset(piece.pid for piece in pieces)
        self._notice(pids, frozenset(by_unit))
        values = sum(len(found) for found in by_unit.values())
        complete = frozenset(
            pid
            for pid in pids
            if any(pid in found for found in by_unit.values())
            and all(
                pid in by_unit.get(unit, frozenset())
                for unit, supported in self._units.items()
                if pid in supported
            )
        )
        return complete, values, tuple(refused)

    def _notice(self, pids: tuple[int, ...], spoke: frozenset[str]) -> None:
        """A unit that stays silent while others answer is no longer waited for."""
        for unit, supported in self._all_units.items():
            if unit in spoke:
                self._missed[unit] = 0
                self._units[unit] = supported
            elif spoke and any(pid in supported for pid in pids):
                self._missed[unit] = self._missed.get(unit, 0) + 1
                if self._missed[unit] >= ABSENT_AFTER:
                    self._units.pop(unit, None)

    def _succeeded(
        self, pids: tuple[int, ...], asked: Asked, now: float, *, digit_used: bool
    ) -> None:
        if len(pids) > 1 or self.rung is Rung.ONE:
            self._failures = 0
        if digit_used:
            self._digit_faults = self._digit_refusals = 0
            return
        computed = expected_digit(pids, self._units, can=self._can, way=self._way)
        if computed == len(asked.reply.lines):
            self._verified.add(frozenset(pids))
            self._trusted = True

    def _distrust(self) -> None:
        self._trusted = False
        self._verified.clear()

    def _unknown(self, pids: tuple[int, ...], now: float, *, digit_used: bool) -> None:
        if digit_used:
            # Once may be a character lost on the way; twice is an adapter.
            self._distrust()
            self._digit_refusals += 1
            self.digit_known = self._digit_refusals < _REFUSALS
        elif len(pids) > 1:
            self._demote(now)

    def _failed(self, pids: tuple[int, ...], now: float, *, digit_used: bool) -> None:
        if digit_used:
            self._distrust()
            self._digit_faults += 1
            if self._digit_faults >= FAILURES:
                self._digit_faults = 0
                self._digit_off_until = now + RETRY_S
            return
        if len(pids) > 1:
            self._failures += 1
            if self._failures >= FAILURES:
                self._demote(now)

    def _demote(self, now: float) -> None:
        self._failures = 0
        self.rung = _DOWN[self.rung]
        if self.rung is not self._top:
            self._retry_at = now + RETRY_S


def _skipped(pids: tuple[int, ...], answered: frozenset[int]) -> frozenset[int]:
    """PIDs that are missing though a later one of the request came."""
    last = max((at for at, pid in enumerate(pids) if pid in answered), default=-1)
    return frozenset(pids[:last]) - answered
