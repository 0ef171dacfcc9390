"""What a newcomer stumbled over on the screen: each of it stays mended."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from bankwise.adapters.records import Exchange
from bankwise.adapters.source import LinkState
from bankwise.signals.columns import Columns
from bankwise.signals.similar_conditions import Entered, Window
from bankwise.tui.canvas import Canvas
from bankwise.tui.chrome import draw_bottom, draw_top, link_words
from bankwise.tui.feed import Feed
from bankwise.tui.feed_evidence import Evidence
from bankwise.tui.lane_band import ENTERED_SIGN, window_words
from bankwise.tui.lane_table import LANES
from bankwise.tui.lanes import draw_stack
from bankwise.tui.panes import figures, flags, road
from bankwise.tui.snapshot import Cause, Limit, Link, Unsaid
from bankwise.tui.themes import Paper
from bankwise.tui.timeview import TimeView
from bankwise.tui.words import LEGEND, clip, grouped, middle, placed, trade

_MARGIN = 15


def lane_text(shot: Any, state: Any, lane: str, size: tuple[int, int]) -> str:
    """One lane as text."""
    canvas = Canvas.blank(*size)
    draw_stack(canvas, shot, state, [LANES[lane]])
    return canvas.text()


# The front sensors' own window.


def one_swing(at_s: float) -> Columns:
    """Front sensors that stand still but for one swing."""
    columns = Columns(end_s=90.0)
    t = np.arange(0.0, 90.0, 0.1)
    v = np.where(abs(t - at_s) < 0.5, 0.9, 0.1)
    for bank in (1, 2):
        columns.extend(f"o2_b{bank}s1_v", t, v, np.full(len(t), 0.05))
    return columns


@pytest.mark.parametrize("jumped", ["show", "hold", "cursor"])
def test_the_front_lane_shows_the_moment_looked_at(
    make_shot: Any, make_look: Any, jumped: str
) -> None:
    """After a jump, while held and under the cursor: what happened there is seen."""
    shot = make_shot(columns=one_swing(40.0), flags=())
    views = {
        "show": TimeView().show(40.0, 90.0),
        "hold": TimeView(60.0, 41.0),
        "cursor": TimeView(60.0, 80.0, 40.0),
    }
    there = lane_text(shot, make_look(view=views[jumped]), "front", (80, 6))
    now = lane_text(shot, make_look(), "front", (80, 6))
    assert rising(there)
    assert not rising(now)


def rising(text: str) -> bool:
    """Whether the first row of the plot holds a trace."""
    return any("⠀" < char <= "⣿" for char in text.splitlines()[0][_MARGIN:])


def test_zooming_zooms_the_front_lane_too(make_shot: Any, make_look: Any) -> None:
    """Its window is said beside it, and shrinks with the long one."""
    shot = make_shot(flags=())
    view = TimeView(60.0)
    found = []
    for _ in range(3):
        look = make_look(view=view)
        axis = lane_text(shot, look, "front", (120, 12)).splitlines()[-1]
        found.append(axis[1:12].strip())
        view = view.zoom(1, shot.now_s)
    assert found == ["window 10 s", "window 5 s", "window 4 s"]


def test_the_cursor_is_always_within_the_short_window() -> None:
    """Wherever it stands, at any zoom."""
    for span_s in (10.0, 60.0, 600.0):
        for cursor_s in (0.0, 3.0, 40.0, 89.5, 90.0):
            view = TimeView(span_s, 90.0, cursor_s)
            end = view.short_end(90.0)
            assert end - view.short_s <= cursor_s <= end


# One sign.


def test_the_difference_has_one_name_and_one_sign(
    make_shot: Any, make_look: Any
) -> None:
    """Header, lane and cursor all say B1−B2, positive when bank 1 adds more."""
    shot = make_shot(flags=())
    canvas = Canvas.blank(120, 37)
    road.draw(canvas, shot, make_look(view=TimeView(60.0, 90.0, 80.0)))
    text = canvas.text()
    header = text.splitlines()[0]
    assert "B1−B2 %" in header
    assert text.count("B1−B2 +20.0") == 2
    assert "DIFF" not in text
    assert "Δ 2" not in text


# Nothing overprinted, nothing cut within a word.


def slow_sensors(shot: Any) -> Any:
    """The same drive with front sensors polled too slowly to judge switching."""
    values = shot.ticks
    values._values |= {
        f"honest_switching_b{bank}s1": np.zeros(len(values.ticks)) for bank in (1, 2)
    }
    return shot


@pytest.mark.parametrize("size", [(80, 3), (80, 4), (80, 6), (120, 4), (120, 8)])
def test_a_slow_lane_keeps_its_name(
    make_shot: Any, make_look: Any, size: tuple[int, int]
) -> None:
    """The name, and that it is slow; the rate gives way first."""
    for lane in ("front", "slowfront"):
        canvas = Canvas.blank(*size)
        draw_stack(
            canvas, slow_sensors(make_shot(flags=())), make_look(), [LANES[lane]]
        )
        rows = [line[:_MARGIN] for line in canvas.text().splitlines()]
        if not any(rows):
            continue
        assert rows[0].startswith(f" {LANES[lane].title} V ")


def test_slow_is_said_beside_the_name(make_shot: Any, make_look: Any) -> None:
    """Once, whole, in narrow and wide margins."""
    for width in (80, 120):
        shot = slow_sensors(make_shot(flags=()))
        assert lane_text(shot, make_look(), "front", (width, 8)).count("slow") == 1


def test_small_figures_have_their_names_at_80_columns(
    make_shot: Any, make_look: Any
) -> None:
    """A number with a unit alone says little."""
    canvas = Canvas.blank(80, 21)
    road.draw(canvas, make_shot(), make_look())
    rows = [" ".join(line.split()) for line in canvas.text().splitlines()[:5]]
    assert rows[0].endswith("load 49 %")
    assert rows[1].endswith("31 km/h")
    assert rows[2].endswith("cool 90 °C")
    assert rows[3].endswith("air 20 g/s")


@pytest.mark.parametrize("width", range(40, 131, 6))
def test_an_instrument_is_whole_or_not_there(
    make_shot: Any, make_look: Any, width: int
) -> None:
    """A number cut at the edge would be another number."""
    canvas = Canvas.blank(width, 12)
    road.draw(canvas, make_shot(), make_look())
    wide = Canvas.blank(width + 60 if width >= 100 else 99, 12)
    road.draw(wide, make_shot(), make_look())
    if "ENGINE" in canvas.text() or width >= 80:
        rows = canvas.text().splitlines()[1:4]
        whole = wide.text().splitlines()[1:4]
        for row, other in zip(rows, whole, strict=True):
            assert row[:64].rstrip() == other[:64].rstrip()
    assert "ENGI" not in canvas.text().replace("ENGINE rpm", "")


def test_a_place_is_said_once(make_shot: Any, make_look: Any, make_flag: Any) -> None:
    """Sentences begin with their place already."""
    assert placed("B2S1 sits still", "B2S1") == "B2S1 sits still"
    assert placed("B2: closed loop is lost", "B2") == "B2: closed loop is lost"
    assert placed("no answer came", "engine") == "No answer came"
    assert placed("no answer came", "B2S1") == "B2S1: no answer came"
    flag = make_flag(60.0, 90.0, about="B2S1", text="B2S1 sits at its bias.")
    canvas = Canvas.blank(80, 21)
    road.draw(canvas, make_shot(flags=(flag,)), make_look())
    assert canvas.text().count("B2S1 sits") == 1
    assert "B2S1 B2S1" not in canvas.text()


def test_text_is_cut_after_a_word() -> None:
    """Unless one word fills more than half of the room."""
    assert clip("because of a fault in it", 20) == "because of a fault…"
    assert clip("because of a fault", 18) == "because of a fault"
    assert clip("abcdefghijklmnop", 8) == "abcdefg…"
    assert clip("a word", 1) == "…"


def test_thousands_stand_apart() -> None:
    """As a revolution counter is read."""
    told = [grouped(v) for v in (900.4, 2140.0, 12140.0, float("nan"))]
    assert told == ["900", "2140", "12 140", "–"]


# The bottom line.


@pytest.mark.parametrize("width", [40, 60, 80, 100, 120, 250])
@pytest.mark.parametrize("name", ["a.jsonl", "2026-11-25-123912-" + 9 * "long-" + "x"])
def test_help_mark_and_quit_always_stay(
    make_shot: Any, make_look: Any, width: int, name: str
) -> None:
    """However long the file's name; it is shortened in its middle."""
    row = Canvas.blank(width, 1)
    draw_bottom(row, make_shot(link=Link("live", "up", "", name, 120_000)), make_look())
    text = row.text()
    assert text.endswith("? help  m mark  q quit")
    assert "● REC" in text
    assert "120.0 kB" in text
    if width >= 80:
        assert "gaps 0  lag 0 ms" in text
        assert name[:4] in text


