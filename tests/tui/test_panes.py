"""Situations drawn on a canvas, without a screen about them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.signals import evidence as ev
from bankwise.signals.columns import Columns
from bankwise.signals.severity import Severity
from bankwise.tui.actions import ACTIONS
from bankwise.tui.canvas import Canvas
from bankwise.tui.chrome import draw_alert, draw_bottom, draw_top, loudest
from bankwise.tui.keys import KEYS, SITUATIONS, Key
from bankwise.tui.messages import (
    Acknowledge,
    Ask,
    CompareSessions,
    ListSessions,
    OpenSession,
    Say,
    ShowTime,
)
from bankwise.tui.panes import codes, flags, sessions
from bankwise.tui.panes.table import PANES
from bankwise.tui.panes.waiting import draw_waiting, is_waiting
from bankwise.tui.snapshot import Flag, Link, Look, PaneState, Snapshot
from bankwise.tui.themes import REVERSE
from bankwise.tui.words import clock, number, parse_clock, unproven, wrap

MakeFlag = Callable[..., Flag]
MakeShot = Callable[..., Snapshot]
MakeLook = Callable[..., Look]


def drawn(draw: Any, shot: Snapshot, state: Look, size: tuple[int, int]) -> str:
    """What a pane draws, as text."""
    canvas = Canvas.blank(*size)
    draw(canvas, shot, state)
    return canvas.text()


# The key table.


def test_every_key_does_something_and_no_key_does_two_things() -> None:
    """Actions exist; no key stands twice, nor in a pane what it is elsewhere."""
    names = [name for key in KEYS for name in key.keys]
    assert len(names) == len(set(names))
    assert {key.action for key in KEYS} <= set(ACTIONS)
    for pane in PANES.values():
        own = [name for key in pane.keys for name in key.keys]
        assert len(own) == len(set(own))
        # A pane may say what `a` acknowledges, and a question is answered with `n`
        # (`end` returns to now there too); anything else keeps its meaning.
        assert set(own) & set(names) <= {"a", "n"}, pane.id


def test_every_situation_has_its_place_in_the_key_table() -> None:
    """Ids and keys are unique, and no pane is without a key."""
    ids = [name for name, _, _ in SITUATIONS]
    assert len(set(ids)) == len(ids)
    assert set(PANES) <= set(ids)
    for pane in PANES.values():
        assert all(isinstance(key, Key) for key in pane.keys)


# What is always there.


def test_a_stop_flag_cannot_be_hidden(
    make_shot: MakeShot, make_look: MakeLook, make_flag: MakeFlag
) -> None:
    """Acknowledged or not, it shouts on every situation while it is up."""
    stop = make_flag(60.0, 90.0, id="catalyst-too-hot", severity=Severity.STOP)
    act = make_flag(80.0, 90.0)
    shot = make_shot(flags=(act, stop))
    seen = make_look(acknowledged=frozenset((stop.key, act.key)))
    assert loudest(shot, seen) == stop
    row = Canvas.blank(80, 1)
    draw_alert(row, shot, seen)
    assert row.text().startswith(" ■")
    assert (row.looks & REVERSE).all()
    gone = make_shot(flags=(act, replace(stop, active=False)))
    assert loudest(gone, seen) is None


def test_watch_and_info_do_not_shout(
    make_shot: MakeShot, make_look: MakeLook, make_flag: MakeFlag
) -> None:
    """They stand in the list; the line is for what needs acting on."""
    shot = make_shot(flags=(make_flag(80.0, 90.0, severity=Severity.WATCH),))
    assert loudest(shot, make_look()) is None


@pytest.mark.parametrize("width", [40, 80, 120, 250])
def test_origin_and_recording_are_said_at_any_width(
    make_shot: MakeShot, make_look: MakeLook, width: int
) -> None:
    """Simulated or real, recording or not: nobody must guess."""
    shot = make_shot()
    top, bottom = Canvas.blank(width, 1), Canvas.blank(width, 1)
    draw_top(top, "Road test", shot, make_look())
    draw_bottom(bottom, shot, make_look())
    assert "SIMULATED" in top.text()
    assert "REC" in bottom.text()


# Flags.


def test_the_picked_flag_stays_picked_when_newer_ones_rise(
    make_shot: MakeShot, make_look: MakeLook, make_flag: MakeFlag
) -> None:
    """The list moves under it; the person's choice does not."""
    old, new = make_flag(10.0, 20.0), make_flag(50.0, 90.0, id="rear-flat")
    state, _ = flags.act("down", make_shot(flags=(new, old)), make_look())
    assert state.picked == 1
    newest = make_flag(80.0, 90.0, id="stuck-lean")
    shot = make_shot(flags=(newest, new, old))
    assert flags.picked(shot, make_look(state=state)) == old


