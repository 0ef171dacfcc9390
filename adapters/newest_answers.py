"""The newest answer to each request, and in words why one gave nothing.

What a control unit once told is kept when asking it again brings nothing: silence, a
refusal or a damaged frame takes nothing away. Only clearing does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from bankwise.adapters.adapter import CANCELLED
from bankwise.adapters.dialogue import GARBLED, NO_ANSWER, NO_PROMPT
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
from bankwise.adapters.troubles import BY_WORD
from bankwise.signals.clue import clock_words

CAN_PROTOCOLS: Final = frozenset("6789ABC")
"""Adapter's protocol numbers that are CAN."""

NOTHING: Final = "no answer from the car"
"""Words for silence, which is neither a refusal nor an empty list."""
_OWN_WORDS: Final = {
    NO_ANSWER: "the adapter itself did not answer in time",
    NO_PROMPT: "the adapter broke off in the middle",
    GARBLED: "the adapter sent more than any answer has",
    CANCELLED: "not waited for",
}
"""What this program notes when the adapter says nothing that can be used."""
_REPEATED: Final = {0x01: 1, 0x02: 1, 0x06: 1, 0x09: 1, 0x19: 1, 0x22: 2}
"""Bytes of the request that an answer repeats after the service's, by service."""
_UNSUPPORTED: Final = "not supported"
_BUSY: Final = 0x21
_REFUSALS: Final = {
    0x10: "refused",
    0x11: _UNSUPPORTED,
    0x12: _UNSUPPORTED,
    0x13: "refused: the request's length is wrong",
    _BUSY: "busy: ask again",
    0x22: "refused: conditions not right",
    0x31: _UNSUPPORTED,
    0x33: "refused: the control unit is locked",
    0x78: "still working when asked",
}
"""Words for refusals. Source: ISO 14229 response codes, from memory."""


CLEARING: Final = frozenset({"04", "14FFFF33"})
"""Requests that clear."""
_CLEARED: Final = (b"\x44", b"\x54")
_SURVIVES_CLEARING: Final = ("0A", "09", "195533", "22F8")
"""What clearing does not touch: permanent codes, and what a unit is. Source: 13 CCR
1968.2(d)(2.5)."""
BITMAPS: Final = frozenset(
    f"{head}{start:02X}" for head in ("01", "22F4") for start in range(0, 0x100, 0x20)
)
"""Requests whose answers tell what else can be asked; clearing leaves them be."""


@dataclass(slots=True)
class NewestAnswers:
    """The newest exchange of each request, and its answers by control unit.

    Attributes:
        on_can: whether the vehicle speaks CAN.
        newest: exchanges by request; of those that told something, where any did.
        answers: what was told, for the requests that were to be read: of each control
            unit its newest.
        again: why the last time of asking brought less than is known, by request.
    """

    on_can: bool
    newest: dict[str, Exchange] = field(default_factory=dict)
    answers: dict[str, list[Answer]] = field(default_factory=dict)
    again: dict[str, str] = field(default_factory=dict)

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
            words.append(NOTHING)
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
        if not isinstance(record, Exchange) or record.q[:2].upper() == "AT":
            continue
        request = plain(record.q)
        if wanted(request):
            _take(out, request, record, heard(record, protocol))
        elif not (record.e and request in out.newest and not out.newest[request].e):
            out.newest[request] = record
    return out


def heard(exchange: Exchange, protocol: str) -> list[Answer]:
    """What an exchange says to its own request.

    A frame left over from an earlier answer is damage, never part of this one.
    """
    head = _answer_head(plain(exchange.q))
    return [
        Malformed("an answer to another question")
        if isinstance(answer, Data) and not answer.payload.startswith(head)
        else answer
        for answer in answers(exchange, protocol)
    ]


def _answer_head(request: str) -> bytes:
    """How a positive answer begins: the service's byte, and what it repeats."""
    try:
        asked = bytes.fromhex(request)
    except ValueError:
        return b""
    if not asked:
        return b""
    repeated = _REPEATED.get(asked[0], 0)
    return bytes((asked[0] + 0x40 & 0xFF,)) + asked[1 : 1 + repeated]


