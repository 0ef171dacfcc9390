"""The live source: one thread that owns the port, the poll cycle and the file.

The whole send-and-receive cycle runs in its own thread, so that a busy screen does not
stretch the time between request and answer. The screen only takes finished records.
"""

from __future__ import annotations

import contextlib
import queue
import random
import sys
import threading
from collections import deque
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import msgspec

from bankwise.adapters.adapter_notes import Notes
from bankwise.adapters.backoff import Backoff
from bankwise.adapters.cycle import PollCycle
from bankwise.adapters.definition_file import KEY
from bankwise.adapters.definitions import NONE, Definitions
from bankwise.adapters.errors import AdapterError, LinkError, NoAdapter
from bankwise.adapters.gate import all_permitted
from bankwise.adapters.link import Link
from bankwise.adapters.opening import OpenLink, opener
from bankwise.adapters.recorder import Recorder, new_header, wall_clock
from bankwise.adapters.records import (
    FlagRecord,
    Header,
    LinkRecord,
    MarkRecord,
    Record,
)
from bankwise.adapters.source import LinkState, Recording
from bankwise.adapters.startup import Found

SWITCH_S: Final = 0.0005
"""Longest wait of this thread for a busy screen. Our choice: at Python's usual 5 ms
the screen's work would show in the times of the answers."""
_STOP_S: Final = 10.0
"""Longest wait for the thread to close in good order. Our choice."""


