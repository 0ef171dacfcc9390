"""Makes the shipped sessions: `python -m bankwise.replay_logs.make [NAME…]`.

Each is one story of the simulated car, driven in virtual time through the simulated
adapter, the same start-up and poll cycle as any drive, and the session writer. The
same code gives the same bytes. Without names, every session is made.
"""

from __future__ import annotations

import sys
import uuid
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import msgspec

from bankwise.adapters.capture import capture
from bankwise.adapters.car.stories import STORIES, Story
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.packed import pack
from bankwise.adapters.recorder import new_header
from bankwise.adapters.records import Header
from bankwise.adapters.startup import Found
from bankwise.replay_logs import FOLDER, SUFFIX

SHIPPED = (
    "healthy",
    "front-sensor-reads-lean",
    "front-sensor-unplugged",
    "front-sensor-aged",
    "rear-sensor-dead",
    "bank-breathes-less",
    "unmetered-air",
    "weak-fuel-supply",
    "thermostat-open",
    "worn-catalyst",
    "bank-breathes-less-by-pressure",
    "leaking-injector",
    "unmetered-air-repaired",
)
"""The stories that are shipped as sessions, in the order they are listed."""

_FAMILY = uuid.UUID("6f1b34b0-32f7-5b6e-9d55-0a6c3f2b7d11")
"""Names of shipped sessions become ids in this namespace; any fixed one will do."""

_FIRST_DAY = datetime(2024, 3, 4, 8, 30, tzinfo=UTC)
"""The invented date of the first story; each later one is a day later."""


def header(story: Story, found: Found) -> Header:
    """The header of a shipped session: its story, and that all of it is simulated."""
    day = timedelta(days=SHIPPED.index(story.id) if story.id in SHIPPED else 0)
    vehicle = {
        "name": f"{story.spec.identity.name} (invented)",
        "displacement_l": story.spec.displacement_l,
        "note": story.text,
    }
    started = (_FIRST_DAY + day).isoformat(timespec="milliseconds")
    plain = new_header(
        started, found, None, vehicle, str(uuid.uuid5(_FAMILY, story.id))
    )
    adapter = msgspec.structs.replace(
        plain.adapter, name=f"simulated adapter, simulated car ({found.name})"
    )
    return msgspec.structs.replace(plain, adapter=adapter)


def make(story: Story, folder: Path) -> Path:
    """Drives one story and leaves its packed session in a folder.

    Raises:
        LinkError, NoAdapter: the simulated adapter did not answer.
        SessionError: the file could not be written.
    """
    with TemporaryDirectory() as scratch:
        path = Path(scratch) / f"{story.id}.jsonl"
        link = VirtualLink(plug_in(story.car(), story.spec, seed=story.seed))
        capture(
            link,
            story.seconds,
            path=path,
            header_of=lambda found: header(story, found),
            seed=story.seed,
            evidence=True,
        )
        made = pack(path)
        target = folder / (story.id + SUFFIX)
        target.write_bytes(made.read_bytes())
    return target


def main(names: Sequence[str]) -> None:
    """Makes the named sessions, or all of them."""
    for name in names or SHIPPED:
        path = make(STORIES[name], FOLDER)
        print(f"{path.name}  {path.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main(sys.argv[1:])
