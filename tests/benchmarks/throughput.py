"""Values a second: a python-OBD query loop, this program, and the six-PID limit.

    python tests/benchmarks/throughput.py [--seconds 6]

All three talk to the same simulated adapter on a pseudo terminal, which runs in a
process of its own with the timing model of each of five links (control unit 8-15 ms,
adapter 1.5 ms, byte time, link latency). Twelve PIDs are asked for: the four oxygen
sensors and four trims of two banks, engine speed, air flow, load and throttle.

The limit is a bare loop that sends the best request of six PIDs with its frame digit
and reads to the prompt, without looking at the answer. First limit and ours are shown
in virtual time, where the machine's noise does not count.

With the screen busy: a thread of this process computes 25 of every 33 ms meanwhile; the
figure is the spread of the times between two values of a front oxygen sensor.
"""

from __future__ import annotations

import argparse
import logging
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from random import Random
from typing import Any

import numpy as np
import obd

from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.framing import PROTOCOLS
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.server import serve_adapter
from bankwise.adapters.car.timing import LINKS
from bankwise.adapters.car.unit import ControlUnit
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.cycle import PollCycle
from bankwise.adapters.decode import Decoder
from bankwise.adapters.gate import permit
from bankwise.adapters.link import PortLink
from bankwise.adapters.live import Live
from bankwise.adapters.recorder import new_header
from bankwise.adapters.records import Record
from bankwise.adapters.source import LinkState

LINK_NAMES = (
    "usb-38400", "usb-115200", "usb-500000",
    "bluetooth-20ms-38400", "bluetooth-30ms-115200",
)  # fmt: skip
READINGS = {
    "rpm": 1850.0, "load_pct": 30.0, "maf_gps": 9.5, "throttle_pct": 17.0,
    "stft_b1_pct": 1.6, "ltft_b1_pct": 3.1, "stft_b2_pct": -2.3, "ltft_b2_pct": 0.0,
    "o2_b1s1_v": 0.45, "o2_b1s2_v": 0.7, "o2_b2s1_v": 0.2, "o2_b2s2_v": 0.6,
}  # fmt: skip
COMMANDS = (0x0C, 0x04, 0x10, 0x11, 0x06, 0x07, 0x08, 0x09, 0x14, 0x15, 0x18, 0x19)
SIX = ("010C14180608103", "010415190709113")
"""Two requests that together carry the twelve, three frames each."""


class StillCar:
    """A car with twelve readings."""

    readings = READINGS
    key_on = True
    engine_running = True

    def advance(self, t: float) -> None:
        """Time changes nothing."""


def device(link: str) -> SimulatedAdapter:
    """The adapter of a link, in the car."""
    car = StillCar()
    unit = ControlUnit(car, UnitNames(vin="1M8GDM9AXKP042788"))
    bus = CarBus(car, [unit], PROTOCOLS["6"], seed=1)
    return SimulatedAdapter(bus, LINKS[link])


def serve(link: str) -> None:
    """Serves the adapter on a pseudo terminal until the process is ended."""
    served = device(link)
    serve_adapter(served, pty=True, ready=lambda name: print(name, flush=True))