def is_spoiled(told: Iterable[Answer]) -> bool:
    """Whether asking once more may bring what was damaged or put off."""
    return any(
        isinstance(answer, BusFault | Malformed)
        or (isinstance(answer, Negative) and answer.nrc == _BUSY)
        for answer in told
    )


def is_cleared(told: Iterable[Answer]) -> bool:
    """Whether a control unit says that it cleared its codes."""
    return any(isinstance(a, Data) and a.payload[:1] in _CLEARED for a in told)


def _take(
    out: NewestAnswers, request: str, exchange: Exchange, told: list[Answer]
) -> None:
    """Puts what was told now in the place of what the same units told before."""
    if request in CLEARING and is_cleared(told):
        _forget(out)
    before = [a for a in out.answers.get(request, ()) if isinstance(a, Data)]
    heard = {answer.ecu for answer in told if isinstance(answer, Data)}
    kept: list[Answer] = [answer for answer in before if answer.ecu not in heard]
    out.again.pop(request, None)
    if not kept:
        out.newest[request], out.answers[request] = exchange, told
        return
    reasons = [why for answer in told if (why := _why(answer))] or [NOTHING]
    silent = sorted({answer.ecu for answer in kept if isinstance(answer, Data)})
    whose = f" from {', '.join(silent)}" if heard else ""
    why_not = "; ".join(dict.fromkeys(reasons))
    out.again[request] = (
        f"read again at {clock_words(exchange.t)}: {why_not}; "
        f"what is shown{whose} was read before"
    )
    if heard:
        fresh = [answer for answer in told if isinstance(answer, Data)]
        out.newest[request], out.answers[request] = exchange, [*kept, *fresh]


def _forget(out: NewestAnswers) -> None:
    """Drops what clearing wiped."""
    for request in list(out.newest):
        if request not in BITMAPS and not request.startswith(_SURVIVES_CLEARING):
            del out.newest[request]
            out.answers.pop(request, None)
            out.again.pop(request, None)


def unanswered(
    asked: NewestAnswers, names: Mapping[str, str], skip: Container[str] = ()
) -> tuple[str, ...]:
    """Readings that brought nothing or not all, a sentence a kind of reading.

    A unit that says it does not support something leaves nothing unread.

    Args:
        asked: the newest answers.
        names: of the readings, by how their requests begin; longer ones first.
        skip: requests that are told of elsewhere.
    """
    failed: dict[str, list[str]] = {}
    counts: Counter[str] = Counter()
    for request in asked.answers:
        name = next((n for head, n in names.items() if request.startswith(head)), "")
        if not name or request in skip:
            continue
        counts[name] += 1
        why = [w for w in asked.trouble(request) if not w.endswith(_UNSUPPORTED)]
        if why:
            failed.setdefault(name, []).append(why[0])
    return tuple(
        f"{name}: {', '.join(dict.fromkeys(why))}"
        + (f" ({len(why)} of {counts[name]} requests)" if counts[name] > 1 else "")
        for name, why in failed.items()
    )


def again_words(asked: NewestAnswers, names: Mapping[str, str]) -> tuple[str, ...]:
    """What was read before and not again, a sentence a kind of reading.

    Args:
        asked: the newest answers.
        names: of the readings, by how their requests begin; longer ones first.
    """
    out: dict[str, str] = {}
    for request, why in asked.again.items():
        name = next((n for head, n in names.items() if request.startswith(head)), "")
        if name:
            out.setdefault(name, f"{name}: {why}")
    return tuple(out.values())


def refusal(reason: int) -> str:
    """A refusal's reason code in words."""
    return _REFUSALS.get(reason, f"refused with code {reason:02X}")


def _why(answer: Answer) -> str:
    match answer:
        case Negative():
            return f"{answer.ecu}: {refusal(answer.nrc)}"
        case BusFault():
            return _fault(answer.word)
        case Malformed():
            return f"damaged answer: {answer.why}"
        case Silent():
            return NOTHING
    return ""


def _fault(word: str) -> str:
    """What kept an answer from coming, in words, with the adapter's own word."""
    if word in _OWN_WORDS:
        return _OWN_WORDS[word]
    row = BY_WORD.get(word)
    return f"{row.text} ({word})" if row else f"the adapter said {word}"


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
