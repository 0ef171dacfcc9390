"""The typed records of a session file; the kind of each is its `k`.

Times `t` are seconds since the session began, from a monotonic clock. Unknown kinds
are `Other` and unknown keys are ignored: a reader of format 1 reads every later 1.x
file.
"""

from __future__ import annotations

from typing import Any

import msgspec

FORMAT = 1


class _Record(msgspec.Struct, frozen=True, tag_field="k", omit_defaults=True, gc=False):
    """Keys left at their default are not written."""


class AdapterInfo(msgspec.Struct, frozen=True, omit_defaults=True):
    """The adapter as it names itself, and the number of the protocol it speaks."""

    name: str = msgspec.field(default_factory=str)
    protocol: str = msgspec.field(default_factory=str)
    port: str | None = None


class Header(_Record, frozen=True, tag="session", omit_defaults=False):
    """Always the first line, once.

    `sealing` 1 promises more than the format asks: seals count up from 1 and carry
    the time of the record before them, so a check can hold them to it.
    """

    id: str
    started: str
    tool: str
    adapter: AdapterInfo
    vehicle: dict[str, Any] = {}
    format: int = msgspec.field(default=FORMAT)
    sealing: int = 0

    @property
    def simulated(self) -> bool:
        """Whether it says of itself that no real car was measured."""
        return "simulated" in f"{self.adapter.name} {self.adapter.port}".lower()


class Exchange(_Record, frozen=True, tag="x"):
    """One request and what came back.

    Attributes:
        t: moment of sending. Unit: seconds since the session began.
        q: the request as sent, hexadecimal without spaces, or an AT command.
        a: answer lines as received, spaces removed, prompt and echo removed.
        d: seconds from the send to the prompt.
        e: the adapter's error word when there was no usable answer.
    """

    t: float
    q: str
    a: tuple[str, ...]
    d: float
    e: str | None = None

    @property
    def middle(self) -> float:
        """The time given to its values: the middle of its interval."""
        return self.t + self.d / 2


class MarkRecord(_Record, frozen=True, tag="mark"):
    """A person's remark, or a step of a guided test."""

    t: float
    text: str
    tag: str | None = None


class LinkRecord(_Record, frozen=True, tag="link"):
    """The connection's life. `state`: up, lost, back, closed."""

    t: float
    state: str
    why: str | None = None


class CodesRecord(_Record, frozen=True, tag="codes"):
    """What a code read said. `when`: stored, pending, permanent."""

    t: float
    when: str
    codes: tuple[str, ...]


class FlagRecord(_Record, frozen=True, tag="flag"):
    """What the live engine told the person at that moment."""

    t: float
    id: str
    state: str
    about: str
    text: str


class ClearedRecord(_Record, frozen=True, tag="cleared"):
    """Codes were cleared on purpose. `before`: index of the snapshot's first record."""

    t: float
    before: int
    ok: bool


class SealRecord(_Record, frozen=True, tag="seal"):
    """Hash of the previous seal's digest followed by all bytes since it."""

    t: float
    n: int
    sha256: str


class EndRecord(_Record, frozen=True, tag="end"):
    """The session was closed in good order."""

    t: float


class Other(msgspec.Struct, frozen=True):
    """A record of a kind this version does not know; kept as read."""

    t: float
    raw: bytes


Record = (
    Exchange
    | MarkRecord
    | LinkRecord
    | CodesRecord
    | FlagRecord
    | ClearedRecord
    | SealRecord
    | EndRecord
    | Other
)
"""Everything that may follow the header."""
