"""Evidence for the ledger: raised flags, figures that speak, codes and tests.

A flag is evidence from the moment it rose, also after it cleared. A figure becomes a
clue where it speaks for or against a cause without being worth a flag; healthy
figures are clues too, because the strongest contrary fact must always be shown.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from bankwise.signals import trouble_codes
from bankwise.signals.code_marks import OUTCOMES, latest_codes, results
from bankwise.signals.columns import Columns, Floats
from bankwise.signals.severity import Severity
from bankwise.signals.weights import WEIGHTS

RECENT_TICKS = 240
"""Two minutes of ticks: how far back a figure counts as the present one."""

REAR_RICH_V, REAR_APART_V = 0.75, 0.05
"""A rear this high, and this far above the other bank's, got the added fuel.

Source: our choice, because a good catalyst alone may hold 0.7 V on both banks.
"""

FILLING_LOW, FILLING_NORMAL, FILLING_HIGH = 0.85, 0.92, 1.1
"""Shares of the usual filling at full throttle. Source: our choice around the 0.8 of
MOTOR magazine, Dec 2003, because engines differ by some percent."""

FADE_PCT = 5.0
"""A trim this much apart between idle and load has a pattern. Source: common
practice, no source."""

ENOUGH_SWITCHES = 40.0
"""Full passes in 100 s that refute slowness. Source: GM 1999 P1133, 40 each way,
halved because both ways of a pass are what a poll can prove."""


class Signals(Protocol):
    """What is asked of the frame."""

    @property
    def ticks(self) -> Floats:
        """Tick times; shape (n,). Unit: seconds."""
        ...

    def __getitem__(self, name: str) -> Floats:
        """Values at ticks; shape (n,), NaN where there is none."""
        ...


class Raised(Protocol):
    """What is asked of a flag's record."""

    @property
    def id(self) -> str:
        """The rule's id."""
        ...

    @property
    def about(self) -> str:
        """Where it was raised."""
        ...

    @property
    def severity(self) -> Severity:
        """How urgent it is."""
        ...

    @property
    def first_s(self) -> float:
        """When it first rose. Unit: seconds."""
        ...

    @property
    def total_s(self) -> float:
        """How long it was active in all. Unit: seconds."""
        ...

    @property
    def text(self) -> str:
        """Its sentence with figures."""
        ...


@dataclass(frozen=True, slots=True)
class Clue:
    """One piece of evidence: a row of the ledger, a place, and words with figures."""

    kind: str
    about: str
    words: str


KINDS = frozenset(row.evidence for row in WEIGHTS)
"""Every kind of evidence the ledger knows."""


def clock_words(t: float) -> str:
    """A moment of the session as minutes and seconds, `2:05`."""
    return f"{int(t) // 60}:{int(t) % 60:02d}"


def signed(value: float) -> str:
    """A percentage with its sign, `+12 %` or `−12 %`."""
    return f"{value:+.0f} %".replace("-", "−")


def last(signals: Signals, name: str) -> float:
    """The newest known value of a signal, NaN when it never had one."""
    values = signals[name]
    known = np.flatnonzero(np.isfinite(values))
    return float(values[known[-1]]) if known.size else np.nan


def _recent(signals: Signals, name: str) -> float:
    """The median of the last two minutes' known values, NaN without any."""
    values = signals[name][-RECENT_TICKS:]
    values = values[np.isfinite(values)]
    return float(np.median(values)) if values.size else np.nan


def _most(signals: Signals, name: str) -> float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        values = signals[name]
        return float(np.nanmax(values)) if values.size else np.nan


def gather(
    signals: Signals, flags: Iterable[Raised], columns: Columns
) -> tuple[Clue, ...]:
    """Every clue of the session so far, flags first."""
    raised = list(flags)
    found = list(_from_flags(signals, raised))
    ids = {(flag.id, flag.about) for flag in raised}
    found += _patterns(signals, ids)
    found += _rears(signals)
    found += _healthy(signals)
    found += _from_codes(columns)
    found += _from_tests(columns)
    return tuple(clue for clue in found if clue.kind in KINDS)


# Flags.


