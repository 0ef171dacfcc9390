"""A drive without a thread: start-up, polling and marks over any link until a moment.

On a link in virtual time an hour of driving takes as long as its computation, and the
same car, adapter and seed give the same records.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec

from bankwise.adapters.current_data import RANGES
from bankwise.adapters.cycle import PollCycle
from bankwise.adapters.definition_file import KEY
from bankwise.adapters.definitions import NONE, Definitions
from bankwise.adapters.link import Link
from bankwise.adapters.recorder import Recorder, new_header, wall_clock
from bankwise.adapters.records import (
    Exchange,
    Header,
    LinkRecord,
    MarkRecord,
    Record,
)
from bankwise.adapters.snapshot import next_requests
from bankwise.adapters.startup import Found

_MOST_STEPS = 400
"""A round of questions that takes longer is given up. Our choice: each waits for at
most one poll before it."""


def capture(
    link: Link,
    until_s: float,
    *,
    path: Path | None = None,
    header_of: Callable[[Found], Header] | None = None,
    emit: Callable[[Record], None] = lambda _: None,
    marks: Sequence[MarkRecord] = (),
    seed: int = 0,
    evidence: bool = False,
    definitions: Definitions = NONE,
) -> Header | None:
    """Drives until session time `until_s` and closes in good order.

    Args:
        link: an open link; it is closed at the end.
        until_s: when to end. Unit: seconds of session time.
        path: the session file to write, or None.
        header_of: makes the header; by default a new one with a random id.
        emit: gets every record in order.
        marks: remarks to note at their times.
        seed: of the waits between tries.
        evidence: at the end everything about codes and their history is read too.
        definitions: maker-specific values to ask for; kept in the header.

    Returns:
        The header; None when nothing was seen at all.

    Raises:
        LinkError, NoAdapter: the link went away, or nothing on it answers.
    """
    started = wall_clock()
    make = header_of or (lambda found: new_header(started, found, link.name))

    def with_definitions(found: Found) -> Header:
        header = make(found)
        if not definitions.rows:
            return header
        vehicle = {**header.vehicle, KEY: definitions.as_json()}
        return msgspec.structs.replace(header, vehicle=vehicle)

    recorder = Recorder(path, with_definitions, emit, durable=False)
    cycle = PollCycle(link, jitter=random.Random(seed), definitions=definitions)
    waiting = sorted(marks, key=lambda mark: mark.t)
    try:
        while cycle.now() < until_s:
            records = cycle.step()
            while waiting and waiting[0].t <= cycle.now():
                records.append(waiting.pop(0))
            recorder.keep(records)
            if cycle.found.units:
                recorder.begin(cycle.found)
        if evidence and cycle.found.units:
            _read_evidence(cycle, recorder)
        recorder.keep(cycle.rest())
    finally:
        recorder.keep([LinkRecord(cycle.now(), "closed")])
        recorder.finish(cycle.found, cycle.now())
        link.close()
    return recorder.header


def _read_evidence(cycle: PollCycle, recorder: Recorder) -> None:
    """Asks beside the polling, until no answer leads to another question."""
    way = cycle.found.way
    asked = [way.request([base]) for base in RANGES[:3]]
    seen: list[Record] = []
    while asked:
        cycle.ask(*asked)
        waiting = set(asked)
        for _ in range(_MOST_STEPS):
            records = cycle.step()
            recorder.keep(records)
            for record in records:
                if isinstance(record, Exchange):
                    seen.append(record)
                    waiting.discard(record.q)
            if not waiting:
                break
        else:
            return
        asked = list(next_requests(seen, cycle.found.protocol))
