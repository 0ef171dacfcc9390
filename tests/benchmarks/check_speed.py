"""How long `check` takes on one hour of driving, beside parsing its JSON alone.

Run by hand: `python tests/benchmarks/check_speed.py [FILE]`. Without a file, five real
minutes of the simulated car, polled through the simulated adapter, are driven once and
repeated to 54,000 exchanges. Every figure is processor time, the best of five runs in
one process, and all are taken in the same run: everything here works on one core.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from bankwise.adapters.analysis import Analysis
from bankwise.adapters.capture import capture
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.decode import Decoder
from bankwise.adapters.records import EndRecord, Exchange, Record, SealRecord
from bankwise.adapters.seals import verify
from bankwise.adapters.session_file import SessionWriter, read_session

MINUTES = 5
EXCHANGES = 54_000
RUNS = 5


def hour(path: Path) -> None:
    """Writes a session of 54,000 exchanges."""
    story = STORIES["demo"]
    records: list[Record] = []
    link = VirtualLink(plug_in(story.car(), story.spec, seed=story.seed))
    header = capture(link, 60.0 * MINUTES, emit=records.append)
    assert header is not None
    writer = SessionWriter(path, header, durable=False)
    written = 0
    shift = 0.0
    while written < EXCHANGES:
        for record in records:
            if isinstance(record, SealRecord | EndRecord):
                continue
            if written == EXCHANGES:
                break
            writer.write(msgspec.structs.replace(record, t=record.t + shift))
            written += isinstance(record, Exchange)
        shift += records[-1].t + 0.05
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
        read = read_session(path)
        whole = Analysis(read.header)
        whole.feed(read.records)
        whole.finish()
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


def main() -> None:
    """Measures a given file, or an hour made for the purpose."""
    if len(sys.argv) > 1:
        measure(Path(sys.argv[1]))
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "hour.jsonl"
        hour(path)
        measure(path)


if __name__ == "__main__":
    main()
