"""When maker-specific values are asked for, beside the standard ones.

A control unit that must be asked by its own address needs the header set before and
put back after, so such requests go in one piece: header, reads, header. As many
standard requests come in between as the piece had, so that polling goes on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from typing import Final

from bankwise.adapters.adapter import Adapter, Asked
from bankwise.adapters.definitions import NONE, Definitions
from bankwise.adapters.gate import Permitted, permit
from bankwise.adapters.startup import payloads

FUNCTIONAL: Final = {
    "6": "ATSH7DF",
    "8": "ATSH7DF",
    "7": "ATSH18DB33F1",
    "9": "ATSH18DB33F1",
}
"""The command that asks every unit again, by protocol. Source: ISO 15765-4."""
STRIKES: Final = 3
"""Refusals in a row after which a value is no longer asked for. Our choice."""


class MakerReads:
    """The requests of one definition file, by turns.

    Attributes:
        refused: requests that the car does not answer; they are left out.
    """

    def __init__(self, definitions: Definitions = NONE) -> None:
        """Nothing is asked before `begin`."""
        self._definitions = definitions
        self._listed = definitions.listed
        self._queue: deque[Permitted] = deque()
        self._due: dict[str, float] = {}
        self._strikes: dict[str, int] = {}
        self._owed = 0
        self._restore = ""
        self._restored = 0
        self.refused: list[str] = []

    def begin(self, protocol: str, now: float) -> None:
        """A vehicle has answered: everything that it can be asked is due."""
        self._queue.clear()
        self._owed = 0
        self._restore = FUNCTIONAL.get(protocol, "")
        wide = protocol in ("7", "9")
        self._due = {
            request: now
            for request, rows in self._definitions.by_request.items()
            if request not in self.refused
            and (
                not rows[0].header
                or (self._restore and wide == rows[0].header.startswith("18DA"))
            )
        }

    def next(
        self, now: float, wanted: Mapping[str, float] | None = None
    ) -> Permitted | None:
        """What to ask now, or None when it is the standard values' turn.

        Args:
            now: session time. Unit: seconds.
            wanted: rates by signal name when only some signals are asked for.
        """
        if self._queue:
            return self._queue.popleft()
        if self._owed > 0:
            return None
        rates = {request: self._rate(request, wanted) for request in self._due}
        due = [r for r, at in self._due.items() if rates[r] > 0 and at <= now]
        if not due:
            return None
        rows = self._definitions.by_request
        header = rows[min(due, key=lambda r: self._due[r])][0].header
        mine = [request for request in due if rows[request][0].header == header]
        for request in mine:
            self._due[request] = now + 1 / rates[request]
        around = (f"ATSH{header}", self._restore) if header else ("", "")
        texts = [around[0], *mine, around[1]]
        self._queue.extend(permit(text, self._listed) for text in texts if text)
        self._owed = len(self._queue)
        return self._queue.popleft()

    def _rate(self, request: str, wanted: Mapping[str, float] | None) -> float:
        rows = self._definitions.by_request[request]
        if wanted is None:
            return max(row.rate for row in rows)
        return max(wanted.get(row.name, 0.0) for row in rows)

    def polled(self) -> None:
        """A standard request was made."""
        self._owed = max(self._owed - 1, 0)

    def ask(self, adapter: Adapter, request: Permitted, protocol: str) -> Asked:
        """Asks what `next` gave, and learns from what became of it."""
        asked = adapter.ask(request)
        text = request.text
        if text.startswith("AT"):
            ok = "OK" in asked.reply.lines
        else:
            head = self._definitions.by_request[text][0].answer_head
            told = payloads(asked, protocol)
            ok = any(payload.startswith(head) for _, payload in told)
        self._took(text, ok=ok)
        return asked

    def _took(self, request: str, *, ok: bool) -> None:
        if request.startswith("ATSH"):
            if not ok and request != self._restore:
                # Without its header a read would go to other units.
                self._queue = deque(q for q in self._queue if q.text == self._restore)
            elif not ok and self._restored < STRIKES:
                self._restored += 1
                self._queue.appendleft(permit(request))
            else:
                self._restored = 0
            return
        if ok:
            self._strikes.pop(request, None)
            return
        self._strikes[request] = self._strikes.get(request, 0) + 1
        if self._strikes[request] >= STRIKES:
            self._due.pop(request, None)
            self.refused.append(request)
