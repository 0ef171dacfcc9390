"""What is asked beside polling: once a drive, every so often, or because a person asks.

Such requests go between polls, never two in a row, so that polling goes on beside them.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import Final

from bankwise.adapters.current_data import PLAIN
from bankwise.adapters.gate import Permitted, permit
from bankwise.adapters.plan import ODOMETER, ONCE_PIDS
from bankwise.adapters.startup import Found

PENDING_EVERY_S: Final = 30.0
"""How often pending codes are read. Common practice, no source."""
VOLTAGE_EVERY_S: Final = 5.0
"""How often the adapter's voltmeter is read when PID 42 is missing. Our choice."""
FRAME_CODE: Final = "020200"
FRAME_CONDITIONS: Final = ("020400", "020500", "020C00")
"""Load, coolant and engine speed of a freeze frame: with them the drive can look for
the same conditions from its first minute."""
HISTORY: Final = ("03", "07", "0A", FRAME_CODE, "0904")
"""Read once a drive: codes stored, pending and permanent; whether a freeze frame is
kept; calibrations."""
_FRAME_ANSWER: Final = b"\x42\x02"
_PENDING_ANSWER: Final = b"\x47"
PENDING_BY_MASK: Final = "194233041E"
HISTORY_BY_IDENTIFIER: Final = ("194233081E", PENDING_BY_MASK, "195533", "22F804")
"""The same by SAE J1979-2, from memory: status mask, severity mask of all classes."""
_VOLTAGE_PID: Final = 0x42


class Duties:
    """The requests that wait, and those that come due."""

    def __init__(self) -> None:
        self._waiting: deque[Permitted] = deque()
        self._pending = permit("07")
        self._pending_at = float("inf")
        self._voltage_at = float("inf")
        self._was_last = False
        self._codes: frozenset[bytes] = frozenset()

    def heard(self, told: Iterable[bytes]) -> None:
        """Takes what a request of these was answered with, and asks what follows.

        A frame that a code set is worth its conditions; pending codes that were not
        there before may have left a frame.
        """
        payloads = frozenset(told)
        if any(p.startswith(_FRAME_ANSWER) and any(p[3:5]) for p in payloads):
            self.ask(*FRAME_CONDITIONS)
        pending = frozenset(p for p in payloads if p.startswith(_PENDING_ANSWER))
        if pending and pending != self._codes:
            if self._codes:
                self.ask(FRAME_CODE)
            self._codes = pending

    def ask(self, *requests: str) -> None:
        """Asks these once, in order. Raises GateRefused, and then asks none."""
        self._waiting.extend([permit(text) for text in requests])

    def begin(self, found: Found, now: float, *, once: bool) -> None:
        """A vehicle has answered.

        Args:
            found: what start-up learned.
            now: session time. Unit: seconds.
            once: whether this is the drive's beginning.
        """
        plain = found.way is PLAIN
        self._pending = permit("07" if plain else PENDING_BY_MASK)
        self._pending_at = now + PENDING_EVERY_S
        self._voltage_at = now if _VOLTAGE_PID not in found.supported else float("inf")
        if not once:
            return
        history = HISTORY if plain else HISTORY_BY_IDENTIFIER
        pids = [
            found.way.request([pid])
            for pid in (*ONCE_PIDS, ODOMETER)
            if pid in found.supported and pid not in found.data
        ]
        asked = [permit(text) for text in (*history, *pids)]
        self._waiting.extendleft(reversed(asked))

    def next(self, now: float) -> Permitted | None:
        """The request whose turn it is, or None when polling has it."""
        if now >= self._pending_at:
            self._pending_at = now + PENDING_EVERY_S
            self._waiting.append(self._pending)
        if now >= self._voltage_at:
            self._voltage_at = now + VOLTAGE_EVERY_S
            return permit("ATRV")  # it does not occupy the bus
        self._was_last = bool(self._waiting) and not self._was_last
        return self._waiting.popleft() if self._was_last else None