def test_a_flag_can_be_opened_seen_and_shown(
    make_shot: MakeShot, make_look: MakeLook
) -> None:
    """Three keys on the picked flag."""
    shot = make_shot()
    flag = shot.flags[0]
    assert flags.act("open", shot, make_look())[0].opened
    assert flags.act("seen", shot, make_look())[1] == Acknowledge(flag.key)
    assert flags.act("show", shot, make_look())[1] == ShowTime(flag.first_s)


def test_a_long_proof_can_be_scrolled_to_its_end(
    make_shot: MakeShot, make_look: MakeLook, make_flag: MakeFlag
) -> None:
    """On a small screen too, the last source is reached and nothing overlaps."""
    flag = make_flag(60.0, 90.0, causes=("a cause",) * 40, source="the last line")
    shot = make_shot(flags=(flag,))
    state = PaneState(opened=True)
    assert "the last line" not in drawn(
        flags.draw, shot, make_look(state=state), (80, 20)
    )
    for _ in range(20):
        state, _ = flags.act("down", shot, make_look(state=state))
    text = drawn(flags.draw, shot, make_look(state=state), (80, 20))
    assert "the last line" in text
    assert "↑ ↓ more" in text
    assert state.opened


def test_no_flags_is_said_and_keys_do_nothing(
    make_shot: MakeShot, make_look: MakeLook
) -> None:
    """An empty list is not a blank."""
    shot = make_shot(flags=())
    assert "No flag so far" in drawn(flags.draw, shot, make_look(), (120, 40))
    assert flags.act("open", shot, make_look()) == (PaneState(), None)


def test_severity_is_told_by_shape(
    make_shot: MakeShot, make_look: MakeLook, make_flag: MakeFlag
) -> None:
    """Four shapes for four severities, with colour or without."""
    all_four = tuple(
        make_flag(10.0 * i, 90.0, id=f"flag-{severity.value}", severity=severity)
        for i, severity in enumerate(Severity)
    )
    text = drawn(flags.draw, make_shot(flags=all_four), make_look(), (120, 40))
    for sign in "■▲△·":
        assert f" {sign} " in text


# Codes.


def evidence() -> ev.Snapshot:
    """One stored code, none pending, permanent not readable."""
    return ev.Snapshot(
        {
            "stored": ev.CodeReading("stored", 5.0, (ev.UnitCodes("7E8", ("P0174",)),)),
            "pending": ev.CodeReading("pending", 6.0, (ev.UnitCodes("7E8", ()),)),
            "permanent": ev.CodeReading("permanent", 7.0, (), ("no answer",)),
        },
        frames=(ev.FreezeFrame("7E8", 0, "P0174", {"rpm": 1850.0}),),
    )


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_no_codes_and_no_answer_are_told_apart(
    make_shot: MakeShot, make_look: MakeLook, size: tuple[int, int]
) -> None:
    """None was read, none was answered: two different sentences."""
    text = drawn(codes.draw, make_shot(evidence=evidence()), make_look(), size)
    assert "P0174  B2  stored" in text
    assert "Similar conditions" not in text
    assert "pending    none (0:06)" in text
    assert "permanent  no answer (0:07)" in text
    assert "1850 rpm" in text


def test_a_code_that_the_drive_contradicts_says_so(
    make_shot: MakeShot, make_look: MakeLook
) -> None:
    """The contrary fact stands beside the code, and that no part is bought on it."""
    against = {"P0174": "B2 needed no correction in 5 cells"}
    shot = make_shot(evidence=evidence(), code_against=against)
    text = " ".join(drawn(codes.draw, shot, make_look(), (120, 40)).split())
    assert "Against it: B2 needed no correction" in text
    assert "buy no part" in text


def test_reading_codes_is_for_a_car_that_is_there(
    make_shot: MakeShot, make_look: MakeLook
) -> None:
    """Live it asks; a replay says that it cannot."""
    assert codes.act("read", make_shot(), make_look())[1] == Ask()
    replay = make_shot(link=Link("replay", "up"))
    assert isinstance(codes.act("read", replay, make_look())[1], Say)