class Live:
    """A drive over an adapter, recorded from the first exchange.

    Records wait in memory until the vehicle has answered, because a session's header
    names its protocol and VIN; nothing is lost meanwhile, nor when it never answers.
    """

    def __init__(
        self,
        url: str,
        path: Path | None,
        *,
        kind: str = "live",
        clock_rate: float = 1.0,
        baud: int | None = None,
        note: str | None = None,
        vehicle: Mapping[str, Any] | None = None,
        open_link: OpenLink | None = None,
        jitter: random.Random | None = None,
        notes: Notes | None = None,
        definitions: Definitions = NONE,
    ) -> None:
        """Prepares; nothing is opened before `start`.

        Args:
            url: a serial port or any URL that pyserial knows.
            path: the session file to write, or None to record nothing.
            kind: `live` or `simulated`.
            clock_rate: session seconds a second, for a car that runs faster.
            baud: a serial port's speed, or None to find it.
            note: the person's remark about the drive, kept in the header.
            vehicle: what else is known of the vehicle, kept in the header.
            open_link: another way to open the link than pyserial.
            jitter: spreads the waits; give a seeded one for repeatable runs.
            notes: what is known of adapters met before; this one is added.
            definitions: maker-specific values to ask for; kept in the header.
        """
        self.kind = kind
        self.state = LinkState.CONNECTING
        self.error: AdapterError | None = None
        """What keeps the link from opening now, or None."""
        self._url = url
        self._notes_kept = notes
        self._known = notes.of(url) if notes is not None else None
        self._rate = clock_rate
        self._vehicle = dict(vehicle or {})
        self._definitions = definitions
        if definitions.rows:
            self._vehicle[KEY] = definitions.as_json()
        if note:
            self._vehicle["note"] = note
        self._stop = threading.Event()
        self._open_link = open_link or opener(
            url,
            baud,
            self._tell,
            self._stop.is_set,
            self._known.baud if self._known is not None else None,
        )
        self._jitter = jitter or random.Random()
        self._status = "connecting"
        self._cycle: PollCycle | None = None
        self._out: deque[Record] = deque()
        self._notes: queue.SimpleQueue[MarkRecord | FlagRecord] = queue.SimpleQueue()
        self._asks: queue.SimpleQueue[tuple[str, ...]] = queue.SimpleQueue()
        self._wants: queue.SimpleQueue[dict[str, float] | None] = queue.SimpleQueue()
        self._started = ""
        self._recorder = Recorder(path, self._header, self._out.append)
        self._thread = threading.Thread(
            target=self._drive, name="bankwise-link", daemon=True
        )

    # --- for the screen's thread --------------------------------------------------

    @property
    def header(self) -> Header | None:
        """The session's header, once a vehicle has answered."""
        return self._recorder.header

    @property
    def status(self) -> str:
        """What is going on, in plain words."""
        return self._status

    @property
    def recording(self) -> Recording:
        """The state of the session file."""
        return self._recorder.recording

    @property
    def values_per_s(self) -> float:
        """Values that arrive a second, over the last five seconds."""
        cycle = self._cycle
        return cycle.rates.per_second(cycle.now()) if cycle is not None else 0.0

    @property
    def word_counts(self) -> dict[str, int]:
        """How often each word of the adapter was heard."""
        return dict(self._cycle.counts) if self._cycle is not None else {}

    def start(self) -> None:
        """Begins in a thread of its own."""
        sys.setswitchinterval(SWITCH_S)
        self._thread.start()

    def drain(self) -> list[Record]:
        """New records since the last call, in order."""
        records: list[Record] = []
        with contextlib.suppress(IndexError):
            while True:
                records.append(self._out.popleft())
        return records

    def mark(self, text: str, tag: str | None = None) -> None:
        """Notes a remark at this moment."""
        self._notes.put(MarkRecord(self.now(), text, tag))

    def note(self, record: FlagRecord) -> None:
        """Keeps in the session what the person was told."""
        self._notes.put(record)

    def ask(self, *requests: str) -> None:
        """Asks these once, between polls. Raises GateRefused."""
        all_permitted(requests)
        self._asks.put(requests)

    def want(self, rates: Mapping[str, float] | None) -> None:
        """Other poll rates by signal name; None: the usual ones."""
        self._wants.put(None if rates is None else dict(rates))

    def now(self) -> float:
        """Session time: seconds since the link was first open; 0 before."""
        cycle = self._cycle
        return cycle.now() if cycle is not None else 0.0

    def stop(self) -> None:
        """Closes in good order and waits for it."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(_STOP_S)

    # --- the thread ------------------------------------------------------------------

    def _header(self, found: Found) -> Header:
        return new_header(self._started, found, self._url, self._vehicle)

    def _tell(self, words: str) -> None:
        self._status = words

    def _drive(self) -> None:
        backoff = Backoff(self._jitter)
        link: Link | None = None
        try:
            while not self._stop.is_set():
                try:
                    link = self._open_link()
                    self.error = None
                    cycle = self._on(link)
                    self._poll(cycle, backoff)
                except (LinkError, NoAdapter) as error:
                    self.error = error
                    self._broken(str(error))
                    if link is not None:
                        link.close()
                        link = None
                    self._stop.wait(backoff.next())
                else:
                    break
        except BaseException as error:
            self._status = f"a fault of this program ended the drive: {error!r}"
            raise
        finally:
            self._end(link)

    def _on(self, link: Link) -> PollCycle:
        if self._cycle is None:
            self._started = wall_clock()
            self._cycle = PollCycle(
                link,
                rate=self._rate,
                cancelled=self._stop.is_set,
                jitter=self._jitter,
                note=self._known,
                definitions=self._definitions,
            )
        else:
            self._cycle.relink(link)
        return self._cycle

    def _poll(self, cycle: PollCycle, backoff: Backoff) -> None:
        while not self._stop.is_set():
            while not self._asks.empty():
                cycle.ask(*self._asks.get())
            while not self._wants.empty():
                cycle.want(self._wants.get())
            records = cycle.step()
            if not cycle.other_vehicle:
                self._keep(records)
                if cycle.found.units:
                    self._recorder.begin(cycle.found)
            # Whoever sees the link up finds the header there.
            self._status = cycle.status
            if cycle.state is not self.state:
                self.state = cycle.state
                if self.state is LinkState.UP:
                    backoff.reset()
            if cycle.other_vehicle:
                return

    def _broken(self, why: str) -> None:
        if self._cycle is not None:
            self._keep(self._cycle.lost(why))
            self.state = self._cycle.state
        self._status = why

    def _keep(self, records: list[Record]) -> None:
        """Records and waiting notes go into the session together."""
        while not self._notes.empty():
            records.append(self._notes.get())
        self._recorder.keep(records)

    def _end(self, link: Link | None) -> None:
        cycle = self._cycle
        if link is not None and cycle is not None:
            with contextlib.suppress(LinkError):
                self._keep(cycle.rest())
        t = cycle.now() if cycle is not None else 0.0
        if link is not None:
            link.close()
        if cycle is not None:
            why = str(self.error) if self.error is not None else None
            if cycle.other_vehicle:
                why = cycle.status
            self._keep([LinkRecord(t, "closed", why)])
            self._recorder.finish(cycle.found, t)
            learned = cycle.note()
            if self._notes_kept is not None and learned is not None:
                words = self._known.words if self._known is not None else ()
                kept = msgspec.structs.replace(learned, words=words)
                self._notes_kept.keep(self._url, kept)
        self.state = LinkState.CLOSED