def test_a_name_is_shortened_in_its_middle() -> None:
    """When it was and what it was: both ends are kept."""
    assert middle("2026-11-25-demo.jsonl", 13) == "2026-1….jsonl"
    assert middle("short", 9) == "short"
    assert len(middle("x" * 40, 12)) == 12


# A replay that is still being read.


def test_a_replay_is_at_the_end_once_it_is_read(make_shot: Any, make_look: Any) -> None:
    """While records wait it says so, and the clock shows how far it has read."""
    link = Link("replay", "closed", "at the end of the session", length_s=480.0)
    reading = make_shot(link=link, behind=3000)
    assert "at the end" not in link_words(reading)
    assert "3000 answers to go" in link_words(reading)
    assert "at the end" in link_words(make_shot(link=link))


def test_the_clock_of_a_replay_shows_how_far_it_was_read(
    source: Any, reader: Any
) -> None:
    """Not how far it will be."""
    source.kind, source.state = "replay", LinkState.CLOSED
    source.speed, source.epoch, source.paused, source.duration_s = 60.0, 0, False, 90.0
    source.pause = source.resume = source.seek = lambda *_: None
    source.waiting = [Exchange(k * 0.1, "010C", ("",), 0.03) for k in range(900)]
    feed = Feed(source, lambda _header: reader)
    feed.pull(budget_s=0.0)
    shot = feed.snapshot(frozenset())
    assert shot.behind == 650
    assert shot.now_s == pytest.approx(24.9)
    while feed.behind:
        feed.pull(budget_s=0.0)
    assert feed.snapshot(frozenset()).now_s == 90.0