def _from_flags(signals: Signals, flags: list[Raised]) -> Iterator[Clue]:
    limits: dict[str, int] = {}
    starved: list[Clue] = []
    places = {(flag.id, flag.about) for flag in flags}
    for flag in flags:
        words = f"{flag.text} (from {clock_words(flag.first_s)}, {flag.total_s:.0f} s)"
        kind = _kind(signals, flag, places)
        if flag.id == "trim-at-limit":
            limits[flag.about] = 1 if kind == "limit-lean" else -1
        if flag.id == "full-throttle-not-rich":
            starved.append(Clue("full-throttle-lean-both", flag.about, words))
        yield Clue(kind, flag.about, words)
    if len(limits) > 1 and set(limits.values()) == {1}:
        yield Clue("limit-lean-both", "engine", "Both banks' trims end on the add side")
    if len(starved) > 1:
        yield from starved


def _kind(signals: Signals, flag: Raised, raised: set[tuple[str, str]]) -> str:
    rear = flag.about[2:] in {"S2", "S3", "S4"}
    bank = flag.about[:2]
    k = min(int(flag.first_s * 2), len(signals.ticks) - 1)
    if flag.id == "parked-at-bias":
        return "rear-parked" if rear else "front-parked"
    if flag.id == "ignores-forcing":
        if rear:
            return "ignores-forcing-rear"
        lean = {("stuck-lean", flag.about), ("front-lean-rear-rich", bank)}
        rich = {("stuck-rich", flag.about), ("front-rich-rear-lean", bank)}
        if raised & lean:
            return "ignores-forcing-lean"
        return "ignores-forcing-rich" if raised & rich else "ignores-forcing-parked"
    if flag.id == "trim-at-limit":
        adds = signals[f"total_trim_{bank.lower()}_pct"][k] > 0
        return "limit-lean" if adds else "limit-rich"
    if flag.id == "lambda-off-command":
        lean = signals[f"lambda_error_{flag.about.lower()}_pct"][k] > 0
        return "lambda-reads-lean" if lean else "lambda-reads-rich"
    if flag.id == "low-airflow":
        return "low-airflow-one-bank"
    return flag.id


# Figures that separate causes once a pattern is there.


def _patterns(signals: Signals, raised: set[tuple[str, str]]) -> Iterator[Clue]:
    metered = last(signals, "mass_air")
    for bank in ("B1", "B2"):
        if ("one-bank-subtracting", bank) in raised:
            yield from _subtracting(signals, bank, metered)
    lean = {name for name, _ in raised} & {"both-lean", "both-lean-grows"}
    limited = {about for name, about in raised if name == "trim-at-limit"}
    if lean or len(limited) > 1:
        yield from _filling(signals, metered)
    elif any(name == "both-rich" for name, _ in raised):
        yield from _filling_rich(signals, metered)
    elif metered == 0 and any(name == "both-lean-fades" for name, _ in raised):
        yield Clue("no-airflow-meter", "engine", "This car meters air by pressure")


def _subtracting(signals: Signals, bank: str, metered: float) -> Iterator[Clue]:
    b = bank.lower()
    if metered == 0:
        words = "This car meters air by pressure: a bank short of air shows alone"
        yield Clue("subtracts-without-meter", bank, words)
    elif metered == 1:
        words = "With an airflow meter, a bank short of air makes the other one add"
        yield Clue("subtracts-with-meter", bank, words)
    idle = last(signals, f"trim_idle_{b}_pct")
    load = last(signals, f"trim_load_{b}_pct")
    words = f"{bank} trim {signed(idle)} at idle, {signed(load)} loaded"
    if load - idle >= FADE_PCT:
        yield Clue("subtracts-at-idle", bank, words)
    elif idle - load >= FADE_PCT:
        yield Clue("subtracts-with-flow", bank, words)


def _filling(signals: Signals, metered: float) -> Iterator[Clue]:
    if metered == 0:
        yield Clue("no-airflow-meter", "engine", "This car meters air by pressure")
        return
    share = last(signals, "pull_ve_ratio")
    words = f"At full throttle the metered air is {share:.0%} of what is usual"
    if share < FILLING_LOW:
        yield Clue("filling-low", "engine", words)
    elif share >= FILLING_NORMAL:
        yield Clue("filling-normal", "engine", words)