# Sessions.


def test_two_sessions_are_compared_in_the_order_chosen(
    make_shot: MakeShot, make_look: MakeLook
) -> None:
    """First the one before, then the one after."""
    rows = tuple((f"/x/{n}", n, "2026-03-01 10:00", "8:00", "") for n in "ab")
    shot, look = make_shot(), make_look(files=rows)
    assert isinstance(sessions.act("after", shot, look)[1], Say)
    state, _ = sessions.act("before", shot, look)
    state, _ = sessions.act("down", shot, replace(look, state=state))
    _, intent = sessions.act("after", shot, replace(look, state=state))
    assert intent == CompareSessions(Path("/x/a"), Path("/x/b"))
    _, intent = sessions.act("open", shot, replace(look, state=state))
    assert intent == OpenSession(Path("/x/b"))


def test_an_empty_library_asks_for_the_list(
    make_shot: MakeShot, make_look: MakeLook
) -> None:
    """Any key of the pane reads it."""
    assert sessions.act("down", make_shot(), make_look())[1] == ListSessions()


# Before the first value.


def test_before_the_first_value_it_says_what_to_check(
    make_shot: MakeShot, make_look: MakeLook
) -> None:
    """At first what is being tried; after a while the usual reasons."""
    link = Link("live", "connecting", "looking for the adapter's speed")
    fresh = make_shot(columns=Columns(), link=link, now_s=2.0)
    assert is_waiting(fresh)
    text = drawn(draw_waiting, fresh, make_look(), (80, 20))
    assert "Looking for the adapter's speed" in text
    assert "Ignition" not in text
    text = drawn(draw_waiting, replace(fresh, now_s=20.0), make_look(), (80, 20))
    assert "Ignition on?" in text
    assert not is_waiting(make_shot())


# Every pane, anything.


@pytest.mark.parametrize("pane", list(PANES))
@given(
    width=st.integers(38, 130),
    height=st.integers(8, 60),
    name=st.sampled_from(["up", "down", "open", "close"]),
    picked=st.integers(0, 50),
)
def test_any_pane_at_any_size_after_any_key(
    pane: str, width: int, height: int, name: str, picked: int
) -> None:
    """Nothing fails, whatever was picked before the list became shorter."""
    shot = Snapshot(90.0, Columns(), _Nothing())
    state = Look(state=PaneState(picked))
    record = PANES[pane]
    if record.act is not None:
        after, _ = record.act(name, shot, state)
        state = replace(state, state=after)
    record.draw(Canvas.blank(width, height), shot, state)


class _Nothing:
    """An engine that has derived nothing."""

    @property
    def ticks(self) -> Any:
        """No tick."""
        return Columns()["rpm"].t

    def __getitem__(self, name: str) -> Any:
        return Columns()[name].v

    def why(self, name: str) -> str:
        """No reason."""
        return ""


# Words.


@pytest.mark.parametrize(
    ("value", "decimals", "sign", "text"),
    [
        (-3.25, 1, False, "−3.2"),
        (3.0, 0, True, "+3"),
        (-0.04, 1, True, "+0.0"),
        (float("nan"), 1, False, "–"),
        (None, 1, False, "–"),
    ],
)
def test_numbers_are_typeset(
    value: float | None, decimals: int, sign: bool, text: str
) -> None:
    """A true minus, no negative zero, a dash for nothing."""
    assert number(value, decimals, sign) == text


@given(st.integers(0, 100_000))
def test_times_are_read_as_they_are_written(t: int) -> None:
    """What the screen shows can be typed back."""
    assert parse_clock(clock(t)) == t


@pytest.mark.parametrize("text", ["", "x", "1:x", "1:2:3:4", "-5", "nan"])
def test_what_is_no_time_is_none(text: str) -> None:
    """Nothing is guessed."""
    assert parse_clock(text) is None


@given(st.text(max_size=200), st.integers(1, 60))
def test_wrapped_lines_fit_and_keep_every_word(text: str, width: int) -> None:
    """No line is too wide and no letter is lost."""
    lines = wrap(text, width)
    assert all(0 < len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_what_is_left_open_is_a_whole_sentence() -> None:
    """The rules write `Not that …`; the screen writes it out."""
    assert unproven("Not that it is bad.") == "Does not prove that it is bad."
    assert unproven("The part.") == "Does not prove: The part."
