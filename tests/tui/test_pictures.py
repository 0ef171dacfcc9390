"""Pictures of the screen, compared dot by dot; the made-up drive's clock stands still.

After a wanted change: `pytest tests/tui/test_pictures.py --snapshot-update`, and look
at the new pictures in `__snapshots__`.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from bankwise.tui.app import BankwiseApp
from bankwise.tui.feed import Feed
from bankwise.tui.take_pictures import PICTURES, plain_svg
from bankwise.tui.themes import Ink, Paper
from bankwise.tui.view import CanvasView

if TYPE_CHECKING:
    from textual.pilot import Pilot

Compare = Callable[..., bool]
_TRACES_LEAST = {80: 120, 120: 250, 200: 500}


def still(
    source: Any, reader: Any, folder: Path, pane: str = "road", theme: str = "dark"
) -> BankwiseApp:
    """The screen on the made-up drive."""
    return BankwiseApp(
        source,
        sessions_dir=folder,
        start_pane=pane,
        theme_name=theme,
        make_feed=lambda s: Feed(s, lambda _header: reader),
        quiet=True,
    )


def freeze(*keys: str) -> Callable[[Pilot[int]], Awaitable[None]]:
    """Draws one frame, presses keys, and lets no further frame come."""

    async def run(pilot: Pilot[int]) -> None:
        app: Any = pilot.app
        await pilot.pause()
        app.frames.stop()
        app.lateness.ms = 0.0
        app.feed.pull()
        app.draw()
        for key in keys:
            await pilot.press(key)
        app.draw()
        await pilot.pause()
        canvas = app.screen_stack[0].query_one(CanvasView).shown
        dots = ((canvas.chars > 0x2800) & (canvas.chars <= 0x28FF)).sum()
        assert dots >= _TRACES_LEAST[canvas.width], "the lanes are blank"

    return run


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
def test_the_road_test_at_three_sizes(
    snap_compare: Compare, source: Any, reader: Any, tmp_path: Path, size: Any
) -> None:
    """Readable at 80 by 24, roomy at 200 by 60."""
    app = still(source, reader, tmp_path)
    assert snap_compare(app, terminal_size=size, run_before=freeze())


@pytest.mark.parametrize("theme", ["sun", "night"])
def test_the_other_themes(
    snap_compare: Compare, source: Any, reader: Any, tmp_path: Path, theme: str
) -> None:
    """Dark on white for the sun, dimmed on black for the night."""
    app = still(source, reader, tmp_path, theme=theme)
    assert snap_compare(app, terminal_size=(80, 24), run_before=freeze())


def test_without_colour_one_bank_is_dashed(
    snap_compare: Compare,
    source: Any,
    reader: Any,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """NO_COLOR is kept, and the banks can still be told apart."""
    monkeypatch.setenv("NO_COLOR", "1")
    app = still(source, reader, tmp_path)
    assert app.look.plain
    assert snap_compare(app, terminal_size=(80, 24), run_before=freeze())


def test_a_flag_s_proof(
    snap_compare: Compare, source: Any, reader: Any, tmp_path: Path
) -> None:
    """The lanes about the flag, beside what it says and leaves open."""
    app = still(source, reader, tmp_path)
    assert snap_compare(app, terminal_size=(120, 40), run_before=freeze("o"))


def test_the_link_lost(
    snap_compare: Compare, source: Any, reader: Any, tmp_path: Path
) -> None:
    """The hole is shaded through all lanes, and the words say what to do."""
    source.state = type(source.state).LOST
    source.status = "no answer: is the ignition on?"
    reader.holes = lambda: [(60.0, 75.0)]
    app = still(source, reader, tmp_path)
    assert snap_compare(app, terminal_size=(80, 24), run_before=freeze())


def test_bank_colours_are_for_bank_signals_only(
    app: BankwiseApp, make_shot: Any, make_look: Any
) -> None:
    """Lanes of the engine are neutral; those of a bank have its colour."""
    from bankwise.tui.canvas import Canvas
    from bankwise.tui.lane_table import LANES
    from bankwise.tui.lanes import draw_stack

    inks = {}
    for name in ("rpm", "load", "trim"):
        canvas = Canvas.blank(100, 10)
        draw_stack(canvas, make_shot(flags=()), make_look(), [LANES[name]])
        dots = canvas.chars > 0x2800
        inks[name] = {Ink(int(code) & 0xF) for code in canvas.looks[dots]}
    assert inks["rpm"] == inks["load"] == {Ink.NEUTRAL}
    assert {Ink.BANK1, Ink.BANK2} <= inks["trim"]


def test_the_band_between_the_banks_has_the_higher_one_s_tint(
    make_shot: Any, make_look: Any
) -> None:
    """Bank 1 adds, bank 2 subtracts: the band is bank 1's."""
    from bankwise.tui.canvas import Canvas
    from bankwise.tui.lane_table import LANES
    from bankwise.tui.lanes import draw_stack

    canvas = Canvas.blank(100, 12)
    draw_stack(canvas, make_shot(flags=()), make_look(), [LANES["trim"]])
    papers = (canvas.looks >> 4) & 0xF
    assert (papers == int(Paper.TINT1)).sum() > 100
    assert not (papers == int(Paper.TINT2)).any()


def test_pictures_load_nothing_from_the_web() -> None:
    """A picture for the README has no font to fetch."""
    svg = '<style>@font-face { src: url("https://x") }</style>\n'
    assert "https" not in plain_svg(svg)


def test_every_picture_of_the_readme_is_there() -> None:
    """Each has its own name, and its file is committed and not blank."""
    from bankwise.tui.take_pictures import FOLDER

    names = [picture.name for picture in PICTURES]
    assert len(set(names)) == len(names)
    for name in names:
        svg = (FOLDER / f"{name}.svg").read_text("utf-8")
        assert "@font-face" not in svg
        assert svg.count("<text") > 50
