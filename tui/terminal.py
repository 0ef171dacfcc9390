"""The edges of the screen: slow terminals, and being told to end."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Callable
from typing import Any

_SHARE = 0.2
"""How much the newest frame counts. Source: our choice, about half a second back."""

ENDING = ("SIGTERM", "SIGHUP")
"""Signals that ask a program to end, where the platform has them."""


class Lateness:
    """How late frames come, smoothed.

    Args:
        every_s: how far apart frames should be. Unit: s.
    """

    def __init__(self, every_s: float) -> None:
        self._every_s = every_s
        self._last_s: float | None = None
        self.ms = 0.0
        """Unit: ms."""
        self.frames = 0
        """How many came."""

    def frame(self, now_s: float) -> None:
        """Notes that a frame came."""
        if self._last_s is not None:
            late_ms = max(now_s - self._last_s - self._every_s, 0.0) * 1000
            self.ms += _SHARE * (late_ms - self.ms)
        self._last_s = now_s
        self.frames += 1


def unsent(driver: Any) -> int:
    """Writes that the terminal has not taken yet; 0 where nobody can tell.

    Textual keeps its writer's queue private. When a later version moves it, frames
    are simply not skipped.
    """
    queue = getattr(getattr(driver, "_writer_thread", None), "_queue", None)
    count = getattr(queue, "qsize", None)
    waiting = count() if callable(count) else 0
    return waiting if isinstance(waiting, int) else 0


def on_ending(act: Callable[[], None]) -> None:
    """Calls `act` in the running loop when the program is told to end.

    Without it the process would die with the terminal in the wrong mode and the
    recording unsealed. Platforms without such signals are left alone.
    """
    loop = asyncio.get_running_loop()
    for name in ENDING:
        number = getattr(signal, name, None)
        if number is None:
            continue
        try:
            loop.add_signal_handler(number, act)
        except (NotImplementedError, RuntimeError, ValueError):
            # No such thing on this platform, or not in the main thread (tests).
            return
