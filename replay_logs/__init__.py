"""Recorded sessions of the simulated car, shipped with the program."""

from __future__ import annotations

from pathlib import Path

FOLDER = Path(__file__).parent
SUFFIX = ".jsonl.gz"


def shipped() -> dict[str, Path]:
    """The shipped sessions by name, in alphabetical order."""
    return {
        path.name.removesuffix(SUFFIX): path
        for path in sorted(FOLDER.glob("*" + SUFFIX))
    }
