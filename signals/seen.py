"""What a drive has shown: how far it can carry "no fault", and what it cannot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bankwise.signals.clue import Signals, signed
from bankwise.signals.frame import Frame
from bankwise.signals.trim_map import trim_map
from bankwise.signals.windows import TICK_S

FAR_PCT = 10.0
"""A closed-loop trim beyond this is not normal. Source: Cadillac 2006, P0174."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Something a drive must show before "no fault seen" means anything.

    Attributes:
        words: what, in words.
        seconds: how long it was seen. Unit: seconds.
        need: how long it takes. Unit: seconds.
    """

    words: str
    seconds: float
    need: float

    @property
    def missing(self) -> str:
        """What is missing of it, in words; empty when enough was seen."""
        if self.seconds >= self.need:
            return ""
        if not self.seconds:
            return self.words
        return f"{self.words} long enough ({self.seconds:.0f} of {self.need:.0f} s)"


def wanted(signals: Signals) -> tuple[Wanted, ...]:
    """What a drive must have shown, and how much of it was seen.

    Source: our choice, because each of these is where some fault shows alone.
    """
    banks = ("b1", "b2") if _seconds(signals, "two_banks") > 0 else ("b1",)
    rows = [
        ("idle", "idle", 30.0),
        ("cruise", "cruise", 60.0),
        ("a fuel cut", "fuel_cut", 2.0),
    ]
    rows += [(f"closed loop on {b.upper()}", f"closed_{b}", 60.0) for b in banks]
    return (
        Wanted("a warm engine", _warm_s(signals), 60.0),
        *(Wanted(words, _seconds(signals, name), need) for words, name, need in rows),
    )


def unseen(signals: Signals) -> tuple[str, ...]:
    """What was not seen yet, in words; empty when the drive showed enough."""
    return tuple(words for one in wanted(signals) if (words := one.missing))


def seen_share(signals: Signals) -> float:
    """How much of what a drive must show was seen, 0 to 1."""
    rows = wanted(signals)
    return sum(min(one.seconds / one.need, 1.0) for one in rows) / len(rows)


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast the switching front sensors were sampled at best.

    Attributes:
        hz: fresh values a second of the slowest of them; NaN when there is none.
        switching: fast enough to count switches.
        response: fast enough to call an edge good.
        words: what could not be judged, in words; empty when all could.
    """

    hz: float
    switching: bool
    response: bool
    words: str


def pace(frame: Frame) -> Pace:
    """Whether the front sensors came fast enough to say that they are quick."""
    best = {}
    for s in ("b1s1", "b2s1"):
        rates = frame[f"fresh_hz_{s}"]
        rates = rates[np.isfinite(rates)]
        wide = frame[f"wideband_{s}"]
        if rates.size and not (wide[np.isfinite(wide)] > 0).any():
            best[s] = float(np.max(rates))
    if not best:
        return Pace(np.nan, True, True, "")
    hz = min(best.values())
    limits = frame.thresholds
    fast = hz >= limits["switching_hz_min"]
    quick = hz >= limits["response_hz_min"]
    names = " and ".join(s.upper() for s in best)
    if not fast:
        words = (
            f"{names}: {hz:.1f} fresh values a second are too few to judge switching "
            f"or response (needs {limits['switching_hz_min']:.0f}): a slow sensor "
            "would not have shown"
        )
    elif not quick:
        words = (
            f"{names}: {hz:.0f} fresh values a second prove a slow edge, but too few "
            f"to call an edge good (needs {limits['response_hz_min']:.0f})"
        )
    else:
        words = ""
    return Pace(hz, fast, quick, words)


def far_trims(frame: Frame) -> list[str]:
    """Which banks needed more than a normal trim, in which cells, in words."""
    found = []
    for bank in (1, 2):
        far = [cell for cell in trim_map(frame, bank) if abs(cell.median) > FAR_PCT]
        if far:
            worst = max(far, key=lambda cell: abs(cell.median))
            found.append(
                f"B{bank} trim was {signed(worst.median)} near {worst.rpm:.0f} rpm "
                f"and {worst.load_pct:.0f} % load"
            )
    return found


def _seconds(signals: Signals, name: str) -> float:
    return float(np.count_nonzero(signals[name] > 0)) * TICK_S


def _warm_s(signals: Signals) -> float:
    """How long the engine ran warm; with no coolant reading, how long it ran."""
    warm = (signals["warm"] > 0) & ~(signals["running"] == 0)
    told = np.isfinite(signals["ect_c"])
    return float(np.count_nonzero(warm & told if told.any() else warm)) * TICK_S
