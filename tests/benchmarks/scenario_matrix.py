"""Every simulated fault on many random cars: what is said, how early, how often wrong.

Run by hand, for example:

    python tests/benchmarks/scenario_matrix.py
    python tests/benchmarks/scenario_matrix.py --faults worn-catalyst --seeds 2 -v
    python tests/benchmarks/scenario_matrix.py --healthy-hours 100
    python tests/benchmarks/scenario_matrix.py --pairs --seeds 3 --rates 12

Each run draws a car and a drive. The unit's readings are sampled as an adapter would
deliver them (one answer's values share a time, bytes round them, asking jitters) and
go straight to the engine; the bytes themselves are proven elsewhere.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from random import Random

import numpy as np

from bankwise.adapters.car.drive import DRIVES, Drive, random_drive
from bankwise.adapters.car.faults import FAULTS, Fault
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec
from bankwise.adapters.pids import PIDS, Layout, signal_name
from bankwise.signals.catalogue import SIGNALS, Pace
from bankwise.signals.columns import CodeRead, Columns, Floats, Vehicle
from bankwise.signals.engine import Engine
from bankwise.signals.severity import Severity

BASE_S = 0.08
"""Interval of the fastest sampling, 12.5 Hz; slower ones are every n-th of it."""

RATES = {12: 1, 4: 3, 1: 12}
"""Fast samples a second → how many base intervals apart."""

INTERVAL_S = 0.05
"""Length of a request-to-answer interval. Source: a typical CAN adapter."""

_MEDIUM, _SLOW = 6, 60
PAIRS = (
    ("front-sensor-reads-lean", "rear-sensor-dead"),
    ("front-sensor-reads-lean", "rear-sensor-unplugged"),
    ("front-sensor-reads-lean", "misfire"),
    ("bank-breathes-less", "front-sensor-aged"),
    ("bank-exhaust-choked", "front-sensor-aged"),
)
"""Two faults at once, on one bank: the front floods the rear or makes the bank misfire,
and a tired engine has a tired sensor."""

ANYWHERE = frozenset({"misfire"})
"""Right when said of the engine too: a random misfire's code names no bank."""

SWITCHING_FLAGS = frozenset(
    {"sensor-not-switching", "slow-switching", "slow-one-way", "small-swing"}
)


@dataclass(frozen=True, slots=True)
class Job:
    """One drive of one car, judged at every rate.

    `fault` may be two of them, joined by a plus.
    """

    fault: str
    mass_air: bool | None
    wideband: bool | None
    seed: int
    seconds: float = 600.0
    codes: bool = True
    rates: tuple[int, ...] = tuple(RATES)

    @property
    def draw(self) -> str:
        """What its car and drive are drawn by: each job has its own."""
        return f"{self.fault} {self.mass_air} {self.wideband} {self.seed}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was said of one drive at one rate."""

    job: Job
    rate: int
    car: str
    flags: tuple[tuple[str, str, str, float, float, str], ...]
    ranked: tuple[tuple[str, str, float], ...]
    truth: tuple[str | None, str]
    also: tuple[str | None, str] | None
    facts: str


@lru_cache(maxsize=1)
def steps() -> dict[str, tuple[float, float]]:
    """Scale and offset that the bytes round each signal to."""
    found: dict[str, tuple[float, float]] = {}
    for pid in PIDS.values():
        for field in pid.fields:
            name = signal_name(field, pid, Layout.TWO_BANKS)
            found.setdefault(name, (field.scale, field.offset))
    return found


CODES_S = 30.0
"""How often the codes are read, as the live poll schedule does."""


