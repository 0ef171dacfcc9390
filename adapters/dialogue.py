"""The adapter's side of the talk, without I/O: bytes in, a finished reply out.

A reply ends at the prompt. Nothing in here reads a clock or a port, so the same bytes
give the same reply whole, one by one, or with noise around them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bankwise.adapters.troubles import Reaction, Trouble, is_banner, split_line

PROMPT: Final = 0x3E
MOST_BYTES: Final = 8192
"""More than any reply: the adapter's own memory holds 512 bytes. Our choice."""
_LONGEST_LINE: Final = 128
"""Longer lines are cut: no answer line and no greeting is as long. Our choice."""

NO_PROMPT: Final = "no prompt"
"""The word for a reply that did not end before its deadline."""
NO_ANSWER: Final = "no answer"
"""The word for a deadline that passed without one byte of answer."""
GARBLED: Final = "garbled"
"""The word for more bytes than any reply has."""

_SIDE_REMARKS: Final = frozenset({Reaction.PROGRESS, Reaction.WARN})


@dataclass(frozen=True, slots=True)
class Reply:
    """What came back for one request.

    Attributes:
        lines: answer lines, spaces removed, capitals; echo and words removed.
        raw: the same lines as they came, for greetings.
        troubles: the adapter's words, in order.
        finished: the prompt was seen.
        restarted: the adapter greeted, so it has lost its settings.
        overlong: more bytes came than any reply has.
        echoed: the request came back before the answer.
        line_feeds: lines ended with line feeds.
    """

    lines: tuple[str, ...]
    raw: tuple[str, ...]
    troubles: tuple[Trouble, ...]
    finished: bool
    restarted: bool = False
    overlong: bool = False
    echoed: bool = False
    line_feeds: bool = False

    @property
    def trouble(self) -> Trouble | None:
        """The first word that spoils the answer, or None."""
        for trouble in self.troubles:
            if trouble.reaction not in _SIDE_REMARKS:
                return trouble
        return None

    @property
    def word(self) -> str | None:
        """Why there is no usable answer, as a session's `e`; None when there is one."""
        if self.overlong:
            return GARBLED
        if self.trouble is not None:
            return self.trouble.word
        if self.lines:
            return None
        return NO_ANSWER if self.finished else NO_PROMPT

    def says(self, reaction: Reaction) -> bool:
        """Whether one of the adapter's words asks for this reaction."""
        return any(trouble.reaction is reaction for trouble in self.troubles)


class Dialogue:
    """Collects the bytes of one reply at a time."""

    def __init__(self) -> None:
        self._asked = ""
        self._bytes = bytearray()
        self._after = bytearray()

    def begin(self, asked: str) -> int:
        """Forgets what is left over and awaits the reply to `asked`.

        Returns:
            The number of bytes thrown away.
        """
        thrown = len(self._bytes) + len(self._after)
        self._asked = asked
        self._bytes.clear()
        self._after.clear()
        return thrown

    def feed(self, data: bytes) -> Reply | None:
        """Takes bytes; gives the reply once its prompt has come, else None."""
        for position, byte in enumerate(data):
            if byte != PROMPT:
                if byte:
                    self._bytes.append(byte)
                continue
            reply = self._reply(finished=True)
            if reply.lines or reply.trouble or reply.restarted or reply.overlong:
                self._bytes.clear()
                self._after += data[position + 1 :]
                del self._after[MOST_BYTES:]
                return reply
            # A prompt without a reply belongs to something asked before.
            self._bytes.clear()
        if len(self._bytes) > MOST_BYTES:
            reply = self._reply(finished=False, overlong=True)
            self._bytes.clear()
            return reply
        return None

    @property
    def in_progress(self) -> bool:
        """Whether the adapter said that it is still searching or waking the bus."""
        compact = bytes(self._bytes).upper().replace(b" ", b"")
        return b"SEARCHING" in compact or b"BUSINIT" in compact

    @property
    def empty(self) -> bool:
        """Whether nothing has come yet."""
        return not self._bytes

    def give_up(self) -> Reply:
        """The reply as far as it came; a line without its end is dropped."""
        end = max(self._bytes.rfind(b"\r"), self._bytes.rfind(b"\n"))
        del self._bytes[end + 1 :]
        reply = self._reply(finished=False)
        self._bytes.clear()
        return reply

    def _reply(self, *, finished: bool, overlong: bool = False) -> Reply:
        lines: list[str] = []
        raw: list[str] = []
        troubles: list[Trouble] = []
        restarted = False
        text = bytes(self._bytes[:MOST_BYTES]).decode("latin-1").replace("\n", "\r")
        echo: str | None = self._asked
        for part in text.split("\r"):
            shown = "".join(c for c in part if c.isprintable()).strip()[:_LONGEST_LINE]
            line = shown.replace(" ", "").upper()
            if not line:
                continue
            if line == echo:
                echo = None
                continue
            trouble, rest = split_line(line)
            while trouble is not None:
                troubles.append(trouble)
                if not rest or rest == line:
                    break
                line = rest
                trouble, rest = split_line(line)
            if rest:
                restarted = restarted or is_banner(rest)
                lines.append(rest)
                raw.append(shown)
        return Reply(
            tuple(lines),
            tuple(raw),
            tuple(troubles),
            finished,
            restarted,
            overlong,
            echoed=echo is None,
            line_feeds=b"\n" in self._bytes,
        )
