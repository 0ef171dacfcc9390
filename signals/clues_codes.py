"""Clues from trouble codes and from guided tests."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from bankwise.signals import trouble_codes
from bankwise.signals.clue import (
    Clue,
    Signals,
    clock_words,
    last,
    most,
    other_place,
    signed,
)
from bankwise.signals.clues_misfire import place
from bankwise.signals.code_marks import (
    OUTCOMES,
    known_codes,
    latest_codes,
    results,
)
from bankwise.signals.columns import Columns

_KINDS: Mapping[str, frozenset[str]] = {
    "code-stuck-lean": frozenset({"P2195", "P2197"}),
    "code-stuck-rich": frozenset({"P2196", "P2198"}),
    "code-slow": frozenset({"P0133", "P0153"}),
    "code-silent": frozenset({"P0134", "P0154"}),
    "code-bank-lean": frozenset({"P0171", "P0174", "P2187", "P2189", "P2191", "P2193"}),
    "code-bank-rich": frozenset({"P0172", "P0175", "P2188", "P2190", "P2192", "P2194"}),
}
"""Codes that say more than which sensor or system they are about. Source: the
numbering of SAE J2012, from memory."""

_BY_SYSTEM: Mapping[str, str] = {
    trouble_codes.HEATER: "code-heater",
    trouble_codes.CATALYST: "code-catalyst",
    trouble_codes.MISFIRE: "code-misfire",
    trouble_codes.COOLING: "code-cooling",
}


_SHARED: Mapping[str, str] = {
    "code-stuck-lean": "",
    "code-stuck-rich": "",
    "code-bank-lean": "code-both-lean",
    "code-bank-rich": "code-both-rich",
}
"""What codes say that both banks have: nothing of a sensor, or of the whole engine."""


_WHOLE = frozenset({"code-bank-lean", "code-bank-rich"})
"""A bank's codes that speak of the whole engine where its banks do not differ."""

ALIKE_PCT, ALIKE_BINS = 3.0, 2
"""Banks whose trims differ no more, in so many airflow bins, share what is wrong.

Source: our choice, because a code of one bank is set by whichever bank crosses the
limit first; limits lie at a fifth and more (Suzuki 2011), so a cause in that bank alone
would leave it far from the other.
"""

_BINS = ("idle", "low", "mid", "high")


def _whole(signals: Signals) -> tuple[str, str]:
    """How a bank's code is to be read: `alike`, `alone` or nothing; why, in words."""
    if not most(signals, "two_banks") > 0:
        return "alone", "and the engine has one bank"
    apart = np.abs([last(signals, f"imbalance_{name}_pct") for name in _BINS])
    if np.isfinite(apart).sum() < ALIKE_BINS or np.nanmax(apart) > ALIKE_PCT:
        return "", ""
    one, two = (last(signals, f"trim_road_{b}_pct") for b in ("b1", "b2"))
    return "alike", f"but both banks' trims are alike ({signed(one)} and {signed(two)})"


def _code_kind(code: str) -> tuple[str, str]:
    about = trouble_codes.about(code)
    if trouble_codes.speaks_of_crossed_sensors(code):
        return "code-crossed", "engine"
    cam = trouble_codes.cam_crank_bank(code)
    if cam:
        return "code-cam", cam
    name = trouble_codes.base(code)
    for kind, codes in _KINDS.items():
        if name in codes:
            return kind, about
    if trouble_codes.system(code) == trouble_codes.SENSOR and len(about) == 4:
        return ("code-front" if about.endswith("S1") else "code-rear"), about
    return _BY_SYSTEM.get(trouble_codes.system(code), ""), about


def from_codes(
    signals: Signals, columns: Columns, raised: set[tuple[str, str]]
) -> Iterator[Clue]:
    """What the newest reading of each set of codes speaks of, each code once."""
    found: dict[str, Clue] = {}
    for code, when in known_codes(columns).items():
        kind, about = _code_kind(code)
        if kind == "code-misfire":
            about = place(signals, raised)
        found[code] = Clue(kind, about, f"Code {code} is {when}")
    places = {(clue.kind, clue.about) for clue in found.values()}
    how, why = _whole(signals)
    for clue in found.values():
        # Two sensors that say the same speak of the mixture, not of themselves.
        alike = (clue.kind, other_place(clue.about)) in places
        if not (alike and clue.kind in _SHARED):
            if how and clue.kind in _WHOLE:
                kind = clue.kind.replace("bank", how)
                yield Clue(kind, clue.about, f"{clue.words}, {why}")
            else:
                yield clue
        elif _SHARED[clue.kind] and clue.about.startswith("B1"):
            words = f"{clue.words}, and its like on the other bank"
            yield Clue(_SHARED[clue.kind], "engine", words)
    for one, two in (("B1S1", "B2S1"), ("B2S1", "B1S1")):
        if {("code-stuck-lean", one), ("code-stuck-rich", two)} <= places:
            words = f"By its codes {one} stays lean and {two} stays rich"
            yield Clue("codes-opposed", "engine", words)


NO_CODE_S = 300.0
"""Codes read this long after a warm engine's first closed loop had time to appear.

Source: our choice: a check that runs all the time makes a pending code in minutes.
"""


def no_cam_code(
    signals: Signals, columns: Columns, bank: str, seen: set[tuple[str, str]]
) -> Iterator[Clue]:
    """That nothing was found which takes a bank's air, though there was time.

    A late cam sets a cam/crank code on its first drive, pending; a blockage shows in
    the trims as the flow grows.
    """
    since = last(signals, f"closed_first_{bank.lower()}_s")
    newest = latest_codes(columns, columns.end_s)
    sets = [newest[when] for when in ("stored", "pending") if when in newest]
    late = len(sets) == 2 and min(one.t for one in sets) >= since + NO_CODE_S
    said = any(
        trouble_codes.system(code) == trouble_codes.CAM
        for one in sets
        for code in one.codes
    )
    other = {"subtracts-with-flow", "takes-more-with-flow", "cam-off-target"}
    if late and not said and not {(name, bank) for name in other} & seen:
        yield Clue(
            "no-cam-code",
            bank,
            f"No cam code after {sets[0].t - since:.0f} s of warm running, and the "
            "trim does not grow with flow",
        )


def from_tests(columns: Columns) -> Iterator[Clue]:
    """Results of guided tests; forced ones are flags already."""
    for mark, what, about in results(columns):
        if what not in ("answers-forcing", "ignores-forcing"):
            words = f"Tested at {clock_words(mark.t)}: {OUTCOMES[what]}"
            yield Clue(what, about, words)