def sample(
    car: Car,
    seconds: float,
    seed: int,
    codes: bool = True,
    rates: Iterable[int] = tuple(RATES),
) -> dict[int, Columns]:
    """Drives the car and samples it at every rate of `RATES`."""
    read: list[CodeRead] = []
    due = CODES_S
    rng = np.random.default_rng(seed)
    n = int(seconds / BASE_S)
    jitter = rng.uniform(-0.015, 0.015, n)
    series: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for k in range(n):
        car.advance(k * BASE_S + 0.06)
        if codes and car.t >= due:
            due += CODES_S
            read.append(CodeRead(car.t, "stored", tuple(car.monitors.stored)))
            read.append(CodeRead(car.t, "pending", tuple(car.monitors.pending)))
        if not car.key_on:
            continue
        for name, value in car.readings.items():
            series[name].append((k, value))
    out: dict[int, Columns] = {}
    for rate in rates:
        every = RATES[rate]
        columns = Columns(vehicle=Vehicle(displacement_l=car.spec.displacement_l))
        for name, rows in series.items():
            pace = SIGNALS[name].pace
            apart = {Pace.FAST: 1, Pace.MEDIUM: _MEDIUM}.get(pace, _SLOW)
            apart = max(apart, every)
            picked = [row for row in rows if row[0] % apart == 0]
            at = np.array([row[0] for row in picked])
            raw = np.array([row[1] for row in picked])
            scale, offset = steps().get(name, (0.001, 0.0))
            rounded: Floats = np.round((raw - offset) / scale) * scale + offset
            t: Floats = at * BASE_S + 0.06 + jitter[at]
            columns.extend(name, t, rounded, np.full(len(t), INTERVAL_S))
        columns.codes.extend(read)
        columns.end_s = n * BASE_S
        out[rate] = columns
    return out


def make(job: Job) -> tuple[Car, tuple[Fault, ...]]:
    """The car of a job and its faults; none when it cannot have them."""
    rng = Random(job.draw)
    fixed: dict[str, object] = {}
    found = [FAULTS[name] for name in job.fault.split("+")]
    if job.mass_air is not None:
        fixed["mass_air"] = job.mass_air
    if job.wideband is not None:
        fixed["wideband"] = job.wideband
    if any("two_banks" in fault.needs for fault in found):
        fixed["banks"] = 2
    spec = CarSpec.random(rng, **fixed)
    placed = any("{}" in fault.place for fault in found)
    bank = 1 + (rng.randrange(spec.banks) if placed else 0)
    faults = tuple(fault.on(bank) for fault in found)
    if not all(fault.fits(spec) for fault in faults):
        return Car(spec, (), DRIVES["bay"], 0), ()
    drive: Drive = random_drive(rng, job.seconds)
    cold = job.fault in COLD_STARTS or rng.random() < 0.3
    start = None if cold else rng.uniform(60.0, 90.0)
    settled = rng.random() < 0.5
    sick = () if job.fault == "healthy" else faults
    seed = rng.randrange(1 << 30)
    return Car(spec, sick, drive, seed, start, settled=settled), faults


COLD_STARTS = frozenset({"thermostat-open", "cold-heater", "rear-cold-heater"})
"""Faults that only a cold start shows."""


def judge(job: Job) -> list[Verdict]:
    """Drives a job once and judges it at every rate."""
    if job.fault in ("thermostat-open",):
        job = replace(job, seconds=max(job.seconds, 1500.0))
    car, faults = make(job)
    if not faults:
        return []
    spec = car.spec
    facts = (
        f"{spec.banks} banks {'MAF' if spec.mass_air else 'MAP'} "
        f"{'wide' if spec.wideband else 'narrow'} {spec.ambient_c:.0f} °C "
        f"sev {car.severities}"
    )
    verdicts = []
    for rate, columns in sample(
        car, job.seconds, job.seed, job.codes, job.rates
    ).items():
        engine = Engine()
        engine.advance(columns, columns.end_s)
        flags = tuple(
            (f.id, f.about, f.severity.value, f.first_s, f.total_s, f.text)
            for f in engine.flags
        )
        ranked = tuple((e.id, e.about, e.share) for e in engine.explanations())
        truth, *more = [(fault.explanation, fault.about) for fault in faults]
        also = more[0] if more else None
        verdicts.append(
            Verdict(job, rate, spec.name, flags, ranked, truth, also, facts)
        )
    return verdicts


