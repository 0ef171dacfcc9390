"""Coverage-guided fuzzing of everything that takes bytes from outside, by hand.

    python tests/benchmarks/fuzz.py TARGET [--seconds 60]

Targets: `dialogue` (bytes to a reply, whole and in chunks; what passes the gate),
`frames` (lines to messages), `decode` (bytes to columns), `session` (a session file).
Needs atheris, which is not among the test dependencies because it is built for few
systems. An exception other than the documented ones ends the run with the bytes that
caused it; otherwise the number of cases tried is printed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import atheris as _atheris  # type: ignore[import-not-found, import-untyped, unused-ignore]
import numpy as np

atheris: Any = _atheris

with atheris.instrument_imports(include=["bankwise"]):
    from bankwise.adapters.decode import Decoder
    from bankwise.adapters.dialogue import MOST_BYTES, Dialogue, Reply
    from bankwise.adapters.errors import GateRefused, SessionError
    from bankwise.adapters.frames import answers
    from bankwise.adapters.gate import permit, wire
    from bankwise.adapters.records import AdapterInfo, Exchange, Header
    from bankwise.adapters.session_file import read_session

REQUESTS = (
    "010C06071418103",
    "0100",
    "03",
    "0902",
    "ATRV",
    "22F40CF40D3",
    "0104",
    "07",
)
PROTOCOLS = ("6", "7", "1", "3", "5", "")
SEEDS = (
    b"\x00\x007E81010410C1AF80678\r7E8210783145A8018\r7E82214901003840000\r\r>",
    b"\x01\x0018DAF110064100BE3FA813\r\r>",
    b"\x02\x007E8024300\r\r>SEARCHING...\r?\rNO DATA\r>",
    b"\x06\x02486B1041045578\r\r>",
    b'{"k":"session","format":1,"id":"x","started":"y","tool":"z","adapter":'
    b'{"name":"a","protocol":"6"},"vehicle":{}}\n{"k":"x","t":1.0,"q":"010C1",'
    b'"a":["7E804410C1AF8"],"d":0.02}\n{"k":"end","t":2.0}\n',
)
HEADER = Header("id", "2026-01-01T00:00:00Z", "fuzz", AdapterInfo("a", "6"))


def reply_to(request: str, data: bytes, chunk: int) -> Reply:
    """The reply to bytes in chunks."""
    dialogue = Dialogue()
    dialogue.begin(request)
    for at in range(0, len(data), chunk):
        reply = dialogue.feed(data[at : at + chunk])
        if reply is not None:
            return reply
    return dialogue.give_up()


def dialogue(data: bytes) -> None:
    """Any bytes give a reply, the same in chunks, and only reads pass the gate."""
    request = REQUESTS[data[0] % len(REQUESTS)] if data else "0100"
    data = data[: MOST_BYTES - 1]
    whole = reply_to(request, data, MOST_BYTES)
    assert reply_to(request, data, 1 + len(data) % 7) == whole
    text = data[:20].decode("latin-1")
    try:
        sent = wire(permit(text))
    except GateRefused:
        return
    assert sent[:2] in (b"01", b"02", b"03", b"06", b"07", b"09", b"0A", b"19", b"22",
                        b"AT")  # fmt: skip


def exchange_of(data: bytes) -> tuple[Exchange, str]:
    """A request and protocol from the first two bytes, the answer from the rest."""
    request = REQUESTS[data[0] % len(REQUESTS)] if data else "0100"
    protocol = PROTOCOLS[data[1] % len(PROTOCOLS)] if len(data) > 1 else "6"
    reply = reply_to(request, data[2:], MOST_BYTES)
    return Exchange(1.0, request, reply.lines, 0.02, reply.word), protocol


def frames(data: bytes) -> None:
    """Any lines give typed answers."""
    exchange, protocol = exchange_of(data)
    assert answers(exchange, protocol)


def decode(data: bytes) -> None:
    """Any bytes give finite values or none."""
    exchange, protocol = exchange_of(data)
    decoder = Decoder(
        Header("id", "2026-01-01T00:00:00Z", "fuzz", AdapterInfo("a", protocol))
    )
    decoder.feed([exchange, exchange])
    for column in decoder.columns.measured.values():
        assert np.isfinite(column.v).all()


def session(data: bytes) -> None:
    """Any file gives a session or the one documented error."""
    path = FOLDER / "fuzz.jsonl"
    path.write_bytes(data)
    try:
        found = read_session(path)
    except SessionError:
        return
    Decoder(found.header).feed(found.records)


FOLDER = Path(tempfile.mkdtemp())
TARGETS: dict[str, Callable[[bytes], None]] = {
    "dialogue": dialogue,
    "frames": frames,
    "decode": decode,
    "session": session,
}


def main() -> None:
    """Runs one target for some time."""
    parser = argparse.ArgumentParser(description="coverage-guided fuzzing")
    parser.add_argument("target", choices=sorted(TARGETS))
    parser.add_argument("--seconds", type=int, default=60)
    options = parser.parse_args()
    target = TARGETS[options.target]
    seeds = FOLDER / "seeds"
    seeds.mkdir()
    for number, seed in enumerate(SEEDS):
        (seeds / str(number)).write_bytes(seed)
    tried = 0
    began = time.monotonic()

    def once(data: bytes) -> None:
        nonlocal tried
        tried += 1
        target(data)
        if tried % 2_000 == 0:
            seconds = time.monotonic() - began
            print(f"{options.target}: {tried} cases in {seconds:.0f} s", flush=True)

    atheris.Setup(
        [sys.argv[0], f"-max_total_time={options.seconds}", "-max_len=4096",
         "-verbosity=0", "-rss_limit_mb=1024", str(seeds)],
        once,
    )  # fmt: skip
    atheris.Fuzz()


if __name__ == "__main__":
    main()
