"""Hours of driving at full rate with faults every few minutes, in virtual time.

    python tests/benchmarks/soak.py [--hours 12]

The poll cycle runs over the simulated adapter; every few minutes a cable is pulled, the
ignition is turned off, or the adapter does one of the things that adapters do. Records
go into a session file as in a drive and are read back from it. Shown an hour: values a
second while connected, link losses, records written, the memory of the process. As
many records must come
back as were kept, and every value must be the car's.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

import numpy as np

from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.framing import PROTOCOLS
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.quirks import Mishap
from bankwise.adapters.car.timing import LINKS
from bankwise.adapters.car.unit import ControlUnit
from bankwise.adapters.car.virtual import Cable
from bankwise.adapters.cycle import PollCycle
from bankwise.adapters.decode import Decoder
from bankwise.adapters.errors import LinkError
from bankwise.adapters.recorder import Recorder, new_header
from bankwise.adapters.records import (
    EndRecord,
    Header,
    LinkRecord,
    Record,
    SealRecord,
)
from bankwise.adapters.session_file import SessionTail
from bankwise.adapters.source import LinkState

READINGS = {
    "rpm": 1850.0, "load_pct": 30.0, "maf_gps": 9.5, "throttle_pct": 17.0,
    "ect_c": 88.0,
    "stft_b1_pct": 1.6, "ltft_b1_pct": 3.1, "stft_b2_pct": -2.3, "ltft_b2_pct": 0.0,
    "o2_b1s1_v": 0.45, "o2_b1s2_v": 0.7, "o2_b2s1_v": 0.2, "o2_b2s2_v": 0.6,
    "fuel_status_b1": 2.0, "fuel_status_b2": 2.0, "speed_kmh": 70.0, "module_v": 14.1,
}  # fmt: skip
STEPS = {"rpm": 0.25, "maf_gps": 0.01, "module_v": 0.01}
EVERY_S = (60.0, 300.0)
# A flipped character on CAN cannot be told from a measured one; see the tests.
MISHAPS = sorted(set(Mishap) - {Mishap.BIT_FLIP}, key=str)


class StillCar:
    """A car that keeps its readings; its key may be turned off."""

    readings = READINGS
    key_on = True
    engine_running = True

    def advance(self, t: float) -> None:
        """Time changes nothing."""


class Soak:
    """One long drive."""

    def __init__(self, path: Path, seed: int) -> None:
        self.rng = Random(seed)
        self.car = StillCar()
        unit = ControlUnit(self.car, UnitNames(vin="1M8GDM9AXKP042788"))
        bus = CarBus(self.car, [unit], PROTOCOLS["6"], seed=seed)
        self.device = SimulatedAdapter(bus, LINKS["usb-115200"])
        self.cable = Cable(self.device)
        self.cycle = PollCycle(self.cable.open(), jitter=Random(seed))
        self.kept = 0
        self.losses = 0
        self.faults: Counter[str] = Counter()
        self.recorder = Recorder(
            path,
            lambda found: new_header("2026-01-01T00:00:00Z", found),
            self.count,
            durable=False,
        )
        self.next_fault = self.rng.uniform(*EVERY_S)
        self.key_back = float("inf")
        self.up_s = 0.0
        self.values = 0.0

    def count(self, record: Record) -> None:
        """Counts what was kept."""
        self.kept += 1
        self.losses += isinstance(record, LinkRecord) and record.state == "lost"

    def fault(self) -> None:
        """One thing that goes wrong."""
        what = self.rng.choice(["cable", "key", *MISHAPS])
        self.faults[str(what)] += 1
        if what == "cable":
            self.cable._cuts = ((self.cable.now, self.cable.now + 4.0),)
        elif what == "key":
            self.car.key_on = False
            self.key_back = self.cable.now + 10.0
        else:
            assert isinstance(what, Mishap)
            for _ in range(self.rng.randint(1, 4)):
                self.device.inject(what)

    def run_until(self, until_s: float) -> None:
        """Drives on."""
        while self.cycle.now() < until_s:
            if self.cable.now >= self.next_fault:
                self.next_fault = self.cable.now + self.rng.uniform(*EVERY_S)
                self.fault()
            if self.cable.now >= self.key_back:
                self.car.key_on, self.key_back = True, float("inf")
            before = self.cycle.now()
            try:
                records = self.cycle.step()
            except LinkError as error:
                self.recorder.keep(self.cycle.lost(str(error)))
                while self.cable.cut:
                    self.cable.pass_time(0.5)
                self.cycle.relink(self.cable.open())
                continue
            self.recorder.keep(records)
            if self.cycle.found.units:
                self.recorder.begin(self.cycle.found)
            if self.cycle.state is LinkState.UP:
                spent = self.cycle.now() - before
                self.up_s += spent
                self.values += spent * self.cycle.rates.per_second(self.cycle.now())


def check(tail: SessionTail, header: Header) -> int:
    """Reads what was written since the last call; gives the number of records."""
    records = [
        record
        for record in tail.read()
        if not isinstance(record, SealRecord | EndRecord)
    ]
    decoder = Decoder(header)
    decoder.feed(records)
    for name, column in decoder.columns.measured.items():
        if name in READINGS:
            off = np.abs(column.v - READINGS[name]).max()
            assert off <= STEPS.get(name, 0.5), f"{name} is off by {off}"
    return len(records)


def main() -> None:
    """Prints a line an hour, and the verdict."""
    parser = argparse.ArgumentParser(description="hours of driving with faults")
    parser.add_argument("--hours", type=float, default=12.0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    path = Path(tempfile.mkdtemp()) / "soak.jsonl"
    soak = Soak(path, options.seed)
    print("| hour | values/s | losses | records | memory MB | took s |")
    print("| --- | --- | --- | --- | --- | --- |")
    hours = max(1, round(options.hours))
    tail: SessionTail | None = None
    read = 0
    rates: list[float] = []
    memory: list[float] = []
    for hour in range(1, hours + 1):
        began = time.monotonic()
        soak.up_s = soak.values = 0.0
        losses = soak.losses
        soak.run_until(3600.0 * options.hours * hour / hours)
        assert soak.recorder.header is not None
        tail = tail or SessionTail(path)
        read += check(tail, soak.recorder.header)
        assert read == soak.kept, "records were lost"
        rates.append(soak.values / soak.up_s)
        memory.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        print(
            f"| {hour} | {rates[-1]:.1f} | {soak.losses - losses} | {soak.kept} "
            f"| {memory[-1]:.1f} | {time.monotonic() - began:.0f} |",
            flush=True,
        )
    soak.recorder.keep(soak.cycle.rest())
    soak.recorder.finish(soak.cycle.found, soak.cycle.now())
    print(f"faults: {dict(sorted(soak.faults.items()))}")
    print(f"words heard: {dict(sorted(soak.cycle.counts.items()))}")
    print(
        f"{soak.kept} records kept and read back; every value the car's; rate "
        f"{min(rates):.1f} to {max(rates):.1f}; memory grew by "
        f"{memory[-1] - memory[0]:.1f} MB after the first hour"
    )
    path.unlink()


if __name__ == "__main__":
    main()
