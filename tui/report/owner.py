"""The report's first page: what was found, for someone who does not repair cars.

Nothing here names a rule, a limit or a code without saying what it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import numpy as np

from bankwise.signals import trouble_codes
from bankwise.signals.catalogue import BANKS
from bankwise.signals.claims import exists
from bankwise.signals.driven import LEAST_PHASE_S
from bankwise.signals.engine import Engine, FlagSpan
from bankwise.signals.evidence import CodeReading, Snapshot
from bankwise.signals.explanations import Explanation
from bankwise.signals.phases import Phase, phases
from bankwise.signals.places import EACH_BANK
from bankwise.signals.severity import Severity
from bankwise.tui.report.owner_words import OWNER_WORDS
from bankwise.tui.words import sentence

_STRONG_SHARE, _SOME_SHARE, _WORTH_NAMING = 0.5, 0.3, 0.1
_MOST_OTHERS, _MOST_OPEN = 2, 5
_QUIET = ("no-fault-seen", "cannot-tell")

_DRIVEN = {
    "warm-up": "warming up",
    "idle": "idling",
    "cruise": "steady driving",
    "acceleration": "accelerating",
    "wide-open": "full throttle",
    "fuel-cut": "coasting",
}
"""Kinds of driving in an owner's words; the others tell an owner nothing."""

_WHAT = {
    trouble_codes.FUEL: "the fuel mixture",
    trouble_codes.SENSOR: "an oxygen sensor",
    trouble_codes.HEATER: "the heater of an oxygen sensor",
    trouble_codes.CAM: "the valve timing",
    trouble_codes.CATALYST: "a catalyst",
    trouble_codes.MISFIRE: "fuel that does not burn",
    trouble_codes.AIR: "the measuring of the air",
    trouble_codes.COOLING: "the engine's temperature",
    trouble_codes.EXHAUST: "the exhaust",
}
"""Systems of trouble codes in an owner's words."""

URGENCY = {
    Severity.STOP: "Do not drive on before it has been looked at.",
    Severity.ACT: "Have it looked at soon, and drive gently until then. If the warning "
    "lamp flashes, the engine shakes or anything smells burnt: stop.",
    Severity.WATCH: "It can wait for the next visit to a workshop. Watch whether it "
    "gets worse.",
    Severity.INFO: "Nothing that was seen speaks against driving on.",
}
"""How urgent a drive's most severe flag makes it. Source: our choice."""

CARE = {
    "flooded-catalyst": "The exhaust can get hotter than usual: do not park over dry "
    "grass, and stop when the warning lamp flashes or anything glows.",
    "clearing": "Do not let the trouble codes be erased before they have been written "
    "down: erasing destroys what they prove.",
    "fuel-pressure": "Leave the fuel lines alone: they stay under pressure.",
    "carbon-monoxide": "Do not let the engine run in a closed room: exhaust gas kills "
    "and has no smell.",
}
"""What an owner must know of a caution; the others concern the workshop."""


def owner_page(
    engine: Engine, seen: Snapshot, cleared: Snapshot | None = None
) -> dict[str, Any]:
    """What the first page says, as plain sentences.

    Args:
        engine: that watched the drive.
        seen: codes and their history.
        cleared: the same before codes were cleared in this drive; None when not.
    """
    found, flags = engine.explanations(), engine.flags
    top = found[0] if found else None
    words = OWNER_WORDS[top.id if top else "cannot-tell"]
    banks = driven_banks(engine)
    worst = max(
        (f.severity for f in flags), key=lambda s: s.rank, default=Severity.INFO
    )
    return {
        "found": words.found,
        "place": _place_sentence(top, banks),
        "strength": _strength(top, engine),
        "reports": _told(seen, cleared),
        "means": words.means,
        "urgency": URGENCY[worst],
        "advised": words.advised,
        "stop": worst is Severity.STOP,
        "open": _open(top, found, engine, banks),
        "care": _care(flags),
    }


def driven_banks(engine: Engine) -> tuple[int, ...]:
    """The banks that the car has shown anything of."""
    known = [
        bank
        for bank, place in zip(BANKS, EACH_BANK, strict=True)
        if exists(engine.frame, place)
    ]
    return tuple(known) or (1,)


def place_words(about: str, banks: tuple[int, ...] = BANKS) -> str:
    """Bank and sensor in words; the bank is left out where there is but one.

    `B2S1` is "the sensor before the catalyst, on bank 2".
    """
    if about[:1] != "B":
        return "" if about == "engine" else about
    bank = f"bank {about[1]}" if len(banks) > 1 else ""
    if about[2:3] != "S":
        return bank
    where = "before" if about[3] == "1" else "behind"
    sensor = f"the sensor {where} the catalyst"
    return f"{sensor}, on {bank}" if bank else sensor


