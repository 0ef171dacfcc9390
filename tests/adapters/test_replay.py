"""A replay gives each record when its time has come, whatever is done to time."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.adapters.records import (
    AdapterInfo,
    Exchange,
    Header,
    LinkRecord,
    MarkRecord,
    Record,
)
from bankwise.adapters.replay import Replay
from bankwise.adapters.session_file import Session
from bankwise.adapters.source import LinkState, Source

HEADER = Header("i", "s", "t", AdapterInfo("n", "6"))


class Clock:
    """A clock that moves only when told to."""

    def __init__(self) -> None:
        self.s = 1000.0

    def __call__(self) -> float:
        """The clock's time. Unit: seconds."""
        return self.s


def session(count: int = 10) -> Session:
    """One exchange a second, from 0."""
    records: list[Record] = [
        Exchange(float(i), "010D", ("7E803410D33",), 0.5) for i in range(count)
    ]
    return Session(HEADER, records, 0, ())


def times(records: list[Record]) -> list[float]:
    """The times of some records."""
    return [record.t for record in records]


def test_records_come_when_their_time_has_come() -> None:
    """At twice the speed, one second of the clock plays two of the session."""
    clock = Clock()
    replay: Source = Replay(session(), 2.0, clock=clock)
    assert replay.drain() == []
    assert replay.state.value == "connecting"
    replay.start()
    assert times(replay.drain()) == [0]
    clock.s += 1.2
    assert times(replay.drain()) == [1, 2]
    assert replay.now() == pytest.approx(2.4)
    assert replay.state.value == "up"
    clock.s += 100
    assert times(replay.drain()) == [3, 4, 5, 6, 7, 8, 9]
    assert replay.now() == 9.5
    assert replay.state is LinkState.CLOSED
    assert replay.status == "at the end of the session"


def test_a_start_inside_gives_all_before_at_once() -> None:
    """Beginning at 4 s, everything up to then is there at once."""
    replay = Replay(session(), start_s=4.0, clock=Clock())
    replay.start()
    assert times(replay.drain()) == [0, 1, 2, 3, 4]


def test_time_stands_still_while_paused() -> None:
    """Paused time does not count, however long it takes."""
    clock = Clock()
    replay = Replay(session(), clock=clock)
    replay.start()
    clock.s += 2
    replay.pause()
    replay.pause()
    clock.s += 50
    assert times(replay.drain()) == [0, 1, 2]
    assert replay.status == "paused"
    replay.resume()
    clock.s += 1
    assert times(replay.drain()) == [3]


def test_a_change_of_speed_does_not_move_now() -> None:
    """Speed changes what comes, not where one is."""
    clock = Clock()
    replay = Replay(session(), clock=clock)
    replay.start()
    clock.s += 2
    replay.speed = 0.5
    assert replay.now() == pytest.approx(2)
    clock.s += 2
    assert replay.now() == pytest.approx(3)


def test_a_seek_back_starts_a_new_epoch() -> None:
    """After a seek back all records come again from the first one."""
    clock = Clock()
    replay = Replay(session(), clock=clock)
    replay.start()
    replay.seek(6)
    assert times(replay.drain()) == [0, 1, 2, 3, 4, 5, 6]
    assert replay.epoch == 0
    replay.seek(2)
    assert replay.epoch == 1
    assert times(replay.drain()) == [0, 1, 2]
    replay.step(1)
    assert replay.paused
    assert times(replay.drain()) == [3]
    replay.step(-10)
    assert replay.now() == 0
    assert replay.epoch == 2


def test_remarks_come_back_once_and_in_order() -> None:
    """A remark made while replaying comes back at its moment."""
    clock = Clock()
    replay = Replay(session(), clock=clock)
    replay.start()
    clock.s += 1.5
    replay.mark("here", "step")
    assert replay.drain()[-1] == MarkRecord(1.5, "here", "step")
    clock.s += 1
    assert times(replay.drain()) == [2]


def test_a_lost_link_is_shown_while_it_was_lost() -> None:
    """The link's recorded state is the replay's state."""
    clock = Clock()
    records: list[Record] = [
        LinkRecord(0.0, "up"),
        LinkRecord(2.0, "lost"),
        LinkRecord(4.0, "back"),
        Exchange(6.0, "010D", (), 0.1),
    ]
    replay = Replay(Session(HEADER, records, 0, ()), clock=clock)
    replay.start()
    seen = []
    for _ in range(6):
        clock.s += 1
        seen.append(replay.state.value)
    assert seen == ["up", "lost", "lost", "up", "up", "up"]
    replay.stop()
    assert replay.state is LinkState.CLOSED


@given(
    moves=st.lists(
        st.one_of(
            st.floats(0, 5).map(lambda s: ("wait", s)),
            st.floats(-3, 15).map(lambda s: ("seek", s)),
            st.floats(0, 20).map(lambda s: ("speed", s)),
            st.just(("pause", 0.0)),
            st.just(("resume", 0.0)),
        ),
        max_size=30,
    )
)
def test_each_epoch_gives_every_record_once(moves: list[tuple[str, float]]) -> None:
    """Within an epoch records come in order, without a gap or a repeat."""
    clock = Clock()
    replay = Replay(session(), clock=clock)
    replay.start()
    epoch, seen = 0, times(replay.drain())
    for move, amount in moves:
        if move == "wait":
            clock.s += amount
        elif move == "seek":
            replay.seek(amount)
        elif move == "speed":
            replay.speed = amount
        else:
            getattr(replay, move)()
        fresh = times(replay.drain())
        if replay.epoch != epoch:
            epoch, seen = replay.epoch, []
        seen += fresh
        assert seen == [float(i) for i in range(len(seen))]
        assert all(t <= replay.now() for t in seen)


def test_an_empty_session_is_over_at_once() -> None:
    """Nothing to play is the end, not an exception."""
    replay = Replay(Session(HEADER, [], 0, ()), clock=Clock())
    replay.start()
    assert replay.drain() == []
    assert replay.state is LinkState.CLOSED
