"""What is said of a session does not depend on how its records were handed over."""

from __future__ import annotations

import itertools
import json
import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from bankwise.adapters.analysis import Analysis, analyse
from bankwise.adapters.capture import capture
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.records import (
    AdapterInfo,
    CodesRecord,
    Exchange,
    Header,
    LinkRecord,
    MarkRecord,
    Record,
)
from bankwise.adapters.session_file import Session, read_session
from bankwise.replay_logs import shipped
from bankwise.signals.engine import FlagEvent
from bankwise.signals.registry import DERIVED

HEADER = Header("i", "s", "t", AdapterInfo("n", "6"))

SECONDS = 45.0


@cache
def drive(fault: str) -> Session:
    """Minutes of a car with one fault, with a hole, a mark and a code read."""
    story = replace(STORIES["demo"], faults=(fault,))
    records: list[Record] = []
    link = VirtualLink(plug_in(story.car(), story.spec, seed=story.seed))
    header = capture(link, SECONDS, emit=records.append)
    assert header is not None
    hole = (20.0, 26.0)
    kept = [
        r for r in records if not (isinstance(r, Exchange) and hole[0] < r.t < hole[1])
    ]
    kept += [
        LinkRecord(hole[0], "lost", "no answer"),
        LinkRecord(hole[1], "back"),
        MarkRecord(30.0, "hill"),
        CodesRecord(31.0, "pending", ("P0171",)),
    ]
    kept.sort(key=lambda record: record.t)
    return Session(header, kept, 0, ())


def one_by_one(count: int) -> Iterator[int]:
    """Cuts between all records."""
    yield from range(1, count)


def at_random(count: int, seed: int) -> list[int]:
    """Cuts at random places, some of them twice."""
    noise = random.Random(seed)
    return sorted(noise.randrange(count) for _ in range(60))


def handed(session: Session, cuts: Sequence[int]) -> tuple[list[FlagEvent], Analysis]:
    """Events and end of an analysis that got the records in these pieces."""
    analysis = Analysis(session.header)
    events: list[FlagEvent] = []
    edges = [0, *cuts, len(session.records)]
    for start, stop in itertools.pairwise(edges):
        events += analysis.feed(session.records[start:stop])
    events += analysis.finish()
    return events, analysis


@cache
def stepwise(fault: str) -> tuple[list[FlagEvent], Analysis]:
    """Events and end of an analysis that got every record alone."""
    session = drive(fault)
    return handed(session, list(one_by_one(len(session.records))))


def said(analysis: Analysis) -> str:
    """Everything an analysis says, as text."""
    engine = analysis.engine
    return json.dumps(
        {
            "flags": [(f.id, f.about, f.spans, f.text, f.last_s) for f in engine.flags],
            "explanations": [
                (e.id, e.about, e.share, e.for_, e.against)
                for e in engine.explanations()
            ],
            "figures": engine.figures(),
            "cannot": [(c.about, c.what, c.why) for c in engine.cannot_tell()],
            "holes": analysis.holes(),
        },
        default=str,
    )


@pytest.mark.parametrize("fault", ["front-sensor-unplugged@2", "bank-breathes-less"])
def test_the_same_is_said_however_it_was_fed(fault: str) -> None:
    """Whole, one by one and in random pieces: equal flags, ticks and figures."""
    session = drive(fault)
    count = len(session.records)
    events, whole = handed(session, ())
    assert len(whole.columns["rpm"]) > 100
    ticks = whole.engine.frame.ticks
    assert len(ticks) >= 2 * SECONDS
    chunks = [handed(session, at_random(count, seed)) for seed in (1, 2)]
    for other_events, other in (stepwise(fault), *chunks):
        assert sorted(other_events, key=str) == sorted(events, key=str)
        assert said(other) == said(whole)
        for name in (*DERIVED, *whole.columns.measured):
            mine, theirs = whole.engine.frame[name], other.engine.frame[name]
            assert np.array_equal(mine, theirs, equal_nan=True), name


