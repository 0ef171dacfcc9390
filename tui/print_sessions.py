"""What `sessions` prints: one saved session a line, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from bankwise.adapters.library import Entry
from bankwise.tui.words import clip, clock

_NAME = 34
_SAID = 60


def short_name(entry: Entry) -> str:
    """The name by which commands find a saved session."""
    return entry.path.name.removesuffix(".gz").removesuffix(".jsonl")


def as_line(entry: Entry) -> str:
    """Name, date, length, car, codes, flags and note, as far as they are known."""
    name = f"{short_name(entry):{_NAME}}"
    if entry.error:
        return f"{name}  {entry.error}"
    try:
        moment = datetime.fromisoformat(entry.started).astimezone()
        began = moment.strftime("%Y-%m-%d %H:%M")
    except ValueError:
        began = entry.started[:16]
    severe = [flag for flag in entry.flags if flag.severity in {"act", "stop"}]
    parts = [
        entry.car or entry.vin or "car unknown",
        ", ".join(entry.codes),
        ", ".join(f"▲ {flag.id} {flag.about}" for flag in severe),
        *entry.notes,
        clip(entry.note, _SAID),
    ]
    told = "; ".join(part for part in parts if part)
    return f"{name}  {began}  {clock(entry.seconds):>7}  {told}"


def as_objects(entries: Sequence[Entry]) -> list[dict[str, Any]]:
    """The same, JSON-ready."""
    return [{**asdict(entry), "path": str(entry.path)} for entry in entries]
