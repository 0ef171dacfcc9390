"""Maker-specific values that a definition file describes: how to ask, how to read.

A value is `raw * scale + offset` of one number in an answer to service 22 or 21.
`definition_file` reads them from a file and from a session's header.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final

from bankwise.adapters.gate import Listed

BY_IDENTIFIER, BY_LOCAL = 0x22, 0x21
"""The services. Source: ISO 14229-1 and ISO 14230-3, from memory."""


@dataclass(frozen=True, slots=True)
class Definition:
    """One maker-specific value.

    Attributes:
        name: signal name of its column. `title`: in words. `unit`: as printed.
        service: 0x22 or 0x21. `id`: identifier.
        header: request header of the control unit to ask, or empty.
        start, length, signed: where the raw number stands in the answer's data.
        scale, offset: to the unit.
        rate: requests a second.
        low, high: values outside are not taken.
    """

    name: str
    service: int
    id: int
    start: int
    length: int
    low: float
    high: float
    title: str = ""
    unit: str = ""
    header: str = ""
    signed: bool = False
    scale: float = 1.0
    offset: float = 0.0
    rate: float = 1.0

    @property
    def request(self) -> str:
        """The request's text."""
        digits = 4 if self.service == BY_IDENTIFIER else 2
        return f"{self.service:02X}{self.id:0{digits}X}"

    @property
    def answer_head(self) -> bytes:
        """How an answer begins."""
        raw = bytes.fromhex(self.request)
        return bytes((raw[0] | 0x40,)) + raw[1:]

    def value(self, payload: bytes) -> float | None:
        """The value in an answer; None when it is another's, short, or not sane."""
        head = self.answer_head
        at = len(head) + self.start
        if not payload.startswith(head) or len(payload) < at + self.length:
            return None
        raw = int.from_bytes(payload[at : at + self.length], "big", signed=self.signed)
        value = raw * self.scale + self.offset
        return value if self.low <= value <= self.high else None

    def encode(self, value: float) -> bytes:
        """The data bytes up to the value's end, clipped to what they can carry."""
        raw = round((value - self.offset) / self.scale)
        bits = 8 * self.length
        low = -(1 << (bits - 1)) if self.signed else 0
        raw = min(max(raw, low), low + (1 << bits) - 1)
        return bytes(self.start) + raw.to_bytes(self.length, "big", signed=self.signed)

    def comes_from(self, unit: str) -> bool:
        """Whether this is the control unit that was asked."""
        if len(self.header) == 3:
            return unit == f"{int(self.header, 16) + 8:03X}"
        if self.header:
            return unit == f"18DAF1{self.header[4:6]}"
        return True


@dataclass(frozen=True, slots=True)
class Definitions:
    """What a definition file lists."""

    rows: tuple[Definition, ...] = ()
    by_request: Mapping[str, tuple[Definition, ...]] = field(default_factory=dict)

    @classmethod
    def of(cls, rows: Iterable[Definition]) -> Definitions:
        """A list of values, ready to ask and to read."""
        kept = tuple(rows)
        by_request: dict[str, tuple[Definition, ...]] = {}
        for row in kept:
            mine = by_request.get(row.request, ())
            by_request[row.request] = (*mine, row)
        return cls(kept, by_request)

    @property
    def listed(self) -> Listed:
        """What the gate lets pass for them."""
        return Listed(
            frozenset(row.id for row in self.rows if row.service == BY_IDENTIFIER),
            frozenset(row.id for row in self.rows if row.service == BY_LOCAL),
        )

    def as_json(self) -> list[dict[str, Any]]:
        """The rows as a session's header keeps them."""
        return [asdict(row) for row in self.rows]

    def values(
        self, request: str, answers: Sequence[tuple[str, bytes]]
    ) -> dict[str, float]:
        """Values by signal name that the answers to a request give.

        Args:
            request: as sent; a digit for expected answers is passed over.
            answers: unit and payload of every good answer.
        """
        text = request[:-1] if len(request) % 2 else request
        found: dict[str, float] = {}
        for row in self.by_request.get(text, ()):
            for unit, payload in sorted(answers):
                value = row.value(payload) if row.comes_from(unit) else None
                if value is not None:
                    found.setdefault(row.name, value)
        return found


NONE: Final = Definitions()
"""No definition file."""