def _place_sentence(top: Explanation | None, banks: tuple[int, ...]) -> str:
    if top is None or not (place := place_words(top.about, banks)):
        return ""
    side = {
        "1": " Bank 1 is the side of the engine with cylinder 1.",
        "2": " Bank 2 is the side of the engine without cylinder 1.",
    }
    told = side.get(top.about[1], "") if len(banks) > 1 else ""
    return f"Where: {place}.{told}"


def _strength(top: Explanation | None, engine: Engine) -> str:
    if top is None or top.id in _QUIET:
        kinds = [_DRIVEN[p.name] for p in phases(engine.frame) if _long(p)]
        return f"Seen in it: {', '.join(kinds)}." if kinds else ""
    if top.share >= _STRONG_SHARE:
        return "Much of what was seen points to this."
    if top.share >= _SOME_SHARE:
        return "More points to this than to anything else."
    return "This is one possibility among several."


def _long(phase: Phase) -> bool:
    return phase.name in _DRIVEN and phase.seconds >= LEAST_PHASE_S


def _told(seen: Snapshot, cleared: Snapshot | None) -> str:
    """What the car says, and what it said before its codes were cleared."""
    if cleared is None:
        return _reports(seen)
    return (
        f"Before its trouble codes were erased: {_reports(cleared)} "
        f"Since then: {_reports(seen)}"
    )


def _reports(seen: Snapshot) -> str:
    """What the car itself says: its lamp and its codes."""
    lamp = {True: "The warning lamp is on", False: "The warning lamp is off"}
    parts = [lamp[seen.lamp]] if seen.lamp is not None else []
    stored, pending = seen.codes["stored"], seen.codes["pending"]
    if stored.known or stored.codes:
        parts.append(_counted(stored, "the car has stored"))
    waiting = [code for code in pending.codes if code not in stored.codes]
    if waiting:
        parts.append(f"waiting to be confirmed: {_listed(waiting)}")
    if not parts:
        return "The car's own trouble codes were not read."
    return sentence("; ".join(parts)) + "."


def _counted(reading: CodeReading, told: str) -> str:
    count = len(reading.codes)
    if not count:
        return f"{told} no trouble code"
    word = "code" if count == 1 else "codes"
    return f"{told} {count} trouble {word}: {_listed(reading.codes)}"


def _listed(codes: Iterable[str]) -> str:
    """Codes with what each is about, as far as its number says so."""
    told = [(code, trouble_codes.system(code)) for code in codes]
    return ", ".join(
        code if about == trouble_codes.OTHER else f"{code} (about {_WHAT[about]})"
        for code, about in told
    )


def uncorrected(engine: Engine) -> str:
    """Which side of a two-sided engine was never corrected; empty when none."""
    banks = driven_banks(engine)
    silent = [
        bank
        for bank in banks
        if not np.isfinite(engine.frame[f"trim_10_b{bank}_pct"]).any()
    ]
    if len(banks) < 2 or not silent or len(silent) == len(banks):
        return ""
    return f"The fuel of bank {silent[0]} was not corrected at any time in this drive."


def _open(
    top: Explanation | None,
    found: list[Explanation],
    engine: Engine,
    banks: tuple[int, ...],
) -> list[str]:
    lines = [OWNER_WORDS[top.id if top else "cannot-tell"].open]
    others = [
        one
        for one in found
        if one is not top and one.id not in _QUIET and one.share >= _WORTH_NAMING
    ]
    for one in others[:_MOST_OTHERS]:
        place = place_words(one.about, banks)
        where = f" ({place})" if place else ""
        what = OWNER_WORDS[one.id].found.rstrip(".")
        lines.append(f"This could also be it{where}: {what[:1].lower()}{what[1:]}.")
    for one in found:
        if one.id == "cannot-tell" and (top is None or top.id != "no-fault-seen"):
            lines += [text for text in one.for_ if not re.search(r"\bB\d", text)]
    if any("sampled at" in limit.why for limit in engine.cannot_tell()):
        lines.append(
            "The recording is too slow to show how quickly the oxygen sensors react."
        )
    if top is None or top.id not in _QUIET:
        lines.append("No part is condemned by this drive alone.")
    return [_ended(line) for line in dict.fromkeys(lines)][:_MOST_OPEN]


def _ended(line: str) -> str:
    return line if line.endswith((".", "!", "?")) else f"{line}."


def _care(flags: list[FlagSpan]) -> list[str]:
    ids = dict.fromkeys(flag.rule.caution for flag in flags)
    return [CARE[name] for name in ids if name in CARE]
