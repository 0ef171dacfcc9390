"""The engine as a whole: gates, voids, thresholds, events and spans."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from bankwise.signals.columns import Bools, Column, Columns, LinkChange
from bankwise.signals.engine import Engine
from bankwise.signals.rule import Gate, Kind, Rule, View
from bankwise.signals.rules import BY_ID
from bankwise.signals.severity import Severity
from bankwise.signals.thresholds import DEFAULTS
from bankwise.signals.words import figure, fill

Judge = Callable[..., Engine]


def _columns(seconds: float, **signals: float) -> Columns:
    columns = Columns()
    t = np.arange(0.0, seconds + 0.01, 0.1)
    for name, value in signals.items():
        columns.extend(name, t, np.full(len(t), value), np.full(len(t), 0.02))
    columns.end_s = seconds
    return columns


def _rule(condition: Callable[[View], Bools], **more: object) -> Rule:
    plain = Rule(
        id="made-up",
        kind=Kind.ENGINE,
        severity=Severity.WATCH,
        condition=condition,
        gate=Gate.NONE,
        hold="at_once_s",
        clear_s=1.0,
        text="{place} turns at {rpm}.",
        figures={"rpm": "rpm"},
        does_not_prove="-",
        causes=("-",),
        next="-",
        source="-",
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def _between(first: float, end: float) -> Callable[[View], Bools]:
    return lambda see: (see.ticks >= first) & (see.ticks < end)


def test_a_flag_rises_and_clears_with_its_words() -> None:
    """One rise and one clear, with the figure of the rise and its unit."""
    engine = Engine(DEFAULTS, (_rule(_between(5, 10)),))
    events = engine.advance(_columns(20, rpm=812.0), 20)
    assert [(e.t, e.state, e.text) for e in events] == [
        (5.0, "raised", "engine turns at 812 rpm."),
        (11.0, "cleared", "engine turns at 812 rpm."),
    ]
    (flag,) = engine.flags
    assert (flag.first_s, flag.last_s, flag.total_s) == (5.0, 9.5, 6.0)
    assert flag.spans == ((5.0, 11.0),)
    assert not flag.active


def test_a_flag_still_up_ends_at_the_newest_tick() -> None:
    """An open stretch ends now and the flag is active."""
    engine = Engine(DEFAULTS, (_rule(_between(5, 99)),))
    engine.advance(_columns(20, rpm=800.0), 20)
    (flag,) = engine.flags
    assert flag.active
    assert flag.spans == ((5.0, 20.0),)


def test_a_cold_engine_shuts_the_warm_gate() -> None:
    """The same condition says nothing at 40 °C and speaks at 90 °C."""
    rule = _rule(_between(5, 99), gate=Gate.WARM)
    cold, warm = Engine(DEFAULTS, (rule,)), Engine(DEFAULTS, (rule,))
    assert cold.advance(_columns(20, rpm=800.0, ect_c=40.0), 20) == []
    assert len(warm.advance(_columns(20, rpm=800.0, ect_c=90.0), 20)) == 1


def test_a_changed_threshold_moves_the_gate() -> None:
    """A technician's own coolant limit opens the gate at 40 °C."""
    limits = DEFAULTS.with_changes({"gate_coolant_c": 30.0})
    engine = Engine(limits, (_rule(_between(5, 99), gate=Gate.WARM),))
    assert len(engine.advance(_columns(20, rpm=800.0, ect_c=40.0), 20)) == 1


def test_frozen_trims_silence_trim_patterns_on_their_bank_only() -> None:
    """While bank 1 is in open loop by fault its pattern is void, bank 2's is not."""
    pattern = _rule(
        _between(5, 99),
        id="pattern",
        kind=Kind.BANK,
        trim_pattern=True,
        figures={},
        text="{place}",
    )
    rules = (BY_ID["open-loop-fault"], pattern)
    engine = Engine(DEFAULTS, rules)
    columns = _columns(
        30, rpm=800.0, fuel_status_b1=8.0, fuel_status_b2=2.0, stft_b2_pct=0.0
    )
    engine.advance(columns, 30)
    raised = {(flag.id, flag.about) for flag in engine.flags}
    assert ("open-loop-fault", "B1") in raised
    assert ("pattern", "B2") in raised
    assert ("pattern", "B1") not in raised


def test_asking_again_for_the_same_moment_changes_nothing() -> None:
    """A tick is evaluated once; asking again gives no event."""
    engine = Engine(DEFAULTS, (_rule(_between(5, 99)),))
    columns = _columns(20, rpm=800.0)
    assert len(engine.advance(columns, 20)) == 1
    assert engine.advance(columns, 20) == []
    assert engine.advance(columns, 3) == []


def test_unknown_figures_are_said_to_be_unknown() -> None:
    """A figure without a value prints as a word, with or without a format."""
    words = {"a": figure("rpm", float("nan")), "b": figure("ect_c", -12.0)}
    assert fill("{a} {a:.0f} {b} {place}", "B1", "B2", words) == (
        "unknown unknown −12 °C B1"
    )
    assert f"{figure('asymmetry_high_b1s1', float('inf'))}" == "without limit"


def test_a_bus_that_wakes_slowly_is_not_a_lost_link() -> None:
    """The adapter tells its supply at once, the car answers seconds later."""
    columns = _columns(40, rpm=800.0)
    slow = Columns()
    for name, column in columns.signals.items():
        late = column.t > 7
        slow.extend(name, column.t[late], column.v[late], column.d[late])
    at = np.array([0.5])
    slow.signals["module_v"] = Column()
    slow.signals["module_v"].extend(at, np.array([12.4]), np.array([0.005]))
    slow.link.append(LinkChange(6.6, "up"))
    engine = Engine(DEFAULTS, (BY_ID["link-lost"],))
    assert engine.advance(slow, 40) == []


def test_a_link_that_came_up_and_then_says_nothing_is_lost() -> None:
    """Up at 2 s and never a value: silence counts from there."""
    columns = Columns()
    columns.link.append(LinkChange(2.0, "up"))
    engine = Engine(DEFAULTS, (BY_ID["link-lost"],))
    (event,) = engine.advance(columns, 20)
    assert (event.state, event.about) == ("raised", "link")
    assert 5.0 <= event.t <= 5.5


def test_a_silent_link_is_told_by_time_alone() -> None:
    """Nothing heard for three seconds raises the lost link."""
    engine = Engine(DEFAULTS, (BY_ID["link-lost"],))
    events = engine.advance(_columns(10, rpm=800.0), 30)
    assert [(e.state, e.about) for e in events] == [("raised", "link")]
    assert 13.0 <= events[0].t <= 13.5
