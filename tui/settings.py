"""What a person chose for the screen, kept between two runs.

A file that cannot be read or written costs the choice, never the drive.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from platformdirs import user_config_path

from bankwise.tui.lane_table import FIRST_CHOICE, LANES
from bankwise.tui.snapshot import Look
from bankwise.tui.themes import PALETTES
from bankwise.tui.timeview import SPANS_S, TimeView

_FILE = "screen.json"


@dataclass(frozen=True, slots=True)
class Settings:
    """The screen's lasting choices.

    Attributes:
        theme: name of the theme.
        lanes: ids of the lanes shown, in order.
        tall: ids of the lanes drawn larger.
        span_s: length of the window. Unit: s.
        sweep: whether a write head moves instead of the traces.
        bell: whether the bell rings.
    """

    theme: str = "dark"
    lanes: tuple[str, ...] = FIRST_CHOICE
    tall: tuple[str, ...] = ()
    span_s: float = 60.0
    sweep: bool = False
    bell: bool = True


def first_look(kept: Settings, plain: bool) -> Look:
    """The screen's state at the start. `plain`: the terminal shows no colour."""
    return Look(
        TimeView(kept.span_s),
        kept.lanes,
        frozenset(kept.tall),
        kept.sweep,
        plain,
        bell=kept.bell,
    )


def settings_file() -> Path:
    """Where the choices are kept on this platform."""
    return user_config_path("bankwise") / _FILE


def load(path: Path) -> Settings:
    """The kept choices; what is missing or makes no sense is as shipped."""
    try:
        found: Any = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return Settings()
    if not isinstance(found, dict):
        return Settings()
    shipped = Settings()
    theme = found.get("theme")
    span = found.get("span_s")
    return Settings(
        theme if isinstance(theme, str) and theme in PALETTES else shipped.theme,
        _lanes(found.get("lanes")) or shipped.lanes,
        _lanes(found.get("tall")),
        span if isinstance(span, float) and span in SPANS_S else shipped.span_s,
        found.get("sweep") is True,
        found.get("bell") is not False,
    )


def save(path: Path, settings: Settings) -> bool:
    """Keeps the choices; False when the disk would not have them."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text(json.dumps(asdict(settings), indent=2) + "\n", "utf-8")
        fresh.replace(path)
    except OSError:
        return False
    return True


def _lanes(found: object) -> tuple[str, ...]:
    if not isinstance(found, list):
        return ()
    return tuple(dict.fromkeys(x for x in found if isinstance(x, str) and x in LANES))
