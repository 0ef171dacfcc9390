"""How long `check` takes on hours of driving, beside parsing their JSON alone.

Run by hand: `python tests/benchmarks/check_speed.py [FILE | HOURS]`. Without a file,
five minutes of the simulated car, polled through the simulated adapter, are driven once
and repeated to 15 exchanges a second for so many hours (one unless said). Figures of
the first table are processor time, the best of five runs in one process; those of the
second are of the whole command in a process of its own.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from bankwise.adapters.analysis import Analysis, analyse
from bankwise.adapters.capture import capture
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.decode import Decoder
from bankwise.adapters.records import EndRecord, Exchange, Record, SealRecord
from bankwise.adapters.seals import verify
from bankwise.adapters.session_file import SessionWriter, open_session, read_session

MINUTES = 5
PER_S = 15.0
RUNS = 5


def drive(path: Path, hours: int) -> None:
    """Writes a session of so many hours with 15 exchanges a second."""
    story = STORIES["demo"]
    records: list[Record] = []
    link = VirtualLink(plug_in(story.car(), story.spec, seed=story.seed))
    header = capture(link, 60.0 * MINUTES, emit=records.append)
    assert header is not None
    count = sum(isinstance(record, Exchange) for record in records)
    span = count / PER_S
    slower = span / records[-1].t
    writer = SessionWriter(path, header, durable=False)
    wanted = int(hours * 3600 * PER_S)
    for round_ in range(wanted // count + 1):
        for record in records:
            if not isinstance(record, SealRecord | EndRecord) and wanted:
                t = round_ * span + record.t * slower
                writer.write(msgspec.structs.replace(record, t=t))
                wanted -= isinstance(record, Exchange)
    writer.close()


def best(work: Callable[[], object]) -> float:
    """The least processor time of some runs. Unit: seconds."""
    times = []
    for _ in range(RUNS):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def measure(path: Path) -> None:
    """Prints the figures for one session file."""
    data = path.read_bytes()
    lines = data.splitlines()
    parser = msgspec.json.Decoder()
    session = read_session(path)
    count = sum(isinstance(r, Exchange) for r in session.records)
    print(f"{path.name}: {count} exchanges, {len(data) / 1e6:.1f} MB")
    parse = best(lambda: parser.decode_lines(data))
    analysis = Analysis(session.header)

    def decode() -> Decoder:
        decoder = Decoder(session.header)
        decoder.feed(session.records)
        return decoder

    def judge() -> None:
        nonlocal analysis
        analysis = Analysis(session.header)
        analysis.feed(session.records)
        analysis.finish()

    def check() -> None:
        whole = analyse(open_session(path))
        whole.engine.figures()
        whole.engine.explanations()
        whole.engine.cannot_tell()

    rows = [
        ("parse JSON (standard library)", best(lambda: [json.loads(x) for x in lines])),
        ("parse JSON (msgspec, untyped)", parse),
        ("read_session", best(lambda: read_session(path))),
        ("decode to columns", best(decode)),
        ("decode and judge", best(judge)),
        ("check: read, decode, judge, explain", best(check)),
        ("verify the seals", best(lambda: verify(path))),
    ]
    for name, seconds in rows:
        ratio = seconds / parse
        print(f"  {name:38} {seconds * 1000:8.1f} ms {ratio:7.2f} x msgspec's parse")
    values = sum(len(column) for column in analysis.columns.signals.values())
    print(f"  {values} values in {len(analysis.columns.measured)} columns")
    live(path)


def live(path: Path) -> None:
    """Prints the cost of feeding records one by one, as a live drive does."""
    session = read_session(path)
    analysis = Analysis(session.header)
    some = session.records[:3000]
    start = time.process_time()
    for record in some:
        analysis.feed([record])
    taken = time.process_time() - start
    span = some[-1].t
    print(
        f"  one by one: {taken / len(some) * 1e6:.0f} us a record, "
        f"{100 * taken / span:.1f} % of one core at the rate they came"
    )


def command(*arguments: str) -> None:
    """Prints what one command costs in a process of its own."""
    start = time.perf_counter()
    running = subprocess.Popen(
        [sys.executable, "-m", "bankwise.tui.main", *arguments],
        stdout=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(running.pid, 0)
    wall = time.perf_counter() - start
    assert status == 0
    print(
        f"  bankwise {arguments[0]:8} {used.ru_utime + used.ru_stime:6.2f} s processor "
        f"{wall:6.2f} s wall {used.ru_maxrss / 1024:5.0f} MB at most"
    )


def main() -> None:
    """Measures a given file, or hours made for the purpose."""
    given = sys.argv[1] if len(sys.argv) > 1 else "1"
    if not given.isdecimal():
        command("check", given)
        measure(Path(given))
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.jsonl"
        drive(path, int(given))
        # First, while this process is small: its own memory would count.
        command("check", str(path))
        if int(given) == 1:
            measure(path)


if __name__ == "__main__":
    main()
