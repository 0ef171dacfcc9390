"""What was watched last, kept between two runs so that it stands first at the start.

A file that cannot be read or written costs the convenience, never the drive.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from platformdirs import user_config_path


class What(Enum):
    """What kind of thing was watched."""

    ADAPTER = "adapter"
    SESSION = "session"
    DEMO = "demo"


@dataclass(frozen=True, slots=True)
class LastUsed:
    """One thing that was watched.

    Attributes:
        what: its kind.
        name: the adapter's address, the session's path, or the story's id.
    """

    what: What
    name: str


def kept_file() -> Path:
    """Where it is kept on this platform."""
    return user_config_path("bankwise") / "last.json"


def remember(used: LastUsed) -> None:
    """Keeps it for the next start."""
    path = kept_file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text(json.dumps({**asdict(used), "what": used.what.value}), "utf-8")
        fresh.replace(path)
    except OSError:
        return


def last_used() -> LastUsed | None:
    """What was watched last; None when nothing was, or it makes no sense."""
    try:
        found: Any = json.loads(kept_file().read_text("utf-8"))
        used = LastUsed(What(found["what"]), str(found["name"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None
    if used.what is What.SESSION and not Path(used.name).is_file():
        return None
    return used
