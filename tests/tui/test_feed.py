"""From records to snapshots: in bites, told back to the session, codes on demand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from bankwise.adapters.records import Exchange
from bankwise.adapters.source import LinkState
from bankwise.signals.severity import Severity
from bankwise.tui.feed import Feed


def exchange(t: float, q: str, *a: str) -> Exchange:
    """One request and its answer."""
    return Exchange(t, q, a, 0.03)


def event(state: str = "raised") -> Any:
    """A flag that rose or cleared."""
    return SimpleNamespace(
        t=1.0,
        id="stuck-lean",
        state=state,
        about="B1S1",
        severity=Severity.ACT,
        text="it is so",
    )


def test_what_the_person_was_told_goes_back_to_the_session(
    source: Any, reader: Any
) -> None:
    """Every flag that rose or cleared is handed to the source."""
    reader.events = [event(), event("cleared")]
    feed = Feed(source, lambda _header: reader)
    told = feed.pull()
    assert [(t.event.state, t.late) for t in told] == [
        ("raised", False),
        ("cleared", False),
    ]
    assert [(r.id, r.state, r.about) for r in source.noted] == [
        ("stuck-lean", "raised", "B1S1"),
        ("stuck-lean", "cleared", "B1S1"),
    ]


def test_records_wait_for_the_header(source: Any, reader: Any) -> None:
    """Before the header nothing is read, and nothing is lost."""
    header, source.header = source.header, None
    seen: list[Any] = []

    def take(records: list[Any]) -> list[Any]:
        seen.extend(records)
        return []

    reader.feed = take
    feed = Feed(source, lambda _header: reader)
    feed.pull()
    assert seen == []
    assert feed.snapshot(frozenset()).now_s == source.now()
    source.header = header
    feed.pull()
    assert len(seen) == 1


def test_a_long_session_is_read_in_bites(source: Any, reader: Any) -> None:
    """With no time to spend one bite is read a frame; the rest waits its turn."""
    source.waiting = [exchange(k * 0.01, "010C") for k in range(1000)]
    feed = Feed(source, lambda _header: reader)
    feed.pull(budget_s=0.0)
    assert feed.behind == 750
    reader.events = [event()]
    assert [told.late for told in feed.pull(budget_s=0.0)] == [True]
    for _ in range(2):
        feed.pull(budget_s=0.0)
    assert feed.behind == 0


def test_a_replay_that_goes_back_is_read_afresh(source: Any, reader: Any) -> None:
    """A new epoch makes a new reader, so nothing of the future stays."""
    made: list[Any] = []

    def make(_header: Any) -> Any:
        made.append(reader)
        return reader

    source.epoch = 0
    feed = Feed(source, make)
    feed.pull()
    source.epoch = 1
    feed.pull()
    assert len(made) == 2


def test_codes_are_read_until_nothing_is_left_to_ask(source: Any, reader: Any) -> None:
    """Answers decide what is asked next; each request goes out once."""
    feed = Feed(source, lambda _header: reader)
    feed.pull()
    feed.read_codes()
    feed.pull()
    first = list(source.asked)
    assert "03" in first
    assert "07" in first
    assert feed.snapshot(frozenset()).unread
    source.waiting = [exchange(91.0, q, "7E8037F0311") for q in first]
    feed._look_at = 0.0
    feed.pull()
    assert len(source.asked) == len(set(source.asked))
    feed._look_at = 0.0
    source.waiting = [exchange(92.0, q, "7E8037F0311") for q in source.asked]
    feed.pull()
    feed._look_at = 0.0
    feed.pull()
    assert feed.snapshot(frozenset()).unread is None


def test_reading_again_keeps_what_was_read(source: Any, reader: Any) -> None:
    """Before the new answers, and when they never come, the old ones stay."""
    source.waiting = [
        exchange(1.0, "0100", "7E8064100BE3EA813"),
        exchange(2.0, "03", "7E80443010171"),
        exchange(3.0, "020200", "7E8054202000171"),
        exchange(3.1, "020400", "7E804420400 66".replace(" ", "")),
        exchange(3.2, "020C00", "7E805420C001F40"),
    ]
    feed = Feed(source, lambda _header: reader)
    feed.pull()
    feed.read_codes()
    feed.pull()
    kept = feed.snapshot(frozenset(("evidence",))).evidence
    assert kept is not None
    assert kept.codes["stored"].codes == ("P0171",)
    assert "0100" not in source.asked
    assert "020200" in source.asked
    source.waiting = [Exchange(60.0, "03", (), 0.2, "NO DATA")]
    feed.pull()
    feed._costly.clear()
    later = feed.snapshot(frozenset(("evidence",))).evidence
    assert later is not None
    assert later.codes["stored"].codes == ("P0171",)
    assert any("read again at 1:00" in line for line in later.unread)


def test_a_freeze_frame_is_known_on_every_pane(source: Any, reader: Any) -> None:
    """The road test can show the window whichever pane is open."""
    source.waiting = [
        exchange(3.0, "020200", "7E8054202000171"),
        exchange(3.1, "020400", "7E804420400" + "66"),
        exchange(3.2, "020C00", "7E805420C001F40"),
    ]
    feed = Feed(source, lambda _header: reader)
    feed.pull()
    shot = feed.snapshot(frozenset())
    assert [one.code for one in shot.windows] == ["P0171"]
    assert shot.windows[0].window.rpm == (1625.0, 2375.0)


def test_a_flag_carries_its_limits_with_their_sources(source: Any, reader: Any) -> None:
    """The proof needs the threshold in force, its unit and where it comes from."""
    feed = Feed(source, lambda _header: reader)
    feed.pull()
    flag = feed.snapshot(frozenset()).flags[0]
    limits = {limit.name: limit for limit in flag.limits}
    assert limits["imbalance_pct"].unit == "%"
    assert "MOTOR" in limits["imbalance_pct"].source
    assert "pattern_hold_s" in limits


def test_costly_parts_are_made_only_on_need(source: Any, reader: Any) -> None:
    """The ledger is empty for panes that do not show it."""
    feed = Feed(source, lambda _header: reader)
    feed.pull()
    assert feed.snapshot(frozenset()).causes == ()
    made = feed.snapshot(frozenset(("causes",)))
    assert [cause.id for cause in made.causes] == ["bank-breathes-less"]
    assert [row.what for row in made.unsaid] == ["response"]


@pytest.mark.parametrize(
    ("claimed", "place"), [("9C101418", "b2s1"), ("9C103410", "b1s3")]
)
def test_a_freeze_frame_is_read_in_the_cars_own_layout(
    source: Any, claimed: str, place: str
) -> None:
    """PID 16 is B2S1 on a car that names PID 1D, and B1S3 on one that names 13."""
    source.waiting = [
        exchange(1.0, "0100", f"7E8064100{claimed}"),
        exchange(2.0, "020200", "7E8054202000171"),
        exchange(3.0, "021600", "7E80542160028FF"),
    ]
    feed = Feed(source)
    feed.pull()
    seen = feed.snapshot(frozenset()).evidence
    assert seen is not None
    assert seen.frames[0].values[f"o2_{place}_v"] == pytest.approx(0.2)
    assert set(seen.frames[0].values) == {f"o2_{place}_v"}


def test_a_lost_link_keeps_what_was_read_and_the_rest_is_asked_again(
    source: Any, reader: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the link swallowed is asked once more when it is back, not while lost."""
    clock = [0.0]
    monkeypatch.setattr("bankwise.tui.feed.time.perf_counter", lambda: clock[0])

    def look(seconds: float, *answers: Exchange) -> None:
        source.waiting = list(answers)
        for _ in range(int(seconds / 0.5)):
            clock[0] += 0.5
            feed.pull()

    feed = Feed(source, lambda _header: reader)
    feed.pull()
    feed.read_codes()
    look(1.0)
    first = list(source.asked)
    look(0.5, exchange(1.0, "03", "7E80443010171"))
    source.state = LinkState.LOST
    look(20.0)
    assert source.asked == first
    shot = feed.snapshot(frozenset())
    assert shot.unread == len(first) - 1
    assert shot.link.state == "lost"
    assert shot.evidence is not None
    assert shot.evidence.codes["stored"].codes == ("P0171",)
    source.state = LinkState.UP
    look(2.0)
    assert source.asked == first
    look(2.0)
    assert source.asked[len(first) :] == [q for q in first if q != "03"]
    look(20.0)
    assert len(source.asked) == 2 * len(first) - 1
    look(1.0, *(exchange(30.0, q, "7E8037F0311") for q in first))
    assert feed.snapshot(frozenset()).unread is None


def test_a_slow_answer_alone_is_not_asked_for_twice(
    source: Any, reader: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Over a link that holds, a request goes out once however long it waits."""
    clock = [0.0]
    monkeypatch.setattr("bankwise.tui.feed.time.perf_counter", lambda: clock[0])
    feed = Feed(source, lambda _header: reader)
    feed.pull()
    feed.read_codes()
    for _ in range(60):
        clock[0] += 0.5
        feed.pull()
    assert len(source.asked) == len(set(source.asked))
