"""The codes pane: freeze frame, its window, self-tests and results on the screen."""

from __future__ import annotations

from typing import Any

import pytest

from bankwise.adapters.monitor_results import results_in
from bankwise.adapters.readiness import monitor_status
from bankwise.adapters.vehicle_info import RATIO_NAMES, unit_info
from bankwise.signals import evidence as ev
from bankwise.signals.similar_conditions import Entered, window_of
from bankwise.tui.canvas import Canvas
from bankwise.tui.panes import codes
from bankwise.tui.snapshot import Link

FRAME = {"rpm": 2000.0, "load_pct": 40.0, "ect_c": 88.0, "fuel_status_b1": 2.0}


def _seen() -> ev.Snapshot:
    status = monitor_status(bytes.fromhex("83076521"))
    results = results_in(
        bytes.fromhex("4601051000480000006405051000700000 0064"), "7E8"
    )
    assert status is not None
    assert results is not None
    counts = b"".join(n.to_bytes(2, "big") for n in range(1, len(RATIO_NAMES) + 1))
    return ev.Snapshot(
        {
            "stored": ev.CodeReading("stored", 5.0, (ev.UnitCodes("7E8", ("P0174",)),)),
            "pending": ev.CodeReading("pending", 6.0, (ev.UnitCodes("7E8", ()),)),
            "permanent": ev.CodeReading("permanent", 7.0, (ev.UnitCodes("7E8", ()),)),
        },
        since_clear={"7E8": status},
        this_drive={"7E8": status},
        frames=(ev.FreezeFrame("7E8", 0, "P0174", FRAME),),
        results=results,
        units=(unit_info("7E8", {0x02: b"1M8GDM9AXKP042788", 0x08: counts}),),
        unread=("test results: read again at 1:10: no answer from the car",),
    )


def _drawn(shot: Any, look: Any, size: tuple[int, int] = (140, 60)) -> str:
    canvas = Canvas.blank(*size)
    codes.draw(canvas, shot, look)
    return "\n".join("".join(map(chr, row)).rstrip() for row in canvas.chars)


@pytest.mark.parametrize(
    ("at_s", "words"),
    [(None, "□ not yet entered in this drive"), (83.0, "✓ entered at 1:23")],
)
def test_the_window_is_named_and_ticked(
    make_shot: Any, make_look: Any, at_s: float | None, words: str
) -> None:
    """Speed, load and warmth as numbers, how wide, and whether it has been entered."""
    window = window_of(FRAME)
    assert window is not None
    entered = (Entered("P0174", window, at_s),)
    text = _drawn(make_shot(evidence=_seen(), windows=entered), make_look())
    assert "1625 to 2375 rpm, load 32 to 48 %, warm" in text
    assert "±375 rpm" in text
    assert words in text


def test_a_freeze_frame_reads_in_words(make_shot: Any, make_look: Any) -> None:
    """The loop's state is no number, and the frame says which code set it."""
    text = _drawn(make_shot(evidence=_seen()), make_look())
    assert "7E8 frame 0: P0174" in text
    assert "closed loop" in text
    assert "drive again at 1625 to 2375 rpm" in text


def test_open_monitors_say_what_they_watch(make_shot: Any, make_look: Any) -> None:
    """What is still open comes with its meaning; the count is checked."""
    text = _drawn(make_shot(evidence=_seen()), make_look())
    assert "lamp ON, 3 codes stored" in text
    assert "its list holds another number: read again" in text
    assert "catalyst                           OPEN" in text
    assert "compares oxygen before and after the catalyst" in text


def test_results_stand_bank_against_bank(make_shot: Any, make_look: Any) -> None:
    """The bar is the room left, and a failure is a word, not a colour."""
    text = _drawn(make_shot(evidence=_seen()), make_look())
    assert "S1 rich to lean switch time, at most 100" in text
    assert "bank 1 72 ms ███░░" in text
    assert "bank 2 112 ms FAILED" in text


def test_in_use_counters_are_a_table(make_shot: Any, make_look: Any) -> None:
    """Name, done, possible, ratio."""
    text = _drawn(make_shot(evidence=_seen()), make_look())
    assert "catalyst B1                    3         4   0.750" in text


def test_the_vin_comes_with_its_verdict(make_shot: Any, make_look: Any) -> None:
    """A number read wrong, or one that was never given, shows here."""
    text = _drawn(make_shot(evidence=_seen()), make_look())
    assert "VIN 1M8GDM9AXKP042788 (check digit holds)" in text


def test_a_reading_that_failed_is_said_first(make_shot: Any, make_look: Any) -> None:
    """Before any code, so that nobody takes the rest for all."""
    text = _drawn(make_shot(evidence=_seen()), make_look())
    assert text.index("read again at 1:10") < text.index("P0174")


def test_a_replay_before_any_reading_says_so(make_shot: Any, make_look: Any) -> None:
    """It cannot ask the car, and does not pretend to."""
    shot = make_shot(evidence=None, link=Link("replay", "up"))
    assert "no reading of codes up to this moment" in _drawn(shot, make_look())


def test_what_does_not_fit_is_announced_and_reached(
    make_shot: Any, make_look: Any
) -> None:
    """A small screen says that there is more, scrolls to the end and stops there."""
    shot = make_shot(evidence=_seen())
    state = make_look().state
    assert "↓ more" in _drawn(shot, make_look(), (80, 18))
    for _ in range(60):
        state, _ = codes.act("down", shot, make_look(state=state))
    end = _drawn(shot, make_look(state=state), (80, 18))
    assert "↓ more" not in end
    assert "catalyst B1" in end
    for _ in range(60):
        state, _ = codes.act("up", shot, make_look(state=state))
    assert state.first_row == 0


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("up", "reading: 4 answers to come, shown as read so far"),
        ("lost", "LINK LOST: 4 answers to come, shown as read so far"),
        ("closed", "link closed: 4 answers never came, shown as read so far"),
    ],
)
@pytest.mark.parametrize("size", [(140, 60), (80, 24)])
def test_a_reading_that_was_cut_off_says_so(
    make_shot: Any, make_look: Any, state: str, words: str, size: tuple[int, int]
) -> None:
    """A lost link is named, with what was read still there."""
    shot = make_shot(evidence=_seen(), unread=4, link=Link("live", state))
    text = _drawn(shot, make_look(), size)
    assert words in text
    assert "P0174" in text
    nothing = make_shot(evidence=None, unread=1, link=Link("live", state))
    assert words.split(",", maxsplit=1)[0].replace("4 answers", "1 answer") in _drawn(
        nothing, make_look(), size
    )
