"""Practice without knowing the answer: a story is picked, and named only when asked.

The story's id is kept in the session, encoded, so that nobody reads it by accident; a
session copied to a colleague keeps its answer.
"""

from __future__ import annotations

import base64
import binascii
from pathlib import Path
from random import Random

from bankwise.adapters.blind import KEY, SUBJECT
from bankwise.adapters.car.faults import fault_named
from bankwise.adapters.car.stories import STORIES, Story
from bankwise.adapters.records import Header
from bankwise.replay_logs import shipped
from bankwise.signals.ledger import EXPLANATIONS
from bankwise.tui.places import new_session_file
from bankwise.tui.session_list import head, session_files
from bankwise.tui.words import sentence

_TELLING = frozenset({"demo", "unmetered-air-repaired"})
"""Stories whose name is known to everybody, or whose text gives it away."""


def pick(random: Random) -> str:
    """Id of a story that its owner's words do not give away."""
    return random.choice([name for name in STORIES if name not in _TELLING])


def hidden(story: str) -> str:
    """A story's id as it is kept in a session: not readable at a glance."""
    return base64.b64encode(story.encode()).decode()


def lay_out(folder: Path, random: Random) -> Path:
    """Copies a shipped session into the folder under a name that tells nothing."""
    name = random.choice([name for name in shipped() if name not in _TELLING])
    plain = new_session_file(folder, SUBJECT)
    path = plain.with_name(plain.name + ".gz")
    try:
        path.write_bytes(shipped()[name].read_bytes())
    except OSError:
        path.unlink(missing_ok=True)
        raise
    return path


def story_of(header: Header) -> Story | None:
    """The story a session was made of, or None when it is not known."""
    kept = header.vehicle.get(KEY)
    if isinstance(kept, str):
        try:
            return STORIES.get(base64.b64decode(kept, validate=True).decode())
        except (binascii.Error, UnicodeDecodeError):
            return None
    for name, path in shipped().items():
        known = head(path)
        if known is not None and known.id == header.id:
            return STORIES.get(name)
    return None


def newest(folder: Path) -> Path | None:
    """The newest session of the folder that was made to practise on."""
    for path in session_files(folder):
        if SUBJECT in path.name:
            return path
    return None


def answer(story: Story) -> list[str]:
    """What was wrong with the simulated car, and what should have been found."""
    faults = [fault_named(text) for text in story.faults]
    lines = [f"{sentence(story.title)} (story {story.id})"]
    for fault in faults:
        lines.append(f"  was wrong: {fault.title}, {fault.about}")
    if not faults:
        lines.append("  was wrong: nothing; a healthy car")
    if story.explanation is not None:
        place = "" if story.about == "engine" else f"{story.about}: "
        lines.append(f"  to be found: {place}{EXPLANATIONS[story.explanation]}")
    if story.flag is not None:
        lines.append(f"  by the flag: {story.flag}, {story.flag_about}")
    return lines