def rank_of(verdict: Verdict) -> int:
    """Place of the right explanation, 1 first; 0 when it is not there.

    A healthy drive is right when nothing is blamed.
    """
    return place_of(verdict, verdict.truth)


def place_of(verdict: Verdict, truth: tuple[str | None, str]) -> int:
    """Place of one explanation, 1 first; 0 when it is not there."""
    want, about = truth
    if want is None:
        return 1 if verdict.ranked[0][0] in ("no-fault-seen", "cannot-tell") else 0
    for place, (name, where, _) in enumerate(verdict.ranked, 1):
        if name == want and (
            where == about or (want in ANYWHERE and where == "engine")
        ):
            return place
    return 0


def print_pairs(verdicts: list[Verdict]) -> None:
    """Prints how often both of two faults were named, and how early."""
    for rate in RATES:
        rows = [v for v in verdicts if v.rate == rate and v.also]
        if not rows:
            continue
        print(f"\n== {rate} Hz: {len(rows)} drives with two faults")
        print(f"{'faults':48}{'n':>4}{'named':>7}{'top three':>11}")
        for name in dict.fromkeys(v.job.fault for v in rows):
            both = [
                (place_of(v, v.truth), place_of(v, v.also))
                for v in rows
                if v.job.fault == name and v.also
            ]
            named = sum(min(pair) > 0 for pair in both)
            early = sum(min(pair) > 0 and max(pair) <= 3 for pair in both)
            print(f"{name:48}{len(both):>4}{named:>7}{early:>11}")


def urgent(verdict: Verdict) -> list[tuple[str, str, str, float, float, str]]:
    """The act and stop flags of a verdict."""
    return [f for f in verdict.flags if f[2] in ("act", "stop")]


def loudest(verdict: Verdict) -> Severity:
    """The most urgent severity raised."""
    return max((Severity(f[2]) for f in verdict.flags), default=Severity.INFO)


def first_told(verdict: Verdict) -> float:
    """When the first watch, act or stop flag rose; infinite when none did."""
    told = [f[3] for f in verdict.flags if f[2] != "info"]
    return min(told, default=float("inf"))


def jobs_of(
    faults: Iterable[str],
    kinds: Iterable[tuple[bool, bool]],
    seeds: int,
    seconds: float,
    codes: bool,
) -> Iterator[Job]:
    """Every combination asked for."""
    for fault in faults:
        for mass_air, wideband in kinds:
            for seed in range(1, seeds + 1):
                yield Job(fault, mass_air, wideband, seed, seconds, codes)


def print_matrix(verdicts: list[Verdict], verbose: bool) -> None:
    """Prints the confusion table, the shares and the times."""
    for rate in RATES:
        rows = [v for v in verdicts if v.rate == rate]
        if not rows:
            continue
        by_fault: dict[str, list[Verdict]] = defaultdict(list)
        for v in rows:
            by_fault[v.job.fault].append(v)
        print(f"\n== {rate} Hz: {len(rows)} drives")
        print(
            f"{'fault':28}{'n':>4}{'first':>7}{'two':>6}{'t med':>7}{'t max':>7}  said"
        )
        for fault, group in by_fault.items():
            ranks = [rank_of(v) for v in group]
            times = [first_told(v) for v in group]
            known = [t for t in times if np.isfinite(t)]
            said = Counter(v.ranked[0][0] for v in group).most_common(4)
            median = f"{np.median(known):.0f}" if known else "-"
            worst = f"{max(known):.0f}" if len(known) == len(times) else "never"
            print(
                f"{fault:28}{len(group):>4}{sum(r == 1 for r in ranks):>7}"
                f"{sum(r in (1, 2) for r in ranks):>6}{median:>7}{worst:>7}  "
                + ", ".join(f"{name} {n}" for name, n in said)
            )
        sick = [v for v in rows if v.truth[0] is not None]
        if sick:
            first = sum(rank_of(v) == 1 for v in sick) / len(sick)
            two = sum(rank_of(v) in (1, 2) for v in sick) / len(sick)
            print(f"right explanation first {first:.1%}, in the first two {two:.1%}")
        well = [v for v in rows if v.truth[0] is None]
        if well:
            loud = sum(bool(urgent(v)) for v in well)
            print(f"healthy drives with an act or stop flag: {loud} of {len(well)}")
        slow = [
            v for v in rows if rate == 1 and SWITCHING_FLAGS & {f[0] for f in v.flags}
        ]
        if rate == 1:
            print(f"verdicts on switching at 1 Hz: {len(slow)}")
    if verbose:
        for v in verdicts:
            print_verdict(v)


