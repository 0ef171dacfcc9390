"""A session so far, understood: its columns and the engine that watched them.

One class for live and recorded drives. The engine is only ever asked about moments
before the newest record, and before the record that changes what is known of the car,
so what it says does not depend on how the records were handed over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from bankwise.adapters.decode import LONGEST_S, Decoder
from bankwise.adapters.pids import Layout
from bankwise.adapters.records import Exchange, Header, Record
from bankwise.adapters.session_file import Session
from bankwise.adapters.session_stream import SessionStream
from bankwise.signals.columns import Columns
from bankwise.signals.engine import Engine, FlagEvent
from bankwise.signals.thresholds import DEFAULTS, Thresholds

SILENCE_S = 3.0
"""Longest silence that is no hole in the data. Unit: seconds. Source: DOMAIN 4 [CP]."""


class Analysis:
    """Watches a session: feed it records, read columns, flags and figures.

    Args:
        header: of the session.
        thresholds: the limits to judge by.
    """

    def __init__(self, header: Header, thresholds: Thresholds = DEFAULTS) -> None:
        self.engine = Engine(thresholds)
        self.decoder = Decoder(header, self._before_change)
        self._events: list[FlagEvent] = []
        self._silences: list[tuple[float, float]] = []
        self._heard_s: float | None = None
        self._end_s = 0.0

    @property
    def columns(self) -> Columns:
        """Everything measured and noted so far."""
        return self.decoder.columns

    @property
    def layout(self) -> Layout:
        """Which places the sensor PIDs stand for, as far as the car has told."""
        return self.decoder.units.layout

    def feed(self, records: Sequence[Record]) -> list[FlagEvent]:
        """Takes in more records; returns the flags they raised and cleared."""
        if not records:
            return []
        self.take_in(records)
        self._advance(self.columns.end_s)
        return self._taken()

    def take_in(self, records: Sequence[Record]) -> None:
        """Takes in more records; they are judged with those that are fed next."""
        if records:
            self.decoder.feed(records)
            self._listen(records)

    def finish(self) -> list[FlagEvent]:
        """Judges the last moments too, once no more records will come."""
        columns = self.columns
        columns.end_s = max(columns.end_s, self._end_s)
        self._events += self.engine.advance(columns, columns.end_s)
        return self._taken()

    def holes(self) -> list[tuple[float, float]]:
        """Stretches without a usable answer for more than three seconds.

        Between two answers, and from a lost link to its return. Unit: seconds.
        """
        spans = [*self._silences, *self._outages()]
        joined: list[tuple[float, float]] = []
        for first, last in sorted(spans):
            if joined and first <= joined[-1][1]:
                joined[-1] = joined[-1][0], max(joined[-1][1], last)
            else:
                joined.append((first, last))
        return joined

    def _outages(self) -> list[tuple[float, float]]:
        found: list[tuple[float, float]] = []
        lost: float | None = None
        for change in self.columns.link:
            if change.state == "lost" and lost is None:
                lost = change.t
            elif change.state in {"up", "back"} and lost is not None:
                found.append((lost, change.t))
                lost = None
        if lost is not None:
            found.append((lost, max(lost, self.columns.end_s)))
        return found

    def _before_change(self, t: float) -> None:
        self._advance(t)

    def _advance(self, t: float) -> None:
        """Up to just before `t`: more records at `t` itself may still come."""
        self._events += self.engine.advance(self.columns, math.nextafter(t, -math.inf))

    def _taken(self) -> list[FlagEvent]:
        events, self._events = self._events, []
        return events

    def _listen(self, records: Sequence[Record]) -> None:
        heard = self._heard_s
        for record in records:
            if type(record) is not Exchange:
                continue
            if record.a and record.e is None:
                if heard is not None and record.t - heard > SILENCE_S:
                    self._silences.append((heard, record.t))
                heard = record.t + min(record.d, LONGEST_S)
        self._heard_s = heard
        last = records[-1]
        lasts = min(last.d, LONGEST_S) if type(last) is Exchange else 0.0
        self._end_s = max(self._end_s, last.t + lasts, heard or 0.0)


def analyse(
    session: Session | SessionStream, thresholds: Thresholds = DEFAULTS
) -> Analysis:
    """A whole recorded session, judged to its end; a stream's records are not kept."""
    analysis = Analysis(session.header, thresholds)
    for piece in session.pieces():
        analysis.take_in(piece)
    analysis.finish()
    return analysis
