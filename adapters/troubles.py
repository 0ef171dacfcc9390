"""What an adapter says instead of an answer, and what each word asks of us.

One row a word. Words are compared without spaces and in capitals. The first match wins,
so longer words stand before their beginnings.
Source: data sheets of such adapters; SEARCHING as a prefix, CAN ERROR and the words of
imitations are from memory of users' reports.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum
from typing import Final


class Reaction(Enum):
    """What a word asks of us."""

    PROGRESS = "progress"
    """The adapter is busy; wait on."""
    NO_BUS = "no bus"
    """No vehicle answers on any protocol: is the ignition on? Back off."""
    SILENT = "silent"
    """This request got no answer in time."""
    BUS_FAULT = "bus fault"
    """Wiring or traffic: try twice more, then say so."""
    WRONG_PROTOCOL = "wrong protocol"
    """Look for the protocol again."""
    REJECT = "reject"
    """The answer is damaged: none of it counts."""
    TOO_MUCH = "too much"
    """The adapter's memory is full: ask for less at a time."""
    WARN = "warn"
    """A remark of the adapter beside an answer that still counts."""
    RESET = "reset"
    """The adapter lost its settings: set it up again."""
    STOPPED = "stopped"
    """We interrupted it: send again."""
    UNKNOWN = "unknown"
    """The adapter does not know this request."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One word of the adapter.

    Attributes:
        word: as written into a session's `e`, with its spaces.
        reaction: what it asks of us.
        text: what the person is told.
        prefix: it may open a line that goes on.
    """

    word: str
    reaction: Reaction
    text: str
    prefix: bool = False

    @property
    def key(self) -> str:
        """The word as compared: capitals without spaces."""
        return self.word.replace(" ", "")


_R = Reaction
_IGNITION = "the vehicle does not answer: is the ignition on?"

TROUBLES: Final[tuple[Trouble, ...]] = (
    Trouble("SEARCHING...", _R.PROGRESS, "looking for the protocol", prefix=True),
    Trouble("BUS INIT: ...ERROR", _R.NO_BUS, _IGNITION),
    Trouble("BUS INIT: ERROR", _R.NO_BUS, _IGNITION),
    Trouble("BUS INIT: ...OK", _R.PROGRESS, "waking the bus", prefix=True),
    Trouble("BUS INIT: OK", _R.PROGRESS, "waking the bus", prefix=True),
    Trouble("BUS INIT: ...", _R.PROGRESS, "waking the bus", prefix=True),
    Trouble("UNABLE TO CONNECT", _R.NO_BUS, _IGNITION),
    Trouble("NO DATA", _R.SILENT, "no answer from the vehicle"),
    Trouble("BUS BUSY", _R.BUS_FAULT, "the bus is busy"),
    Trouble("BUS ERROR", _R.BUS_FAULT, "bus error: check the diagnostic socket"),
    Trouble("FB ERROR", _R.BUS_FAULT, "bus wiring fault: check the diagnostic socket"),
    Trouble("CAN ERROR", _R.WRONG_PROTOCOL, "the CAN bus does not acknowledge"),
    Trouble("DATA ERROR", _R.REJECT, "damaged answer"),
    Trouble("RX ERROR", _R.REJECT, "damaged answer"),
    Trouble("BUFFER FULL", _R.TOO_MUCH, "the adapter's memory is full"),
    Trouble("!ACT ALERT", _R.WARN, "the adapter is about to go to sleep"),
    Trouble("ACT ALERT", _R.WARN, "the adapter is about to go to sleep"),
    Trouble("!LP ALERT", _R.WARN, "the adapter is about to go to sleep"),
    Trouble("LP ALERT", _R.WARN, "the adapter is about to go to sleep"),
    Trouble("LV RESET", _R.RESET, "supply voltage dropped and the adapter restarted"),
    Trouble("ERR94", _R.RESET, "the adapter met a fatal CAN fault: replug it"),
    Trouble("STOPPED", _R.STOPPED, "interrupted"),
    Trouble("?", _R.UNKNOWN, "the adapter does not know this request"),
)
"""Every word known, in the order they are tried."""

BY_WORD: Final = {row.word: row for row in TROUBLES}

_OTHER_ERROR = re.compile(r"ERR\d\d")
_BANNER = re.compile(r"[A-Z][A-Z0-9]*V\d+\.\d+\w*")
_HEX = re.compile(r"[0-9A-F]+")


def is_hex(line: str) -> bool:
    """Whether a line holds hexadecimal digits and nothing else."""
    return _HEX.fullmatch(line) is not None


def is_banner(line: str) -> bool:
    """Whether a line is the greeting that an adapter gives after a restart."""
    return _BANNER.fullmatch(line) is not None


def split_line(line: str) -> tuple[Trouble | None, str]:
    """The adapter's word in a line, and what else the line says.

    A damaged line is kept whole, so that the session shows what came.

    Args:
        line: capitals, no spaces.
    """
    for row in TROUBLES:
        key = row.key
        if line == key:
            return row, ""
        if row.prefix and line.startswith(key):
            return row, line[len(key) :]
        if row.reaction is _R.REJECT and key in line:
            return row, line
    if _OTHER_ERROR.fullmatch(line):
        return Trouble(line, _R.RESET, "the adapter met an internal fault"), ""
    return None, line