def print_verdict(v: Verdict) -> None:
    """Prints one verdict in full."""
    print(
        f"\n-- {v.job.fault} seed {v.job.seed} {v.rate} Hz: {v.facts} rank {rank_of(v)}"
    )
    for name, about, severity, first, total, text in v.flags:
        print(f"   {severity:6}{name:24}{about:8}{first:6.0f}{total:6.0f}  {text}")
    print("   ", ", ".join(f"{n} {a} {s:.2f}" for n, a, s in v.ranked[:5]))


def print_healthy(verdicts: list[Verdict]) -> None:
    """Prints what healthy drives raised, rate by rate."""
    for rate in RATES:
        rows = [v for v in verdicts if v.rate == rate]
        if not rows:
            continue
        hours = sum(v.job.seconds for v in rows) / 3600
        loud = [v for v in rows if urgent(v)]
        print(f"\n== {rate} Hz: {len(rows)} healthy drives, {hours:.1f} h")
        print(f"drives with an act or stop flag: {len(loud)}")
        count = Counter((f[2], f[0]) for v in rows for f in v.flags)
        for (severity, name), n in sorted(count.items()):
            print(f"   {severity:6}{name:28}{n:>5}")
        print("   said:", Counter(v.ranked[0][0] for v in rows).most_common())
        for v in loud[:20]:
            print_verdict(v)


def main() -> int:
    """Runs what was asked for and prints the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faults", nargs="*", default=list(FAULTS))
    parser.add_argument(
        "--kinds",
        nargs="*",
        default=["maf-narrow", "maf-wide", "map-narrow", "map-wide"],
    )
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--healthy-hours", type=float, default=0.0)
    parser.add_argument("--pairs", action="store_true", help="two faults at once")
    parser.add_argument("--no-codes", action="store_true")
    parser.add_argument("--rates", nargs="*", type=int, default=list(RATES))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("-v", "--verbose", action="store_true")
    asked = parser.parse_args()
    began = time.monotonic()
    if asked.healthy_hours:
        count = int(asked.healthy_hours * 3600 / asked.seconds)
        jobs = [
            Job(
                "healthy",
                None,
                None,
                asked.first_seed + k,
                asked.seconds,
                rates=tuple(asked.rates),
            )
            for k in range(count)
        ]
    else:
        kinds = [(k.startswith("maf"), k.endswith("wide")) for k in asked.kinds]
        faults = ["+".join(pair) for pair in PAIRS] if asked.pairs else asked.faults
        jobs = [
            replace(job, seed=job.seed + asked.first_seed - 1, rates=tuple(asked.rates))
            for job in jobs_of(
                faults, kinds, asked.seeds, asked.seconds, not asked.no_codes
            )
        ]
    verdicts: list[Verdict] = []
    with ProcessPoolExecutor(asked.workers) as pool:
        for done, found in enumerate(pool.map(judge, jobs, chunksize=1), 1):
            verdicts += found
            if sys.stderr.isatty():
                print(f"\r{done} of {len(jobs)}", end="", file=sys.stderr)
    if asked.healthy_hours:
        print_healthy(verdicts)
    elif asked.pairs:
        print_pairs(verdicts)
    else:
        print_matrix(verdicts, asked.verbose)
    print(f"\n{len(jobs)} drives in {time.monotonic() - began:.0f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
