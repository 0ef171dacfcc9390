"""What people said of a drive: remarks during it, and notes on the whole of it.

Marks also carry what the program itself keeps: steps and results of guided tests, and
details of the car. Those have tags of their own and are no remarks.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from bankwise.signals.columns import Mark

NOTE_TAG: Final = "note"
"""Tag of a mark that is a note on the whole session."""
VEHICLE_TAG: Final = "vehicle:"
"""Tag of a mark that gives a detail of the car; the detail's key follows."""
ANSWERED_TAG: Final = "practice:answered"
"""Tag of the mark that says the answer of a practice was told."""

AT_TAG: Final = "note-at:"
"""Begins the tag of a remark typed on the screen; what follows is the moment its key
was pressed."""

_OWN = ("step:", "answer:", "given:", "jump:", "test:", VEHICLE_TAG, ANSWERED_TAG)


def is_remark(tag: str | None) -> bool:
    """Whether a mark with that tag is what a person said during the drive."""
    return tag != NOTE_TAG and not (tag or "").startswith(_OWN)


def mark_time(mark: Mark) -> float:
    """The moment a mark is about: of a typed one, its key's. Unit: s."""
    if mark.tag.startswith(AT_TAG):
        try:
            return float(mark.tag[len(AT_TAG) :])
        except ValueError:
            return mark.t
    return mark.t


def remarks(marks: Iterable[Mark]) -> list[Mark]:
    """What a person said during the drive, in order."""
    return [mark for mark in marks if is_remark(mark.tag)]


def notes(marks: Iterable[Mark]) -> list[str]:
    """What a person noted of the whole session afterwards, oldest first."""
    return [mark.text for mark in marks if mark.tag == NOTE_TAG]
