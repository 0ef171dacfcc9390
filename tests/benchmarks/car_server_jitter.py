"""How late the simulated car's server answers: thread and process, idle and busy.

    python tests/benchmarks/car_server_jitter.py

Excess is the time of an exchange over TCP beyond what the timing model gives for the
same exchange, which a run in virtual time with the same seed tells. Busy means that
this process computes for 25 of every 33 ms in another thread, as a drawn screen may.
"""

from __future__ import annotations

import contextlib
import statistics
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

import serial

from bankwise.adapters.car.server import ProcessServer, ThreadServer
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.gate import permit

STORY = STORIES["demo"]
SETTING_UP = ("ATE0", "ATTP6", "ATS0", "ATH1", "ATAT0")
REQUEST = "01060C0D0514183"
ROUNDS = 300
BUSY_S, PERIOD_S = 0.025, 0.033
SWITCH_S = 0.0005


def modelled() -> list[float]:
    """What each exchange takes in virtual time. Unit: seconds."""
    car = STORY.car()
    link = VirtualLink(plug_in(car, STORY.spec, seed=STORY.seed))
    out = []
    for text in (*SETTING_UP, *[REQUEST] * ROUNDS):
        start = link.now()
        link.write(permit(text))
        said = b""
        while not said.endswith(b">"):
            said += link.read(1.0)
        out.append(link.now() - start)
    return out[len(SETTING_UP) :]


def measured(address: str) -> list[float]:
    """What each exchange takes over TCP. Unit: seconds."""
    out = []
    port: Any = serial.serial_for_url(address, timeout=3)
    with port:
        for text in (*SETTING_UP, *[REQUEST] * ROUNDS):
            start = time.perf_counter()
            port.write(text.encode() + b"\r")
            assert port.read_until(b">").endswith(b">")
            out.append(time.perf_counter() - start)
    return out[len(SETTING_UP) :]


@contextlib.contextmanager
def busy(on: bool) -> Iterator[None]:
    """Keeps another thread of this process computing."""
    done = threading.Event()

    def burn() -> None:
        while not done.is_set():
            end = time.perf_counter() + BUSY_S
            while time.perf_counter() < end:
                pass
            time.sleep(PERIOD_S - BUSY_S)

    thread = threading.Thread(target=burn, daemon=True)
    if on:
        thread.start()
    yield
    done.set()
    if on:
        thread.join()


def line(name: str, took: list[float], model: list[float]) -> str:
    """One row of the table."""
    excess = sorted((t - m) * 1000 for t, m in zip(took, model, strict=True))
    p95 = excess[int(len(excess) * 0.95)]
    rate = 6 * len(took) / sum(took)
    median = statistics.median(excess)
    return f"{name:24}{median:10.2f}{p95:10.2f}{excess[-1]:10.2f}{rate:12.0f}"


def main() -> None:
    """Runs every combination and prints the table."""
    sys.setswitchinterval(SWITCH_S)
    model = modelled()
    print(f"model: {6 * ROUNDS / sum(model):.0f} values a second, {STORY.id}")
    print(f"{'server':24}{'median':>10}{'p95':>10}{'worst':>10}{'values/s':>12}   ms")
    for name, on in (("idle", False), ("busy", True)):
        car = STORY.car()
        adapter = plug_in(car, STORY.spec, seed=STORY.seed)
        with ThreadServer(adapter) as thread, busy(on):
            print(line(f"thread, {name}", measured(thread.address), model))
        with ProcessServer(STORY.id) as process, busy(on):
            print(line(f"process, {name}", measured(process.address), model))


if __name__ == "__main__":
    main()
