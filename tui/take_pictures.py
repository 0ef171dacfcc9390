"""Takes the README's pictures: `python -m bankwise.tui.take_pictures`.

They show shipped sessions, and a guided test on the simulated car. The screen runs
without a terminal, on a session whose clock stands still, so the same session gives
the same picture. The pictures are SVG and load nothing from anywhere.
"""

from __future__ import annotations

import asyncio
import re
import sys
from dataclasses import dataclass
from pathlib import Path

from bankwise.adapters.replay import Replay
from bankwise.adapters.session_file import read_session
from bankwise.replay_logs import shipped
from bankwise.tui import guided_scene
from bankwise.tui.app import BankwiseApp
from bankwise.tui.snapshot import PaneState

FOLDER = Path(__file__).parent / "pictures"

_FONTS = '"DejaVu Sans Mono", "Menlo", "Cascadia Mono", "Consolas", monospace'


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture.

    Attributes:
        name: of the file.
        session: name of a shipped session; empty for the guided test.
        at_s: the moment it shows. Unit: s.
        size: columns and rows.
        theme: name of the theme.
        pane: id of the situation.
        keys: pressed before the picture is taken.
    """

    name: str
    session: str
    at_s: float
    size: tuple[int, int] = (120, 40)
    theme: str = "dark"
    pane: str = "road"
    keys: tuple[str, ...] = ()


PICTURES = (
    Picture("road-test", "bank-breathes-less", 240.0),
    Picture("proof", "front-sensor-reads-lean", 200.0, keys=("o",)),
    Picture("explanations", "bank-breathes-less", 400.0, pane="flags"),
    Picture("figures", "unmetered-air", 450.0, pane="figures", theme="sun"),
    Picture("review", "bank-breathes-less", 460.0, pane="review", keys=("[",)),
    Picture("guided", "", guided_scene.SHOWN_S, pane="guided"),
    Picture("warm-up", "thermostat-open", 480.0, pane="warmup"),
    Picture("small", "front-sensor-unplugged", 240.0, size=(80, 24), theme="night"),
)
"""Every picture."""


def plain_svg(svg: str) -> str:
    """The picture without fonts from the web, in a font the reader has."""
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = re.sub(r"@font-face\s*\{[^}]*\}", "", svg)
    svg = svg.replace("font-family: Fira Code, monospace", f"font-family: {_FONTS}")
    return re.sub(r"[ \t]+\n", "\n", svg)


async def take(picture: Picture) -> str:
    """The picture as SVG. Raises KeyError when no such session is shipped."""
    if picture.session:
        session = read_session(shipped()[picture.session])
    else:
        session = guided_scene.session()
    kind = Replay if picture.session else guided_scene.OnTheCar
    source = kind(session, 1.0, picture.at_s, clock=lambda: 0.0)
    app = BankwiseApp(
        source,
        sessions_dir=FOLDER,
        start_pane=picture.pane,
        theme_name=picture.theme,
        quiet=True,
    )
    async with app.run_test(size=picture.size) as pilot:
        await pilot.pause()
        app.frames.stop()
        app.lateness.ms = 0.0
        assert app.feed is not None
        app.feed.pull()
        while app.feed.behind:
            app.feed.pull()
        if not picture.session:
            app.states["guided"] = PaneState(tag=guided_scene.page().tag)
        app.draw()
        for key in picture.keys:
            await pilot.press(*_named(key))
        app.draw()
        await pilot.pause()
        title = f"bankwise: {picture.session or guided_scene.STORY}"
        return plain_svg(app.export_screenshot(title=title))


def _named(key: str) -> tuple[str, ...]:
    return ({"[": "left_square_bracket", "]": "right_square_bracket"}.get(key, key),)


def main() -> None:
    """Takes all pictures, or those named on the command line."""
    wanted = set(sys.argv[1:])
    FOLDER.mkdir(exist_ok=True)
    for picture in PICTURES:
        if wanted and picture.name not in wanted:
            continue
        path = FOLDER / f"{picture.name}.svg"
        path.write_text(asyncio.run(take(picture)), "utf-8")
        print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
