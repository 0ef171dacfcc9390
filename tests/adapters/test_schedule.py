"""The schedule asks for the most overdue first and starves nothing."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bankwise.adapters.pids import PIDS, Layout, signals_of
from bankwise.adapters.plan import ONCE_PIDS, plan
from bankwise.adapters.schedule import FLOOR_S, Fits, Schedule, Wanted

V6 = frozenset(
    {0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x08, 0x09, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11}
    | {0x13, 0x14, 0x15, 0x18, 0x19, 0x1C, 0x1F, 0x2E, 0x2F, 0x33, 0x42, 0x43, 0x44}
)


def six(pids: tuple[int, ...]) -> bool:
    """At most six PIDs a request."""
    return len(pids) <= 6


def one(pids: tuple[int, ...]) -> bool:
    """One PID a request."""
    return len(pids) <= 1


def run(schedule: Schedule, fits: Fits, each_s: float, until_s: float) -> Counter[int]:
    """Counts how often each PID is asked when a request takes `each_s`."""
    asked: Counter[int] = Counter()
    now = 0.0
    while now < until_s:
        pids = schedule.next(now, fits)
        schedule.asked(pids, now)
        asked.update(pids)
        now += each_s
    return asked


def test_fast_enough_link_reaches_every_rate() -> None:
    """At 45 requests a second every PID comes at its wanted rate or more."""
    rows = plan(V6, Layout.TWO_BANKS)
    asked = run(Schedule(rows), six, 1 / 45, 120.0)
    for row in rows:
        assert asked[row.pid] >= 0.9 * row.hz * 120.0, f"{row.pid:02X}"


def test_slow_link_scales_evenly_and_starves_nothing() -> None:
    """At 8 single values a second fast signals share, and none waits past the floor."""
    rows = plan(V6, Layout.TWO_BANKS, slow_link=True)
    schedule = Schedule(rows)
    last = {row.pid: 0.0 for row in rows}
    worst = dict.fromkeys(last, 0.0)
    now = 0.0
    while now < 300.0:
        (pid,) = schedule.next(now, one)
        schedule.asked((pid,), now)
        worst[pid] = max(worst[pid], now - last[pid])
        last[pid] = now
        now += 0.125
    for row in rows:
        assert worst[row.pid] <= max(FLOOR_S, 1.5 / row.hz) + 2 * len(rows) * 0.125
    assert worst[0x14] < 1.6


def test_sensor_and_its_trim_share_a_request() -> None:
    """Whenever a bank's trim is asked, its front sensor is in the same request."""
    schedule = Schedule(plan(V6, Layout.TWO_BANKS))
    now = 0.0
    together = alone = 0
    for _ in range(2000):
        pids = schedule.next(now, six)
        schedule.asked(pids, now)
        for trim, sensor in ((0x06, 0x14), (0x08, 0x18)):
            if trim in pids:
                together += sensor in pids
                alone += sensor not in pids
        now += 1 / 45
    assert together > 100
    assert alone == 0


def test_one_signal_as_fast_as_the_link_goes() -> None:
    """A guided test gets its sensor in every request, the rest at a trickle."""
    rows = plan(V6, Layout.TWO_BANKS, {"o2_b2s1_v": 1000.0})
    asked = run(Schedule(rows), six, 1 / 60, 60.0)
    assert asked[0x18] >= 3590
    others = sum(count for pid, count in asked.items() if pid != 0x18)
    assert 0 < others < 0.1 * asked[0x18]
    assert all(asked[row.pid] for row in rows)


def test_held_pid_is_left_out_until_its_moment() -> None:
    """A suspended PID is not asked before it is due again."""
    schedule = Schedule([Wanted(0x0C, 10.0), Wanted(0x0D, 2.0)])
    schedule.hold(0x0C, 5.0)
    assert schedule.next(4.9, six) == (0x0D,)
    assert 0x0C in schedule.next(5.0, six)


def test_nothing_wanted_gives_nothing() -> None:
    """An empty plan asks for nothing."""
    assert Schedule(()).next(0.0, six) == ()


@settings(max_examples=200, deadline=None)
@given(
    st.sets(st.sampled_from(sorted(PIDS)), max_size=60),
    st.sampled_from(list(Layout)),
    st.booleans(),
)
def test_plan_covers_every_signal_that_is_supported(
    supported: set[int], layout: Layout, slow: bool
) -> None:
    """Whatever a car supports, each of its signals is asked through some PID."""
    rows = plan(supported, layout, slow_link=slow)
    assert len({row.pid for row in rows}) == len(rows)
    assert all(row.pid in supported and row.hz > 0 for row in rows)
    polled = {name for row in rows for name in signals_of(row.pid, layout)}
    once = {name for pid in (*ONCE_PIDS, 0xA6) for name in signals_of(pid, layout)}
    wanted = {name for pid in supported for name in signals_of(pid, layout)}
    assert wanted - once <= polled


@pytest.mark.parametrize("age", [0.0, 0.05, 1.0, 11.9])
def test_urgency_is_age_times_rate(age: float) -> None:
    """Below the floor, urgency is age times wanted rate."""
    schedule = Schedule([Wanted(0x0C, 4.0)])
    schedule.asked((0x0C,), 100.0)
    assert schedule.urgency(0x0C, 100.0 + age) == pytest.approx(4.0 * age)
