"""Clues from trouble codes and from guided tests."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from bankwise.signals import trouble_codes
from bankwise.signals.clue import Clue, clock_words
from bankwise.signals.code_marks import OUTCOMES, latest_codes, results
from bankwise.signals.columns import Columns

_LEAN = frozenset({"P2195", "P2197"})
_RICH = frozenset({"P2196", "P2198"})
_BY_SYSTEM: Mapping[str, str] = {
    trouble_codes.HEATER: "code-heater",
    trouble_codes.CATALYST: "code-catalyst",
    trouble_codes.MISFIRE: "code-misfire",
    trouble_codes.COOLING: "code-cooling",
}


def _code_kind(code: str) -> tuple[str, str]:
    about = trouble_codes.about(code)
    if trouble_codes.speaks_of_crossed_sensors(code):
        return "code-crossed", "engine"
    cam = trouble_codes.cam_crank_bank(code)
    if cam:
        return "code-cam", cam
    name = trouble_codes.base(code)
    if name in _LEAN | _RICH:
        return ("code-stuck-lean" if name in _LEAN else "code-stuck-rich"), about
    if trouble_codes.system(code) == trouble_codes.SENSOR and len(about) == 4:
        return ("code-front" if about.endswith("S1") else "code-rear"), about
    return _BY_SYSTEM.get(trouble_codes.system(code), ""), about


def from_codes(columns: Columns, raised: set[tuple[str, str]]) -> Iterator[Clue]:
    """What the newest reading of each set of codes speaks of, each code once."""
    newest = latest_codes(columns, columns.end_s)
    seen: set[str] = set()
    for when in ("stored", "pending", "permanent"):
        for code in newest[when].codes if when in newest else ():
            if code in seen:
                continue
            seen.add(code)
            kind, about = _code_kind(code)
            if kind == "code-misfire":
                # Which bank its cylinder lies in is not known; a lean bank tells.
                banks = [b for name, b in raised if name == "misfire-false-lean"]
                about = banks[0] if len(banks) == 1 else about
            yield Clue(kind, about, f"Code {code} is {when}")


def from_tests(columns: Columns) -> Iterator[Clue]:
    """Results of guided tests; forced ones are flags already."""
    for mark, what, about in results(columns):
        if what not in ("answers-forcing", "ignores-forcing"):
            words = f"Tested at {clock_words(mark.t)}: {OUTCOMES[what]}"
            yield Clue(what, about, words)