def _filling_rich(signals: Signals, metered: float) -> Iterator[Clue]:
    if metered == 0:
        yield Clue("no-airflow-meter", "engine", "This car meters air by pressure")
        return
    share = last(signals, "pull_ve_ratio")
    words = f"At full throttle the metered air is {share:.0%} of what is usual"
    if share > FILLING_HIGH:
        yield Clue("filling-high", "engine", words)
    elif share <= 1.0:
        yield Clue("rich-filling-normal", "engine", words)


def _rears(signals: Signals) -> Iterator[Clue]:
    """Whether fuel added or taken shows up behind the catalyst."""
    for b, o in (("b1", "b2"), ("b2", "b1")):
        trim = signals[f"trim_10_{b}_pct"]
        rear = signals[f"mean_5_{b}s2_v"]
        other = signals[f"mean_5_{o}s2_v"]
        for kind, sign, edge in (
            ("adds-but-rear-rich", 1, REAR_RICH_V),
            ("takes-but-rear-lean", -1, 0.2),
        ):
            at = (sign * trim >= 10) & np.isfinite(rear)
            if np.count_nonzero(at) < 120:
                continue
            mean = float(np.median(rear[at]))
            beside = other[at][np.isfinite(other[at])]
            apart = sign * (mean - float(np.median(beside))) if beside.size else 1.0
            if sign * (mean - edge) > 0 and apart > REAR_APART_V:
                amount = signed(float(np.median(trim[at])))
                words = f"{b.upper()} trim {amount}, yet the rear reads {mean:.2f} V"
                yield Clue(kind, b.upper(), words)


# Healthy figures: contrary facts.


def _healthy(signals: Signals) -> Iterator[Clue]:
    for bank in ("B1", "B2"):
        b = bank.lower()
        yield from _healthy_front(signals, f"{bank}S1")
        for position in (1, 2):
            yield from _woke(signals, f"{bank}S{position}")
        calm = last(signals, f"downstream_ratio_{b}")
        if calm < 0.4:
            words = f"{bank} rear moves {calm:.0%} of what the front does"
            yield Clue("catalyst-calm", bank, words)
        swing = signals[f"swing_120_{b}s2_v"][-RECENT_TICKS:]
        if swing.size and np.nanmax(np.append(swing, 0.0)) >= 0.5:
            most = float(np.nanmax(swing))
            yield Clue("rear-lively", f"{bank}S2", f"{bank}S2 swings {most:.2f} V")
    hottest = _most(signals, "ect_c")
    if hottest >= 80:
        yield Clue("plateau-warm", "engine", f"The coolant reached {hottest:.0f} °C")


def _healthy_front(signals: Signals, about: str) -> Iterator[Clue]:
    s = about.lower()
    now = _recent(signals, f"switches_{s}")
    if now >= 5:
        yield Clue("front-lively", about, f"{about} switches {now:.0f} times in 20 s")
    count = last(signals, f"switches_100_{s}")
    if count >= ENOUGH_SWITCHES:
        words = f"{about} switched {count:.0f} times in 100 s"
        yield Clue("front-slow-refuted", about, words)


def _woke(signals: Signals, about: str) -> Iterator[Clue]:
    woke = last(signals, f"wake_up_{about.lower()}_s")
    if woke <= 60:
        yield Clue("woke-in-time", about, f"{about} woke {woke:.0f} s after the start")


# Codes and tests.

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


def _from_codes(columns: Columns) -> Iterator[Clue]:
    newest = latest_codes(columns, columns.end_s)
    seen: set[str] = set()
    for when in ("stored", "pending", "permanent"):
        for code in newest[when].codes if when in newest else ():
            if code in seen:
                continue
            seen.add(code)
            kind, about = _code_kind(code)
            yield Clue(kind, about, f"Code {code} is {when}")


def _from_tests(columns: Columns) -> Iterator[Clue]:
    for mark, what, about in results(columns):
        if what not in ("answers-forcing", "ignores-forcing"):
            words = f"Tested at {clock_words(mark.t)}: {OUTCOMES[what]}"
            yield Clue(what, about, words)
