"""What `sessions` prints: one saved session a line, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

from bankwise.adapters.library_entry import Entry
from bankwise.tui.words import clip, clock, printable

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
    began = moment_words(entry.recorded)
    if entry.blind:
        told = f"{entry.car or 'car unknown'}; {hidden_words(short_name(entry))}"
        return f"{name}  {began}  {clock(entry.seconds):>7}  {told}"
    severe = [flag for flag in entry.flags if flag.severity in {"act", "stop"}]
    parts = [
        entry.car or entry.vin or "car unknown",
        ", ".join(entry.codes),
        ", ".join(f"▲ {flag.id} {flag.about}" for flag in severe),
        *(clip(text, _SAID) for text in entry.notes),
        clip(entry.note, _SAID),
    ]
    told = printable("; ".join(part for part in parts if part))
    return f"{name}  {began}  {clock(entry.seconds):>7}  {told}"


def moment_words(moment: str) -> str:
    """A moment as local date and time; as it is when it is none."""
    try:
        return datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return moment[:16]


def hidden_words(name: str) -> str:
    """What is said of a practice whose answer is not told yet."""
    return f"practice: `bankwise answer {name}` tells what was wrong"


def same_words(before: Entry, after: Entry) -> str:
    """What is said of two drives that show the same."""
    faults = ", ".join(sorted(before.faults))
    return (
        f"{short_name(before)} and {short_name(after)} both show {faults}: nothing "
        "was repaired between them, or nothing was noted"
    )


def as_objects(entries: Sequence[Entry]) -> list[dict[str, Any]]:
    """The same, JSON-ready."""
    return [
        {**asdict(entry), "path": str(entry.path), "recorded": entry.recorded}
        for entry in entries
    ]