# The freeze frame's window.

_CODE = "P0174"


def window(at_s: float | None) -> tuple[Entered, ...]:
    """The window of one code."""
    return (Entered(_CODE, Window((1400.0, 2150.0), (40.0, 60.0), True), at_s),)


def test_the_freeze_frame_s_window_is_drawn_on_speed_and_load(
    make_shot: Any, make_look: Any
) -> None:
    """A band between the limits, on these two lanes and no other."""
    for lane, tinted in (("rpm", True), ("load", True), ("coolant", False)):
        canvas = Canvas.blank(100, 8)
        shot = make_shot(flags=(), windows=window(None))
        draw_stack(canvas, shot, make_look(), [LANES[lane]])
        papers = (canvas.looks >> 4) & 0xF
        assert bool((papers == int(Paper.BAND)).any()) is tinted


def test_the_moment_it_was_entered_has_a_tick(make_shot: Any, make_look: Any) -> None:
    """On the axis, with a line through the lanes."""
    text = lane_text(
        make_shot(flags=(), windows=window(70.0)), make_look(), "rpm", (100, 8)
    )
    assert ENTERED_SIGN in text.splitlines()[-1]
    text = lane_text(
        make_shot(flags=(), windows=window(None)), make_look(), "rpm", (100, 8)
    )
    assert ENTERED_SIGN not in text


@pytest.mark.parametrize("width", [80, 120])
def test_the_top_line_says_whether_it_was_entered(
    make_shot: Any, make_look: Any, width: int
) -> None:
    """In every situation, beside the link."""
    for at_s, words in ((None, "window: not yet"), (72.0, "1:12")):
        row = Canvas.blank(width, 1)
        draw_top(row, "Codes", make_shot(windows=window(at_s)), make_look())
        assert words in row.text()
        assert "link up" in row.text()
    assert window_words(()) == ()


