"""The edges of the screen: slow terminals, and being told to end."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Callable
from typing import Any

ENDING = ("SIGTERM", "SIGHUP")
"""Signals that ask a program to end, where the platform has them."""


def unsent(driver: Any) -> int:
    """Writes that the terminal has not taken yet; 0 where nobody can tell.

    Textual keeps its writer's queue private. When a later version moves it, frames
    are simply not skipped.
    """
    queue = getattr(getattr(driver, "_writer_thread", None), "_queue", None)
    count = getattr(queue, "qsize", None)
    return int(count()) if callable(count) else 0


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
