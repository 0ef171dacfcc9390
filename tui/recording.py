"""Live capture without a screen: drains a source and keeps one status line."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from types import FrameType
from typing import TYPE_CHECKING, TextIO

from bankwise.adapters.records import Exchange, LinkRecord, Record
from bankwise.adapters.source import LinkState
from bankwise.tui.words import clock, size

if TYPE_CHECKING:  # the status line alone needs none of what talks to an adapter
    from bankwise.adapters.live import Live

_LOOK_S = 0.25
"""How often the source is drained. Unit: seconds. Our choice: a smooth status line."""


@dataclass(slots=True)
class Tally:
    """What has come in so far.

    Attributes:
        exchanges: requests answered or not.
        up_s: session time at which the vehicle first answered; None if it never did.
    """

    exchanges: int = 0
    up_s: float | None = None


def record_until(
    source: Live,
    seconds: float | None,
    out: TextIO | None,
    *,
    patient: bool = False,
    seen: Callable[[list[Record]], None] = lambda _: None,
) -> Tally:
    """Runs a source until its time is up, it closes, or a person ends it.

    Ctrl-C, and the signal that asks a program to end, close it in good order: the
    adapter at rest, the file sealed. A lost connection is waited for.

    Args:
        source: not yet started.
        seconds: how long to record, counted from the vehicle's first answer, and the
            longest wait for that answer. Unit: seconds of session time; None for no
            end.
        patient: also wait for a port that cannot be opened yet.
        out: where the status line goes; rewritten in place on a terminal, left out
            in a pipe, or with None.
        seen: is handed every batch of records.
    """
    ended = threading.Event()

    def end(_number: int, _frame: FrameType | None) -> None:
        ended.set()

    before = {
        number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)
    }
    line = StatusLine(out)
    tally = Tally()
    began = time.monotonic()
    source.start()
    try:
        while not ended.wait(_LOOK_S) and source.state is not LinkState.CLOSED:
            _take(source, tally, seen)
            now = source.now()
            line.show(_status(source, tally, now))
            if tally.up_s is None:
                over = time.monotonic() - began
                if source.error is not None and not patient:
                    break
            else:
                over = now - tally.up_s
            if seconds is not None and over >= seconds:
                break
    finally:
        source.stop()
        _take(source, tally, seen)
        line.end()
        for number, handler in before.items():
            signal.signal(number, handler)
    return tally


def _take(source: Live, tally: Tally, seen: Callable[[list[Record]], None]) -> None:
    records = source.drain()
    for record in records:
        if type(record) is Exchange:
            tally.exchanges += 1
        elif type(record) is LinkRecord and record.state == "up":
            tally.up_s = record.t if tally.up_s is None else tally.up_s
    seen(records)


class StatusLine:
    """One line that rewrites itself on a terminal and stays silent elsewhere."""

    def __init__(self, out: TextIO | None) -> None:
        self._out = out if out is not None and out.isatty() else None
        self._width = 0

    def show(self, text: str) -> None:
        """Replaces the line."""
        if self._out is not None:
            self._out.write("\r" + text.ljust(self._width))
            self._out.flush()
            self._width = len(text)

    def clear(self) -> None:
        """Wipes the line, as if it had never been."""
        if self._out is not None and self._width:
            self._out.write("\r" + " " * self._width + "\r")
            self._out.flush()
            self._width = 0

    def end(self) -> None:
        """Leaves the line standing and goes to the next."""
        if self._out is not None and self._width:
            self._out.write("\n")
            self._out.flush()


def _status(source: Live, tally: Tally, now: float) -> str:
    recording = source.recording
    if recording.error is not None:
        kept = f"NOT RECORDING: {recording.error}"
    elif recording.path is None:
        kept = "not recording"
    else:
        kept = f"recording {size(recording.size)}"
    return (
        f"{clock(now)}  {kept}  {tally.exchanges:,} exchanges  "
        f"{source.values_per_s:.0f} values/s  {source.status}"
    )
