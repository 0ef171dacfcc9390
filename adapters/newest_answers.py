"""The newest answer to each request, and in words why one gave nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from bankwise.adapters.frames import (
    Answer,
    BusFault,
    Data,
    Malformed,
    Negative,
    Silent,
    answers,
)
from bankwise.adapters.records import Exchange, Record

CAN_PROTOCOLS: Final = frozenset("6789ABC")
"""Adapter's protocol numbers that are CAN."""

_REFUSALS: Final = {
    0x10: "refused",
    0x11: "not supported",
    0x12: "not supported",
    0x13: "refused: the request's length is wrong",
    0x22: "refused: conditions not right",
    0x31: "not supported",
    0x78: "still working when asked",
}
"""Words for refusals. Source: ISO 14229 response codes, from memory."""


@dataclass(slots=True)
class NewestAnswers:
    """The newest exchange of each request, and its answers by control unit.

    Attributes:
        on_can: whether the vehicle speaks CAN.
        newest: exchanges by request.
        answers: what those say, for the requests that were to be read.
    """

    on_can: bool
    newest: dict[str, Exchange] = field(default_factory=dict)
    answers: dict[str, list[Answer]] = field(default_factory=dict)

    def payloads(self, request: str) -> dict[str, list[bytes]]:
        """Payloads by control unit, each in the order received."""
        out: dict[str, list[bytes]] = {}
        for answer in self.answers.get(request, ()):
            if isinstance(answer, Data):
                out.setdefault(answer.ecu, []).append(answer.payload)
        return out

    def trouble(self, request: str) -> tuple[str, ...]:
        """Why a request gave nothing, a sentence a cause; empty when it gave all."""
        if request not in self.newest:
            return ("never asked",)
        told = self.answers[request]
        words = [why for answer in told if (why := _why(answer))]
        if not words and not self.payloads(request):
            words.append("no answer")
        return tuple(words)


def plain(request: str) -> str:
    """The request without the expected-answer digit that adapters accept."""
    text = request.upper()
    return text[:-1] if len(text) % 2 else text


def newest_answers(
    records: Iterable[Record], protocol: str, wanted: Callable[[str], bool]
) -> NewestAnswers:
    """The newest exchange of each request to the vehicle.

    Args:
        records: in order; others than exchanges are passed over.
        protocol: the adapter's protocol number.
        wanted: which requests' answers are read; the others are only noted.
    """
    out = NewestAnswers(protocol[-1:] in CAN_PROTOCOLS)
    for record in records:
        if isinstance(record, Exchange) and record.q[:2].upper() != "AT":
            request = plain(record.q)
            if request in out.newest and record.e and not out.newest[request].e:
                continue  # an earlier good reading outlives a later silence
            out.newest[request] = record
    out.answers = {
        q: answers(exchange, protocol)
        for q, exchange in out.newest.items()
        if wanted(q)
    }
    return out


def refusal(reason: int) -> str:
    """A refusal's reason code in words."""
    return _REFUSALS.get(reason, f"refused with code {reason:02X}")


def _why(answer: Answer) -> str:
    match answer:
        case Negative():
            return f"{answer.ecu}: {refusal(answer.nrc)}"
        case BusFault():
            return f"adapter said {answer.word}"
        case Malformed():
            return f"damaged answer: {answer.why}"
        case Silent():
            return "no answer"
    return ""


def numbers_named(payload: bytes, asked_at: int, bits_at: int) -> set[int]:
    """Numbers that a support bitmap names: 32 from the one after it was asked for.

    Args:
        payload: the answer; one too short names nothing.
        asked_at: where the number that was asked for stands.
        bits_at: where the four bytes of the bitmap begin.
    """
    bits = payload[bits_at : bits_at + 4]
    if len(bits) < 4:
        return set()
    start, word = payload[asked_at], int.from_bytes(bits, "big")
    return {start + 1 + i for i in range(32) if word >> (31 - i) & 1}
