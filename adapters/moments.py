"""Moments as headers tell them: RFC 3339 texts."""

from __future__ import annotations

from datetime import UTC, datetime


def moment_of(text: str) -> datetime | None:
    """The moment a text tells, taken as UTC when it names no zone; None for no moment.

    Args:
        text: as `Header.started`; a foreign file may hold anything.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
