"""A drive over real TCP and a real pseudo-terminal: recorded, checked, whole."""

from __future__ import annotations

import gzip
import json
import signal
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

import pytest

from bankwise.replay_logs import shipped

FASTER = "8"
"""The simulated car's clock in these tests; its times are session times."""


class Bench(Protocol):
    """What these tests use of the bench."""

    folder: Path

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Runs a command to its end."""
        ...

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        """Starts a command that goes on by itself."""
        ...

    def car(self, story: str, *options: str) -> tuple[subprocess.Popen[str], str]:
        """Serves a simulated car."""
        ...

    def checked(self, *arguments: str) -> dict[str, Any]:
        """What `check --json` says of one session."""
        ...

    def stop(self, process: subprocess.Popen[str], number: int = ...) -> None:
        """Ends a command and waits for it."""
        ...


Eventually = Callable[[Callable[[], bool]], None]


def _records_of(path: Path, mark: bytes) -> bool:
    return path.exists() and mark in path.read_bytes()


def test_recorded_and_checked(bench: Bench) -> None:
    """The story's flag is told while recording, and found again afterwards."""
    faster = "5"
    _, port = bench.car("demo", "--listen=127.0.0.1:0", "--faster", faster)
    recorder = bench.start(
        "record", "--port", port, "--faster", faster, "--lines", "-o", "d.jsonl"
    )
    assert recorder.stdout is not None
    given_up = threading.Timer(300.0, recorder.kill)
    given_up.start()
    told = ""
    while "(front-lean-rear-rich)" not in told and (line := recorder.stdout.readline()):
        told += line
    recorder.send_signal(signal.SIGINT)
    more, complaint = recorder.communicate()
    given_up.cancel()
    told += more
    assert recorder.returncode == 0, told + complaint
    assert "\aACT: B2: the front sensor says lean" in told
    assert "(front-lean-rear-rich)" in told
    assert "B1: closed loop" in told
    assert "\nVerdict: " in told
    assert "Next: bankwise check " in told.splitlines()[-2]
    assert "whole" in bench.run("verify", "d.jsonl").stdout
    found = bench.checked("d.jsonl")
    assert ("front-lean-rear-rich", "B2") in {
        (flag["id"], flag["about"]) for flag in found["flags"]
    }
    assert found["explanations"][0]["id"] == "sensor-reads-lean"
    assert found["session"]["dropped_lines"] == 0


def test_over_a_terminal(bench: Bench) -> None:
    """A pseudo-terminal serves as a serial port does: speed found, drive recorded."""
    _, port = bench.car("demo", "--pty", "--faster", FASTER)
    done = bench.run(
        "record", "--port", port, "--faster", FASTER, "--for", "20", "-o", "d.jsonl"
    )
    assert done.returncode == 0, done.stderr
    assert "whole" in bench.run("verify", "d.jsonl").stdout
    session = bench.checked("d.jsonl")["session"]
    assert session["seconds"] > 20
    assert session["signals"]["o2_b2s1_v"]["count"] > 20


def test_healthy_car_is_left_alone(bench: Bench) -> None:
    """A healthy car raises nothing that asks for a repair."""
    _, port = bench.car("healthy", "--listen=127.0.0.1:0", "--faster", FASTER)
    done = bench.run(
        "record", "--port", port, "--faster", FASTER, "--for", "120", "-o", "d.jsonl"
    )
    assert done.returncode == 0, done.stderr
    assert bench.run("check", "--fail-on", "act", "d.jsonl").returncode == 0


def test_port_killed_and_back(bench: Bench, eventually: Eventually) -> None:
    """The server dies mid-drive and returns: a hole is noted, the recording whole."""
    path = bench.folder / "d.jsonl"
    server, port = bench.car("demo", "--listen=127.0.0.1:0")
    recorder = bench.start("record", "--port", port, "-o", str(path))
    eventually(lambda: _records_of(path, b'"state":"up"'))
    bench.stop(server, signal.SIGKILL)
    eventually(lambda: _records_of(path, b'"state":"lost"'))
    bench.car("demo", f"--listen={port.removeprefix('socket://')}")
    eventually(lambda: _records_of(path, b'"state":"back"'))
    bench.stop(recorder, signal.SIGINT)
    assert recorder.returncode == 0
    assert "whole" in bench.run("verify", str(path)).stdout
    session = bench.checked(str(path))["session"]
    assert len(session["holes"]) == 1
    (first, last) = session["holes"][0]
    # The length is told to a tenth of a second.
    assert 0 < first < last <= session["seconds"] + 0.05


def test_killed_recorder_leaves_a_file_that_reads(
    bench: Bench, eventually: Eventually
) -> None:
    """A recorder killed outright loses at most its last record, and it is said so."""
    path = bench.folder / "d.jsonl"
    _, port = bench.car("demo", "--listen=127.0.0.1:0", "--faster", FASTER)
    recorder = bench.start(
        "record", "--port", port, "--faster", FASTER, "-o", str(path)
    )
    eventually(
        lambda: (
            _records_of(path, b'"k":"seal"')
            and path.read_bytes().count(b'"k":"x"') > 150
        )
    )
    bench.stop(recorder, signal.SIGKILL)
    assert bench.checked(str(path))["session"]["exchanges"] > 100
    verdict = bench.run("verify", str(path))
    assert verdict.returncode == 1
    assert "cut short" in verdict.stdout


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ended_in_good_order(
    bench: Bench, eventually: Eventually, number: signal.Signals
) -> None:
    """Ctrl-C, or being told to end, closes the session whole."""
    path = bench.folder / "d.jsonl"
    _, port = bench.car("demo", "--listen=127.0.0.1:0")
    recorder = bench.start("record", "--port", port, "-o", str(path))
    eventually(lambda: _records_of(path, b'"state":"up"'))
    bench.stop(recorder, number)
    assert recorder.returncode == 0
    assert b'"k":"end"' in path.read_bytes()
    assert bench.run("verify", str(path)).returncode == 0


def test_half_written_file(bench: Bench) -> None:
    """Half a last line is dropped with a warning; everything before it counts."""
    data = gzip.decompress(shipped()["healthy"].read_bytes())
    cut = data.rindex(b'{"k":"x"') + 20
    (bench.folder / "half.jsonl").write_bytes(data[:cut])
    done = bench.run("check", "--json", "half.jsonl")
    assert done.returncode == 0
    assert "half written" in done.stderr
    session = json.loads(done.stdout)["session"]
    assert session["dropped_lines"] == 1
    assert session["exchanges"] == data[:cut].count(b'{"k":"x"') - 1