def _in_pieces(path: Path) -> None:
    """A shipped session in random pieces says what it says whole."""
    session = read_session(path)
    events, whole = handed(session, ())
    assert whole.engine.frame.n > 400
    other_events, other = handed(session, at_random(len(session.records), 3))
    assert sorted(other_events, key=str) == sorted(events, key=str)
    assert said(other) == said(whole)


SHIPPED = sorted(shipped().items())


@pytest.mark.parametrize(("name", "path"), SHIPPED[:1], ids=lambda x: str(x)[:20])
def test_shipped_sessions_in_random_pieces(name: str, path: Path) -> None:
    """A whole drive with flags comes out the same in sixty random pieces."""
    _in_pieces(path)


@pytest.mark.long
@pytest.mark.parametrize(("name", "path"), SHIPPED[1:], ids=lambda x: str(x)[:20])
def test_all_shipped_sessions_in_random_pieces(name: str, path: Path) -> None:
    """The same for every other shipped session."""
    _in_pieces(path)


def test_live_events_come_in_order_and_make_the_flags() -> None:
    """Raised and cleared events alternate, and add up to the flags' stretches."""
    events, analysis = stepwise("front-sensor-unplugged@2")
    assert [e.t for e in events] == sorted(e.t for e in events)
    for flag in analysis.engine.flags:
        states = [e.state for e in events if (e.id, e.about) == (flag.id, flag.about)]
        assert states == (["raised", "cleared"] * len(states))[: len(states)]
        assert len(flag.spans) == states.count("raised")


def test_a_hole_is_told_with_and_without_link_records() -> None:
    """Silence for more than three seconds is a hole, whether or not anyone noted it."""
    session = drive("front-sensor-unplugged@2")
    (hole,) = analyse(session).holes()
    assert hole[0] == pytest.approx(20, abs=0.3)
    assert hole[1] == pytest.approx(26, abs=0.5)
    bare: list[Record] = [r for r in session.records if not isinstance(r, LinkRecord)]
    (unnoted,) = analyse(Session(session.header, bare, 0, ())).holes()
    assert unnoted == pytest.approx(hole, abs=0.5)


def x(t: float, d: float = 0.02, e: str | None = None) -> Exchange:
    """An exchange that tells the speed."""
    return Exchange(t, "010D", () if e else ("7E803410D33",), d, e)


def test_short_silence_is_no_hole_and_refusals_fill_none() -> None:
    """Three seconds are no hole; answers without data do not end one."""
    session = Session(HEADER, [x(0.0), x(3.0), x(5.0, e="NO DATA"), x(6.5)], 0, ())
    assert analyse(session).holes() == [(3.02, 6.5)]


def test_a_link_that_stays_lost_is_a_hole_to_the_end() -> None:
    """Without a return, the hole lasts to the end of the session."""
    records: list[Record] = [x(0.0), LinkRecord(1.0, "lost"), MarkRecord(9.0, "dark")]
    assert analyse(Session(HEADER, records, 0, ())).holes() == [(1.0, 9.0)]


def test_the_end_counts_the_last_answer() -> None:
    """A session ends with its last answer, and its last tick is judged."""
    analysis = analyse(Session(HEADER, [x(0.0), x(4.9, d=0.2)], 0, ()))
    assert analysis.columns.end_s == pytest.approx(5.1)
    assert analysis.engine.frame.ticks[-1] == 5.0
    assert analysis.finish() == []


def test_nothing_is_nothing() -> None:
    """A session without records, and one without exchanges, say nothing."""
    for records in ([], [MarkRecord(1.0, "a")]):
        analysis = analyse(Session(HEADER, list(records), 0, ()))
        assert analysis.holes() == []
        assert all(f.rule.severity.value == "info" for f in analysis.engine.flags)
