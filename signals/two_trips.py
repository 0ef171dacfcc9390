"""Two-trip reasoning: what a code's set says about what happens next, in words.

Source: California Code of Regulations, title 13, section 1968.2 (2007 text); the
numbers of trips for lamp-off and for permanent codes are from memory of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from operator import or_

from bankwise.signals import trouble_codes
from bankwise.signals.evidence import Snapshot
from bankwise.signals.similar_conditions import Window, window_of

SOURCES = (
    "California Code of Regulations, title 13, section 1968.2 (2007 text); numbers of "
    "trips and warm-ups from memory of it"
)
"""Where the reasoning comes from, for whoever reads it."""

LAMP_OFF_TRIPS = 3
"""Fault-free driving cycles in a row before the lamp goes out. Source: from memory of
13 CCR 1968.2(d)(2)."""
ERASE_WARM_UPS = 40
"""Warm-up cycles without the fault before a stored code goes. Source: as above."""


@dataclass(frozen=True, slots=True)
class CodeStory:
    """One code with its sets and what follows from them.

    Attributes:
        code: as read.
        about: the place it names.
        system: what it belongs to.
        sets: of stored, pending, permanent: those that hold it.
        units: control units that reported it.
        text: what the sets mean, in words.
        next: what must happen for it to go, or to come on.
        window: similar conditions from its own freeze frame, when there is one.
        states: what the code's own status byte says; empty before SAE J1979-2.
    """

    code: str
    about: str
    system: str
    sets: tuple[str, ...]
    units: tuple[str, ...]
    text: str
    next: str
    window: Window | None
    states: tuple[str, ...] = ()


STATE_BITS = {
    0x01: "failing at the last test",
    0x02: "failed in this driving cycle",
    0x04: "pending",
    0x08: "confirmed",
    0x10: "not tested to the end since codes were cleared",
    0x20: "failed since codes were cleared",
    0x40: "not tested to the end in this driving cycle",
    0x80: "asks for the lamp",
}
"""Bits of a code's status byte. Source: ISO 14229-1, from memory."""


def state_words(state: int) -> tuple[str, ...]:
    """What a code's status byte says, lowest bit first."""
    return tuple(words for bit, words in STATE_BITS.items() if state & bit)


_MEANING: dict[tuple[bool, bool, bool], tuple[str, str]] = {
    (False, True, False): (
        "seen on one trip so far",
        "If it is seen again in similar conditions on the next trip, the lamp comes "
        "on.",
    ),
    (True, True, False): (
        "confirmed, and seen on this or the last trip",
        "The fault is there now. Repair it before anything is cleared.",
    ),
    (True, False, False): (
        "confirmed earlier, not seen on this or the last trip",
        f"The lamp goes out after {LAMP_OFF_TRIPS} trips in a row that look and do not "
        f"find it; the code goes after {ERASE_WARM_UPS} warm-ups.",
    ),
    (True, True, True): (
        "confirmed, kept as permanent, and seen on this or the last trip",
        "The fault is there now. The permanent copy leaves only after the car's own "
        "test has run and passed.",
    ),
    (True, False, True): (
        "confirmed and kept as permanent, not seen on this or the last trip",
        "The car's own test must run and pass, in the code's similar conditions, until "
        "the lamp is out. No tool can clear the permanent copy.",
    ),
    (False, True, True): (
        "cleared before, and seen again on one trip",
        "It came back: one more trip in similar conditions and the lamp comes on.",
    ),
    (False, False, True): (
        "cleared, but kept as permanent until the car's own test has passed",
        "Drive until the test has run and passed. No tool can clear it.",
    ),
}
"""By (stored, pending, permanent): what it means and what comes next."""

_UNREAD = "Not every set of codes could be read, so how often it was seen is not known."


def code_stories(seen: Snapshot) -> tuple[CodeStory, ...]:
    """Every code that any set holds, banks first, each with what its sets mean.

    A set that was not read whole makes the words say so instead of concluding.
    """
    sets = {when: set(reading.codes) for when, reading in seen.codes.items()}
    frames = {frame.code: frame for frame in seen.frames if frame.code}
    known = all(seen.codes[when].known for when in ("stored", "pending"))
    codes = dict.fromkeys(c for reading in seen.codes.values() for c in reading.codes)
    stories = [
        _story(code, sets, seen, frames[code].values if code in frames else {}, known)
        for code in codes
    ]
    return tuple(sorted(stories, key=lambda s: (s.about == "engine", s.about, s.code)))


def _story(
    code: str,
    sets: dict[str, set[str]],
    seen: Snapshot,
    frame: dict[str, float],
    known: bool,
) -> CodeStory:
    held = tuple(
        when for when in ("stored", "pending", "permanent") if code in sets[when]
    )
    text, follows = _MEANING["stored" in held, "pending" in held, "permanent" in held]
    units = dict.fromkeys(
        unit.unit
        for reading in seen.codes.values()
        for unit in reading.units
        if code in unit.codes
    )
    return CodeStory(
        code,
        trouble_codes.about(code),
        trouble_codes.system(code),
        held,
        tuple(units),
        text if known else f"in the {' and '.join(held)} set",
        follows if known else _UNREAD,
        window_of(frame),
        state_words(_state(code, seen)),
    )


def _state(code: str, seen: Snapshot) -> int:
    """All bits that any unit set in any reading; 0 when none told a status."""
    return reduce(
        or_,
        (state for reading in seen.codes.values() for state in reading.states(code)),
        0,
    )