def test_a_window_once_entered_stays_so_and_is_not_looked_for_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Only the new end of a drive is searched; an entry is remembered."""
    from bankwise.tui import feed_evidence

    looked: list[float] = []
    answers: list[float | None] = [None, None, 55.0]

    def entered(_window: Any, _columns: Any, since_s: float = 0.0) -> float | None:
        looked.append(since_s)
        return answers[len(looked) - 1]

    frame = SimpleNamespace(code=_CODE, values={"rpm": 1800.0, "load_pct": 50.0})
    monkeypatch.setattr(feed_evidence, "entered_at", entered)
    evidence = Evidence()
    monkeypatch.setattr(evidence, "found", lambda _p: SimpleNamespace(frames=(frame,)))
    columns = Columns()
    for name in ("rpm", "load_pct"):
        columns.extend(name, np.array([1.0]), np.array([1.0]), np.array([0.1]))
    seen = []
    for end_s in (20.0, 40.0, 60.0, 80.0):
        columns.end_s = end_s
        seen.append(evidence.windows("6", columns)[0].at_s)
    assert seen == [None, None, 55.0, 55.0]
    assert looked == [0.0, 10.0, 30.0]


# A car with one bank.


def one_bank_columns() -> Columns:
    """A four-cylinder that answers for a second fuel system it does not have."""
    names = ("rpm", "stft_b1_pct", "o2_b1s1_v", "fuel_status_b1", "fuel_status_b2")
    columns = Columns(supported=frozenset(names), end_s=90.0)
    t = np.arange(0.0, 90.0, 0.5)
    for name in names:
        columns.extend(name, t, np.ones(len(t)), np.full(len(t), 0.05))
    return columns


@pytest.mark.parametrize("size", [(80, 21), (120, 37), (200, 57)])
def test_a_bank_that_is_not_there_is_not_spoken_of(
    make_shot: Any, make_look: Any, size: tuple[int, int]
) -> None:
    """No status, no trim, no difference, no rate of a second bank; on any pane."""
    shot = make_shot(columns=one_bank_columns(), flags=())
    look = make_look(view=TimeView(60.0, 90.0, 80.0))
    for pane in (road, figures):
        canvas = Canvas.blank(*size)
        pane.draw(canvas, shot, look)
        text = canvas.text()
        for words in ("BANK 2", "B2", "B1−B2"):
            assert words not in text
    canvas = Canvas.blank(*size)
    figures.draw(canvas, shot, replace(look, state=replace(look.state, opened=True)))
    assert "B2" not in canvas.text()


# Words.


def test_what_cannot_be_told_has_its_reason_whole(
    make_shot: Any, make_look: Any
) -> None:
    """However long, and even when none was given."""
    why = "sampled at 2.1 Hz and needs ten samples a second for a whole minute to judge"
    shot = make_shot(
        causes=(), unsaid=(Unsaid("B1S1", "switching", why), Unsaid("B2", "trim", ""))
    )
    canvas = Canvas.blank(60, 30)
    flags.draw_ledger(canvas, shot)
    text = " ".join(canvas.text().split())
    assert f"B1S1 switching: {why}" in text
    assert "B2 trim: not enough was seen" in text


def test_explanations_are_sentences(make_shot: Any) -> None:
    """No identifiers; what keeps a share for the unknown says so."""
    causes = (
        Cause("sensor-reads-lean", "B1S1", 0.6, ("it stays low",), (), ""),
        Cause("cannot-tell", "engine", 0.2, (), (), ""),
    )
    canvas = Canvas.blank(60, 30)
    flags.draw_ledger(canvas, make_shot(causes=causes))
    text = " ".join(canvas.text().split())
    assert "B1S1: the front sensor says lean when it is not" in text
    assert "Too little was seen to say" in text
    assert "kept back for what was not seen" in text


def test_a_limit_without_a_document_says_so_once(make_flag: Any) -> None:
    """A short mark at each, the legend once, no name of the table."""
    limits = tuple(
        Limit(f"trim_{word}_pct", 10.0, "%", "common practice, no source")
        for word in ("add", "fade", "rise")
    )
    canvas = Canvas.blank(70, 40)
    flag = make_flag(60.0, 90.0, limits=limits, source="common practice, no source")
    flags.draw_words(canvas, flag, spaced=True)
    text = canvas.text()
    assert "no source" not in text
    assert "(trim_" not in text
    assert text.count(LEGEND) == 1
    assert "not normal: 10 %" in text
    assert trade("Common practice, no source") == "Trade practice"


def test_the_afterword_names_the_session(tmp_path: Path) -> None:
    """After quitting the terminal says where the session is and what to run on it."""
    from bankwise.tui.afterword import next_steps

    text = "\n".join(next_steps(tmp_path / "drive.jsonl"))
    assert "bankwise check" in text
    assert "bankwise report" in text


def test_a_dead_port_comes_with_what_to_do(source: Any, reader: Any) -> None:
    """The link's words end with advice while the error stands, and only then."""
    from bankwise.adapters.errors import PortBusy

    source.status = "the port is in use; tries again"
    feed = Feed(source, lambda _header: reader)
    assert feed.snapshot(frozenset()).link.words == source.status
    source.error = PortBusy("the port is in use")
    words = feed.snapshot(frozenset()).link.words
    assert words.startswith(source.status)
    assert "close the other program" in words