@dataclass
class Served:
    """A served adapter, as a context manager."""

    link: str

    def __enter__(self) -> str:
        """Starts the server; gives its port."""
        self.process = subprocess.Popen(
            [sys.executable, __file__, "--serve", self.link],
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def __exit__(self, *_: object) -> None:
        """Ends the server."""
        self.process.terminate()
        self.process.wait()


def query_loop(port: str, seconds: float) -> float:
    """Values a second of python-OBD, one query after the other."""
    logging.getLogger("obd").handlers.clear()
    connection = obd.OBD(port, baudrate=115200, protocol="6", fast=True)
    table: Any = obd.commands
    commands = [table[1][pid] for pid in COMMANDS]
    for command in commands:
        connection.query(command)
    count, began = 0, time.monotonic()
    while time.monotonic() - began < seconds:
        for command in commands:
            count += not connection.query(command).is_null()
    rate = count / (time.monotonic() - began)
    connection.close()
    return rate


def bare_limit(port: str, seconds: float) -> float:
    """Values a second of a bare loop over the best requests of six PIDs."""
    link = PortLink(port)
    requests = [permit(text) for text in SIX]
    for text in ("ATWS", "ATE0", "ATL0", "ATS0", "ATH1", "ATAT1", "ATTP6", "0100"):
        link.write(permit(text))
        while not link.read(5.0).endswith(b">"):
            pass
    count, began = 0, time.monotonic()
    while time.monotonic() - began < seconds:
        link.write(requests[count % 2])
        while not link.read(2.0).endswith(b">"):
            pass
        count += 1
    rate = 6 * count / (time.monotonic() - began)
    link.close()
    return rate


def burn(stop: threading.Event) -> None:
    """Computes 25 of every 33 ms, as a busy screen would."""
    while not stop.is_set():
        end = time.monotonic() + 0.025
        while time.monotonic() < end:
            sum(range(200))
        time.sleep(0.008)


def ours(port: str, seconds: float, *, busy: bool) -> tuple[float, float, float]:
    """Values a second of this program; median and p95 interval of a front sensor."""
    live = Live(port, None, baud=115200)
    live.start()
    while live.state is not LinkState.UP:
        time.sleep(0.05)
    stop = threading.Event()
    if busy:
        threading.Thread(target=burn, args=(stop,), daemon=True).start()
    time.sleep(1.0)
    live.drain()
    start = live.now()
    records: list[Record] = []
    while live.now() < start + seconds:
        time.sleep(0.1)
        records += live.drain()
    stop.set()
    end = live.now()
    live.stop()
    assert live.header is not None
    decoder = Decoder(live.header)
    decoder.feed([record for record in records if record.t < end])
    columns = decoder.columns.measured
    # One of the twelve values, the sensor PIDs' own trim byte, is not counted twice.
    count = sum(len(column) for name, column in columns.items() if name in READINGS)
    gaps = np.diff(columns["o2_b1s1_v"].t)
    return count / (end - start), float(np.median(gaps)), float(np.percentile(gaps, 95))


def in_virtual_time(name: str, seconds: float) -> None:
    """One row without the machine's noise: limit and ours, and the sensor's intervals.

    The computer's own work takes no time here; what is left is the link, the adapter,
    the control unit, and what is asked in which order.
    """
    link = VirtualLink(device(name))
    requests = [permit(text) for text in SIX]
    for text in ("ATWS", "ATE0", "ATL0", "ATS0", "ATH1", "ATAT1", "ATTP6", "0100"):
        link.write(permit(text))
        while not link.read(5.0).endswith(b">"):
            pass
    count, began = 0, link.now()
    while link.now() - began < seconds:
        link.write(requests[count % 2])
        while not link.read(2.0).endswith(b">"):
            pass
        count += 1
    limit = 6 * count / (link.now() - began)
    cycle = PollCycle(VirtualLink(device(name)), jitter=Random(1))
    records: list[Record] = []
    while cycle.now() < seconds + 3.0:
        records += cycle.step()
    decoder = Decoder(new_header("2026-01-01T00:00:00Z", cycle.found))
    decoder.feed(records)
    columns = decoder.columns.measured
    count = sum(
        int((column.t > 3.0).sum())
        for name, column in columns.items()
        if name in READINGS
    )
    t = columns["o2_b1s1_v"].t
    gaps = np.diff(t[t > 3.0])
    median, p95 = np.median(gaps), np.percentile(gaps, 95)
    mine = count / (cycle.now() - 3.0)
    print(
        f"| {name} | {limit:.0f} | {mine:.0f} | {mine / limit:.3f} "
        f"| {1e3 * median:.1f}, {1e3 * p95:.1f} | {p95 / median:.2f} |"
    )


def main() -> None:
    """Prints the tables."""
    parser = argparse.ArgumentParser(description="values a second, side by side")
    parser.add_argument("--seconds", type=float, default=6.0)
    parser.add_argument("--serve", metavar="LINK", help="serve one adapter instead")
    parser.add_argument("--virtual", action="store_true", help="virtual time only")
    options = parser.parse_args()
    if options.serve:
        serve(options.serve)
        return
    print("In virtual time:")
    print("| link | limit | ours | ours/limit | O2 median, p95 (ms) | p95/median |")
    print("| --- | --- | --- | --- | --- | --- |")
    for link in LINK_NAMES:
        in_virtual_time(link, 60.0)
    if options.virtual:
        return
    print("In real time:")
    print(f"load average before: {os.getloadavg()[0]:.2f}")
    print("| link | query loop | ours | limit | ours/query | ours/limit | busy | "
          "O2 median, p95 busy (ms) | p95/median |")  # fmt: skip
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for link in LINK_NAMES:
        with Served(link) as port:
            limit = bare_limit(port, options.seconds)
            mine, _, _ = ours(port, options.seconds, busy=False)
            busy, median, p95 = ours(port, options.seconds, busy=True)
        with Served(link) as port:
            theirs = query_loop(port, options.seconds)
        print(
            f"| {link} | {theirs:.1f} | {mine:.0f} | {limit:.0f} | {mine / theirs:.1f} "
            f"| {mine / limit:.2f} | {busy:.0f} | {1e3 * median:.1f}, {1e3 * p95:.1f} "
            f"| {p95 / median:.2f} |",
            flush=True,
        )
    print(f"load average after: {os.getloadavg()[0]:.2f}")


if __name__ == "__main__":
    main()
