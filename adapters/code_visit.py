"""A visit to a standing car: what it remembers is read, saved and, if wanted, cleared.

After clearing, what stayed is read again. All of it stands in one session file.

    visit = CodeVisit(link, path)
    visit.connect()
    seen = visit.read()
    visit.close()

A car of SAE J1979-2 is read and cleared by identifier (services 22, 19 and 14); that
part is from memory of the standard and was tried on the simulated unit only.

Clearing needs a saved snapshot, an engine at rest and a typed confirmation: the gate
hands out its token for nothing less.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from bankwise.adapters.adapter import Adapter, Asked
from bankwise.adapters.current_data import PLAIN, RANGES
from bankwise.adapters.errors import (
    AdapterError,
    GateRefused,
    LinkError,
    LinkLost,
    NoVehicle,
)
from bankwise.adapters.frames import Data, Negative, answers
from bankwise.adapters.gate import (
    ClearConditions,
    clear_token,
    permit,
    permit_clear,
)
from bankwise.adapters.link import POLL_S, Link
from bankwise.adapters.newest_answers import heard, is_spoiled, refusal
from bankwise.adapters.pids import Layout, decode_one
from bankwise.adapters.recorder import Recorder, new_header, wall_clock
from bankwise.adapters.records import (
    ClearedRecord,
    CodesRecord,
    Exchange,
    LinkRecord,
    Record,
)
from bankwise.adapters.session_file import encoded, read_session
from bankwise.adapters.snapshot import next_requests, snapshot
from bankwise.adapters.startup import HEADERS_OFF, Found, StartUp
from bankwise.adapters.troubles import Reaction
from bankwise.signals.evidence import Snapshot

CLEAR_WAIT_S: Final = 5.0
"""Longest wait for the answer to clearing: units write to memory. Our choice."""
CLEARING_UNKNOWN: Final = (
    "clearing was sent and its answer did not come, so nobody knows whether codes were "
    "cleared; read them again. What was read before is saved"
)
"""What is said when the connection breaks between the request and its answer."""
_ADVICE: Final = {
    0x22: "; engine off, ignition on, wait ten seconds and try again",
    0x21: "; wait ten seconds and try again",
    0x33: "; this car wants its maker's own tool for it",
}
"""What to do about a refused clearing, by reason. Source: common practice, none."""
_TRIES: Final = 2
"""How often a request is sent when its answer came damaged. Our choice."""
_READINGS: Final = {
    "02": "the freeze frame",
    "03": "stored codes",
    "06": "test results",
    "07": "pending codes",
    "09": "vehicle information",
    "0A": "permanent codes",
    "1904": "the freeze frame",
    "19": "codes",
    "22F6": "test results",
    "22F8": "vehicle information",
}
"""What requests read, by how they begin; the rest is status and counters."""
_CLEARED: Final = (b"\x44", b"\x54")
"""First byte of a good answer to services 04 and 14."""


@dataclass(frozen=True, slots=True)
class ClearOutcome:
    """What came of clearing.

    Attributes:
        ok: every answering unit said that it cleared, and none refused.
        words: what the units said, a sentence each.
        left: what a new reading shows.
    """

    ok: bool
    words: tuple[str, ...]
    left: Snapshot


def confirmation(seen: Snapshot) -> str:
    """What a person must type to clear: the number of stored and pending codes."""
    codes = {*seen.codes["stored"].codes, *seen.codes["pending"].codes}
    return str(len(codes))


def nothing_to_clear(seen: Snapshot) -> bool:
    """True when stored and pending codes were read, and there are none."""
    readings = (seen.codes["stored"], seen.codes["pending"])
    return all(reading.known and not reading.codes for reading in readings)


class CodeVisit:
    """One connection to a standing car and the session file of the visit."""

    def __init__(
        self,
        link: Link,
        path: Path | None,
        *,
        tell: Callable[[str], None] = lambda _: None,
    ) -> None:
        """Takes an open link.

        Args:
            link: the way to the adapter.
            path: the session file to write, or None to write none.
            tell: told in plain words what is being done, and "" when it is done.
        """
        started = wall_clock()
        self.records: list[Record] = []
        self.found = Found()
        self._path = path
        self._tell = tell
        self._adapter = Adapter(link)
        self._recorder = Recorder(
            path,
            lambda found: new_header(started, found, link.name),
            self.records.append,
        )
        self._from: int | None = None
        self._told: list[str] = []

    def connect(self) -> Found:
        """Starts the adapter and meets the car.

        Raises:
            NoAdapter, NoVehicle: nobody answers; says which.
            LinkError: the link is gone.
        """
        start_up = self._start()
        if not start_up.found.units:
            raise NoVehicle(
                HEADERS_OFF
                if HEADERS_OFF in self._told
                else "the vehicle does not answer: is the ignition on?"
            )
        for exchange in start_up.vehicle_steps():
            self._keep(exchange)
        self.found = start_up.found
        self._recorder.begin(self.found)
        self._keep(LinkRecord(self._now(), "up"))
        return self.found

    def _start(self) -> StartUp:
        """Sets the adapter up and looks for the car."""
        start_up = StartUp(self._adapter, self._say)
        for exchange in start_up.adapter_steps():
            self._keep(exchange)
        for exchange in start_up.bus_steps(self.found.protocol):
            self._keep(exchange)
        return start_up

    def _say(self, words: str) -> None:
        self._told.append(words)
        self._tell(words)

    def read(self) -> Snapshot:
        """Reads all that tells of codes and their history, and notes the codes.

        Raises:
            LinkError: the link is gone; what was read stays saved.
        """
        self._from = len(self.records)
        for base in RANGES[:3]:
            self._ask(self.found.way.request([base]))
        asked = 0
        while wanted := next_requests(self.records[self._from :], self.found.protocol):
            for left, request in zip(range(len(wanted), 0, -1), wanted, strict=True):
                asked += 1
                self._tell(f"{_reading(request)}: {asked} read, at least {left} to go")
                self._ask(request)
        self._tell("")
        seen = self._seen(self._from)
        for when, reading in seen.codes.items():
            if reading.known:
                self._keep(CodesRecord(self._now(), when, reading.codes))
        return seen

    def hindrance(self) -> str:
        """Why codes cannot be cleared as the car stands now; empty when they can.

        Raises:
            LinkError: the link is gone.
        """
        rpm = self._value(0x0C, "rpm")
        if rpm is None:
            return "engine speed is not known: is the ignition on?"
        if rpm:
            return "the engine is running: switch it off, ignition on, and try again"
        if self.speed():
            return "the car is moving"
        return ""

    def speed(self) -> float | None:
        """Vehicle speed now; None when no unit gives it. Unit: km/h."""
        return self._value(0x0D, "speed_kmh")

    def clear(self, typed: str, typed_again: str | None = None) -> ClearOutcome:
        """Clears the codes of every unit that hears it, once, and reads again.

        Args:
            typed: what the person typed; must be `confirmation` of the last reading.
            typed_again: the same once more, when something was not readable.

        Raises:
            GateRefused: a condition does not hold; nothing was sent.
            LinkError: the link is gone.
        """
        seen = self._seen(self._from) if self._from is not None else None
        if seen is None:
            raise GateRefused("codes are not cleared: nothing was read before")
        before = self._saved_at()
        speed = self.speed()
        if speed:
            raise GateRefused("codes are not cleared: the car is moving")
        open_parts = bool(seen.unread) or speed is None
        wanted = confirmation(seen)
        token = clear_token(
            ClearConditions(
                engine_rpm=self._value(0x0C, "rpm"),
                snapshot_saved=before is not None,
                confirmed=typed == wanted and (not open_parts or typed_again == wanted),
            )
        )
        self._tell("clearing codes")
        try:
            asked = self._adapter.ask(permit_clear(token, self._clearing), CLEAR_WAIT_S)
        except LinkError as error:
            self._keep(LinkRecord(self._now(), "lost", CLEARING_UNKNOWN))
            raise LinkLost(f"{error}: {CLEARING_UNKNOWN}") from error
        self._keep(asked.exchange)
        ok, words = _clear_words(asked.exchange, self.found.protocol)
        self._keep(ClearedRecord(self._now(), before or 0, ok))
        try:
            left = self.read()
        except LinkError as error:
            said = "; ".join(words)
            raise LinkLost(f"{said}; then {error}: read the codes again") from error
        return ClearOutcome(ok, words, left)

    def close(self) -> None:
        """Leaves the adapter at rest and the file whole. Never raises."""
        try:
            self._keep(self._adapter.ask("ATPC", CLEAR_WAIT_S).exchange)
        except AdapterError:
            self._tell("the connection was already gone")
        self._keep(LinkRecord(self._now(), "closed"))
        self._recorder.finish(self.found, self._now())
        self._adapter.link.close()

    def _now(self) -> float:
        return self._adapter.clock.at(self._adapter.link.now())

    def _keep(self, record: Record) -> None:
        aside: list[Record] = list(self._adapter.aside)
        self._adapter.aside.clear()
        self._recorder.keep([*aside, record])

    def _ask(self, request: str) -> Exchange:
        """Asks, and once more when the answer was damaged or the adapter restarted."""
        asked = self._once(request)
        for _ in range(_TRIES - 1):
            reply = asked.reply
            if reply.restarted or reply.says(Reaction.RESET):
                self._say("the adapter restarted and is set up again")
                self._adapter.drain(POLL_S)
                self._start()
            elif not is_spoiled(heard(asked.exchange, self.found.protocol)):
                break
            asked = self._once(request)
        return asked.exchange

    def _once(self, request: str) -> Asked:
        if not self._adapter.in_step:
            self._adapter.resync()
        asked = self._adapter.ask(permit(request))
        self._keep(asked.exchange)
        return asked

    def _seen(self, start: int | None) -> Snapshot:
        return snapshot(self.records[start:], self.found.protocol, self.found.layout)

    @property
    def _clearing(self) -> str:
        """The request that clears, in the words this car understands."""
        return "04" if self.found.way is PLAIN else "14FFFF33"

    def _value(self, pid: int, name: str) -> float | None:
        """The largest value any unit gives now; None when none does."""
        exchange = self._ask(self.found.way.request([pid]))
        head = self.found.way.answered(pid)
        found = [
            values[name]
            for answer in answers(exchange, self.found.protocol)
            if isinstance(answer, Data) and answer.payload.startswith(head)
            if name in (values := _decoded(pid, answer.payload[len(head) :]))
        ]
        return max(found) if found else None

    def _saved_at(self) -> int | None:
        """Line of the snapshot's first record in the file, header at 0, read back.

        None when the file does not hold the same exchanges to the byte.
        """
        if self._path is None or self._from is None:
            return None
        if self._recorder.recording.error is not None:
            return None
        mine = [
            encoded(record, round(record.t, 4))
            for record in self.records[self._from :]
            if isinstance(record, Exchange)
        ]
        saved = read_session(self._path).records
        at = [i for i, record in enumerate(saved) if isinstance(record, Exchange)]
        at = at[-len(mine) :]
        same = [encoded(saved[i], saved[i].t) for i in at] == mine
        return at[0] + 1 if mine and same else None


def _reading(request: str) -> str:
    """What is being read, in words."""
    starts = (n for head, n in _READINGS.items() if request.startswith(head))
    return f"reading {next(starts, 'monitor status and counters')}"


def _decoded(pid: int, data: bytes) -> dict[str, float]:
    return decode_one(pid, data, Layout.TWO_BANKS)


def _clear_words(exchange: Exchange, protocol: str) -> tuple[bool, tuple[str, ...]]:
    words = []
    done = refused = False
    for answer in answers(exchange, protocol):
        match answer:
            case Data(ecu=unit, payload=payload) if payload[:1] in _CLEARED:
                done = True
                words.append(f"{unit}: cleared")
            case Negative(ecu=unit, nrc=reason):
                refused = True
                words.append(f"{unit}: {refusal(reason)}{_ADVICE.get(reason, '')}")
            case _:
                words.append("no answer that says the codes were cleared")
    return done and not refused, tuple(words)
