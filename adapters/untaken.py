"""A file name that no file has yet."""

from __future__ import annotations

from pathlib import Path


def untaken(path: Path) -> Path:
    """The path, or where a file came to stand since it was chosen, the next free one.

    Two adapters may start within one second, and neither drive is lost for a name.
    """
    free, count = path, 2
    while free.exists():
        free = path.with_name(f"{path.stem}-{count}{path.suffix}")
        count += 1
    return free
