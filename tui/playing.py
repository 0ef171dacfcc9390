"""What the replay keys do to a recorded session."""

from __future__ import annotations

from bankwise.tui.feed_kinds import Playing

SPEEDS = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)
"""Replay speeds that two keys step through. Source: our choice."""

STEP_S = 0.5
"""One step: a tick of the engine. Unit: s."""


def toggle(replay: Playing) -> None:
    """Plays when it stands still, stands still when it plays."""
    if replay.paused:
        replay.resume()
    else:
        replay.pause()


def change_speed(replay: Playing, by: int) -> float:
    """The next speed up or down; returns it."""
    place = min(range(len(SPEEDS)), key=lambda i: abs(SPEEDS[i] - replay.speed))
    replay.speed = SPEEDS[min(max(place + by, 0), len(SPEEDS) - 1)]
    return replay.speed


def step(replay: Playing, by: int) -> None:
    """Stands still, one step on or back."""
    replay.pause()
    replay.seek(min(max(replay.now() + by * STEP_S, 0.0), replay.duration_s))
