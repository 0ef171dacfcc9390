"""Clues from raised flags: which evidence a flag is, given the others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from bankwise.signals.clue import (
    SWUNG_V,
    Clue,
    Judged,
    Raised,
    Signals,
    clock_words,
    last,
    most,
    other_place,
)
from bankwise.signals.windows import TICK_S

_ALIKE: Mapping[str, tuple[str, str]] = {
    "limit-lean": ("limit-lean-both", "Both banks' trims end on the add side"),
    "limit-rich": ("limit-rich-both", "Both banks' trims end on the take side"),
    "stuck-lean": ("", ""),
    "stuck-rich": ("", ""),
    "lambda-reads-lean": ("", ""),
    "lambda-reads-rich": ("", ""),
    "full-throttle-not-rich": (
        "full-throttle-lean-both",
        "Neither bank's front reads rich at full throttle",
    ),
}
"""Kinds that say something else when both banks show them: what, and in which words."""

FAR_LEAN_PCT = 20.0
"""More oxygen than a misfire leaves: a trim follows the share of combustions that fail,
and an engine that misses every fifth hardly runs. Source: derived."""


def from_flags(signals: Judged, flags: list[Raised]) -> Iterator[Clue]:
    """The evidence that raised flags are, alike ones on both banks taken together."""
    places = {(flag.id, flag.about) for flag in flags}
    common = any(name.startswith("both-") for name, _ in places)
    found: list[Clue] = []
    for flag in flags:
        if flag.id == "parked-at-bias" and _only_cold(signals, flag):
            continue
        if _moved_later(signals, flag) or _outgrown(flag, flags):
            continue
        words = f"{flag.text} (from {clock_words(flag.first_s)}, {flag.total_s:.0f} s)"
        found.append(Clue(_kind(signals, flag, places), flag.about, words))
    kinds = {(clue.kind, clue.about) for clue in found}
    for clue in found:
        if (
            clue.kind == "late-wake-up"
            and (clue.kind, other_place(clue.about)) in kinds
        ):
            # A cold day or a strategy delays both; two heaters seldom fail together.
            words = f"{clue.words}, like the other bank's"
            yield Clue("late-wake-alike", clue.about, words)
            continue
        kind, words = _ALIKE.get(clue.kind, ("", ""))
        shared = clue.kind in _ALIKE and (clue.kind, other_place(clue.about)) in kinds
        if shared and kind and clue.about.startswith("B1"):
            yield Clue(kind, "engine", words)
        alone = not shared and not (
            common and clue.kind in ("limit-lean", "limit-rich")
        )
        if alone:
            yield clue
    for bank in ("B1", "B2"):
        pairs = {("limit-lean", bank), ("limit-rich", other_place(bank))}
        # Two banks that breathe very unalike end there too, and settle.
        if pairs <= kinds and ("crossed-sensors", "engine") in kinds:
            words = "The banks' trims stand at opposite ends"
            yield Clue("limits-opposed", "engine", words)
        pairs = {
            ("front-lean-rear-rich", bank),
            ("front-rich-rear-lean", other_place(bank)),
        }
        if pairs <= kinds:
            words = "One bank's rear says rich, the other's lean, fronts the reverse"
            yield Clue("fronts-opposed", "engine", words)


def _only_cold(signals: Signals, flag: Raised) -> bool:
    """True when a sensor was parked before it woke up, and then worked."""
    s = flag.about.lower()
    if not np.isfinite(last(signals, f"wake_up_{s}_s")):
        return False
    woke = np.flatnonzero(np.isfinite(signals[f"wake_up_{s}_s"]))[0] * TICK_S
    return bool(flag.first_s < woke)


MOVED_V = 0.3
"""A rear that moves by this much works. Source: our choice: noise stays far below, and
from rest to either end it is 0.35 V."""


def _range_since(signals: Signals, flag: Raised) -> float:
    """How far a flag's switching sensor has moved since it rose. Unit: V."""
    since = signals[f"o2_{flag.about.lower()}_v"][int(flag.first_s / TICK_S) :]
    since = since[np.isfinite(since)]
    return float(np.ptp(since)) if since.size else 0.0


def _swung_later(signals: Signals, flag: Raised) -> bool:
    """True for a front parked at its bias that came alive afterwards."""
    return _range_since(signals, flag) >= SWUNG_V


def _moved_later(signals: Signals, flag: Raised) -> bool:
    """True for a rear called dead that moved afterwards: it was cold."""
    if flag.id not in ("parked-at-bias", "rear-flat") or flag.about[2:] == "S1":
        return False
    return not flag.active and _range_since(signals, flag) >= MOVED_V


