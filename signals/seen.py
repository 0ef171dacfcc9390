"""What a drive has shown: how far it can carry "no fault", and what it cannot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bankwise.signals.clue import NORMAL_TRIM_PCT, Signals, last, signed
from bankwise.signals.frame import Frame
from bankwise.signals.trim_map import trim_map
from bankwise.signals.windows import TICK_S

YOUNG_S = 60.0
"""What the car does not deliver is known by then. Source: our choice, because
everything is asked for within seconds."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Something a drive must show before "no fault seen" means anything.

    Attributes:
        words: what, in words.
        seconds: how long it was seen. Unit: seconds.
        need: how long it takes. Unit: seconds.
        told: whether the car delivers what would show it.
    """

    words: str
    seconds: float
    need: float
    told: bool = True

    @property
    def missing(self) -> str:
        """What is missing of it, in words; empty when enough was seen."""
        if self.seconds >= self.need:
            return ""
        if not self.told:
            return f"{self.words} (the car does not tell)"
        if not self.seconds:
            return self.words
        return f"{self.words} long enough ({self.seconds:.0f} of {self.need:.0f} s)"


def wanted(signals: Signals) -> tuple[Wanted, ...]:
    """What a drive must have shown, and how much of it was seen.

    Source: our choice, because each of these is where some fault shows alone.
    """
    banks = _banks(signals)
    rows = [
        ("idle", "idle", 30.0),
        ("cruise", "cruise", 60.0),
        ("a fuel cut", "fuel_cut", 2.0),
    ]
    # So early the status may just not have been asked yet.
    young = len(signals.ticks) * TICK_S < YOUNG_S
    return (
        Wanted("a warm engine", _warm_s(signals), 60.0),
        *(Wanted(words, _seconds(signals, name), need) for words, name, need in rows),
        *(
            Wanted(
                f"closed loop on {b.upper()}",
                _seconds(signals, f"closed_{b}"),
                60.0,
                bool(np.isfinite(signals[f"closed_{b}"]).any()) or young,
            )
            for b in banks
        ),
    )


def unseen(signals: Signals) -> tuple[str, ...]:
    """What was not seen yet, in words; empty when the drive showed enough.

    A diesel's drive never shows what is wanted, so nothing of it is waited for.
    """
    if diesel(signals):
        return ()
    return tuple(words for one in wanted(signals) if (words := one.missing))


DIESELS = frozenset({4, 19, 23})
"""Fuel types with compression ignition: diesel, hybrid diesel, diesel of two fuels.

Source: PID 51, from memory of SAE J1979."""

DIESEL = (
    "This is a diesel: it steers no mixture to λ 1, so fuel trims, oxygen sensors and "
    "catalyst were not judged; warm-up, voltage and codes were"
)


def diesel(signals: Signals) -> bool:
    """True when the car says that it burns diesel fuel."""
    return last(signals, "fuel_type") in DIESELS


def seen_share(signals: Signals) -> float:
    """How much of what a drive must show was seen, 0 to 1."""
    rows = wanted(signals)
    return sum(min(one.seconds / one.need, 1.0) for one in rows) / len(rows)


@dataclass(frozen=True, slots=True)
class Unjudged:
    """Something that no fault could have shown in, because it could not be judged.

    Attributes:
        words: what, and why, in words.
        part: what is left of "no fault" without it.
    """

    words: str
    part: float


SLOW_PART, EDGE_PART, TRIM_PART, WIDE_PART = 0.5, 0.875, 0.25, 0.875
"""What is left of "no fault" without switching, without good edges, without trims, and
where wide-band sensors' speed is not judged.

Source: our choice, because what was not judged is not known to be good; a mixture
that nobody told of is most of what there is to know.
"""


def unjudged(frame: Frame) -> tuple[Unjudged, ...]:
    """What this drive, sampling and car leave unjudged, the gravest first."""
    banks = _banks(frame)
    found = []
    mute = [b for b in banks if not np.isfinite(frame[f"closed_trim_{b}_pct"]).any()]
    if mute:
        names = " and ".join(b.upper() for b in mute)
        words = f"{names}: no fuel trim in closed loop, so the mixture was not judged"
        found.append(Unjudged(words, TRIM_PART))
    switching: list[str] = []
    wide: list[str] = []
    for s in (f"{b}s1" for b in banks):
        kind = frame[f"wideband_{s}"]
        kind = kind[np.isfinite(kind)]
        if kind.size:
            (wide if kind[-1] > 0 else switching).append(s)
    found += _pace(frame, switching)
    if wide:
        names = " and ".join(s.upper() for s in wide)
        words = f"{names}: the speed of a wide-band sensor is not judged"
        found.append(Unjudged(words, WIDE_PART))
    return tuple(found)


def _pace(frame: Frame, sensors: list[str]) -> list[Unjudged]:
    """Whether switching fronts came fast enough to say that they are quick."""
    best = [frame[f"fresh_hz_{s}"] for s in sensors]
    best = [rates[np.isfinite(rates)] for rates in best]
    if not best:
        return []
    hz = min(float(rates.max()) if rates.size else 0.0 for rates in best)
    least = frame.thresholds["switching_hz_min"]
    good = frame.thresholds["response_hz_min"]
    names = " and ".join(s.upper() for s in sensors)
    if hz < least:
        words = (
            f"{names}: {hz:.1f} fresh values a second are too few to judge switching "
            f"or response (needs {least:.0f}): a slow sensor would not have shown"
        )
        return [Unjudged(words, SLOW_PART)]
    if hz < good:
        words = (
            f"{names}: {hz:.0f} fresh values a second prove a slow edge, but too few "
            f"to call an edge good (needs {good:.0f})"
        )
        return [Unjudged(words, EDGE_PART)]
    return []


def far_trims(frame: Frame) -> list[str]:
    """Which banks needed more than a normal trim, in which cells, in words."""
    found = []
    for bank in (1, 2):
        far = [
            cell for cell in trim_map(frame, bank) if abs(cell.median) > NORMAL_TRIM_PCT
        ]
        if far:
            worst = max(far, key=lambda cell: abs(cell.median))
            found.append(
                f"B{bank} trim was {signed(worst.median)} near {worst.rpm:.0f} rpm "
                f"and {worst.load_pct:.0f} % load"
            )
    return found


def _banks(signals: Signals) -> tuple[str, ...]:
    return ("b1", "b2") if _seconds(signals, "two_banks") > 0 else ("b1",)


def _seconds(signals: Signals, name: str) -> float:
    return float(np.count_nonzero(signals[name] > 0)) * TICK_S


def _warm_s(signals: Signals) -> float:
    """How long the engine ran warm; with no coolant reading, how long it ran."""
    warm = (signals["warm"] > 0) & ~(signals["running"] == 0)
    told = np.isfinite(signals["ect_c"])
    return float(np.count_nonzero(warm & told if told.any() else warm)) * TICK_S