_SHAPES = (
    ("both-lean", "both-lean-fades"),
    ("both-lean", "both-lean-grows"),
    ("one-bank-lean", "one-bank-lean-fades"),
)
"""Patterns of which the later one, seen over more of the airflow, stands."""


def _outgrown(flag: Raised, flags: list[Raised]) -> bool:
    """True for a pattern that another one has replaced since."""
    rivals = {one for pair in _SHAPES if flag.id in pair for one in pair} - {flag.id}
    return any(
        other.id in rivals
        and other.about == flag.about
        and (other.active, other.first_s) > (flag.active, flag.first_s)
        for other in flags
    )


_ALONE = frozenset(
    {
        "both-rich",
        "limit-lean",
        "limit-rich",
        "stuck-lean",
        "stuck-rich",
        "lambda-reads-lean",
        "lambda-reads-rich",
    }
)
"""Kinds that on an engine with one bank speak of the whole engine as well: there both
are the same cylinders."""


def _kind(signals: Judged, flag: Raised, raised: set[tuple[str, str]]) -> str:
    kind = _kind_of(signals, flag, raised)
    alone = kind in _ALONE and not most(signals, "two_banks") > 0
    return f"{kind}-alone" if alone else kind


JUST_SHARE = 0.15
"""Beyond its limit by less than this share, a slow edge or a small swing is a hint.

Source: our choice, because the limits are those of single models and calibrations
differ by more than that, while ageing goes on to several times the limit.
"""


def _hardly(signals: Judged, flag: Raised) -> bool:
    """True where an edge or a swing passed its limit by a hair and no more."""
    s, limits = flag.about.lower(), signals.thresholds
    if flag.id == "slow-switching":
        up = most(signals, f"lr_least_{s}_ms") / limits["response_lr_ms"]
        down = most(signals, f"rl_least_{s}_ms") / limits["response_rl_ms"]
        return bool(np.fmax(up, down) < 1.0 + JUST_SHARE)
    if flag.id == "small-swing":
        swing, limit = signals[f"swing_{s}_v"], limits["swing_min_v"]
        alive = signals[f"crossings_{s}"] >= limits["switches_min"]
        small = swing[alive & (swing < limit)]
        return bool(small.size and np.median(small) > limit * (1.0 - JUST_SHARE))
    return False


def _kind_of(signals: Judged, flag: Raised, raised: set[tuple[str, str]]) -> str:
    rear = flag.about[2:] in {"S2", "S3", "S4"}
    bank = flag.about[:2]
    k = min(int(flag.first_s / TICK_S), len(signals.ticks) - 1)
    if _hardly(signals, flag):
        return f"{flag.id}-just"
    if flag.id == "parked-at-bias":
        if rear:
            return "rear-parked"
        # One that woke late and worked has gone back to sleep; a wire that breaks on
        # the way had woken in time.
        woke = np.isfinite(last(signals, f"wake_up_{flag.about.lower()}_s"))
        slept = ("late-wake-up", flag.about) in raised and woke
        swung = slept or _swung_later(signals, flag)
        return "parked-yet-swung" if swung else "front-parked"
    if flag.id == "ignores-forcing":
        if rear:
            return "ignores-forcing-rear"
        lean = {("stuck-lean", flag.about), ("front-lean-rear-rich", bank)}
        rich = {("stuck-rich", flag.about), ("front-rich-rear-lean", bank)}
        if raised & lean:
            return "ignores-forcing-lean"
        return "ignores-forcing-rich" if raised & rich else "ignores-forcing-parked"
    if flag.id == "late-wake-up":
        woke = last(signals, f"wake_up_{flag.about.lower()}_s")
        return "late-wake-up" if np.isfinite(woke) else "never-woke"
    if flag.id == "misfire-false-lean":
        trim = signals[f"trim_10_{bank.lower()}_pct"]
        far = np.nanmax(np.append(trim[k:], trim[k])) >= FAR_LEAN_PCT
        return "misfire-far-lean" if far else flag.id
    if flag.id == "trim-at-limit":
        adds = signals[f"total_trim_{bank.lower()}_pct"][k] > 0
        return "limit-lean" if adds else "limit-rich"
    if flag.id == "lambda-off-command":
        lean = signals[f"lambda_error_{flag.about.lower()}_pct"][k] > 0
        return "lambda-reads-lean" if lean else "lambda-reads-rich"
    if flag.id == "low-airflow":
        return "low-airflow-one-bank"
    return flag.id
