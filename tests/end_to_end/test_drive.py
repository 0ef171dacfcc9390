"""A drive over real TCP and a real pseudo-terminal: recorded, checked, whole."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

import pytest

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


Eventually = Callable[[Callable[[], bool], float], None]


def _records_of(path: Path, mark: bytes) -> bool:
    return path.exists() and mark in path.read_bytes()


@pytest.mark.parametrize("way", ["--listen=127.0.0.1:0", "--pty"])
def test_recorded_and_checked(bench: Bench, way: str) -> None:
    """The story's flag is found in what `record` took from the served car."""
    _, port = bench.car("demo", way, "--faster", FASTER)
    done = bench.run(
        "record", "--port", port, "--faster", FASTER, "--for", "150", "-o", "d.jsonl"
    )
    assert done.returncode == 0, done.stderr
    verdict = bench.run("verify", "d.jsonl")
    assert "whole" in verdict.stdout
    found = bench.checked("d.jsonl")
    assert ("front-lean-rear-rich", "B2") in {
        (flag["id"], flag["about"]) for flag in found["flags"]
    }
    assert found["explanations"][0]["id"] == "sensor-reads-lean"
    assert found["session"]["dropped_lines"] == 0
    assert found["session"]["seconds"] > 150


def test_healthy_car_is_left_alone(bench: Bench) -> None:
    """A healthy car raises nothing that asks for a repair."""
    _, port = bench.car("healthy", "--listen=127.0.0.1:0", "--faster", FASTER)
    done = bench.run(
        "record", "--port", port, "--faster", FASTER, "--for", "150", "-o", "d.jsonl"
    )
    assert done.returncode == 0, done.stderr
    assert bench.run("check", "--fail-on", "act", "d.jsonl").returncode == 0


def test_port_killed_and_back(bench: Bench, eventually: Eventually) -> None:
    """The server dies mid-drive and returns: a hole is noted, the recording whole."""
    path = bench.folder / "d.jsonl"
    server, port = bench.car("demo", "--listen=127.0.0.1:0")
    recorder = bench.start("record", "--port", port, "-o", str(path))
    eventually(lambda: _records_of(path, b'"state":"up"'), 20)
    bench.stop(server, signal.SIGKILL)
    eventually(lambda: _records_of(path, b'"state":"lost"'), 20)
    bench.car("demo", f"--listen={port.removeprefix('socket://')}")
    eventually(lambda: _records_of(path, b'"state":"back"'), 40)
    bench.stop(recorder, signal.SIGINT)
    assert recorder.returncode == 0
    assert "whole" in bench.run("verify", str(path)).stdout
    session = bench.checked(str(path))["session"]
    assert len(session["holes"]) == 1
    (first, last) = session["holes"][0]
    assert 0 < first < last <= session["seconds"]


def test_killed_recorder_leaves_a_file_that_reads(
    bench: Bench, eventually: Eventually
) -> None:
    """A recorder killed outright loses at most its last record, and it is said so."""
    path = bench.folder / "d.jsonl"
    _, port = bench.car("demo", "--listen=127.0.0.1:0", "--faster", FASTER)
    recorder = bench.start(
        "record", "--port", port, "--faster", FASTER, "-o", str(path)
    )
    eventually(lambda: _records_of(path, b'"k":"seal"'), 30)
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
    eventually(lambda: _records_of(path, b'"state":"up"'), 20)
    bench.stop(recorder, number)
    assert recorder.returncode == 0
    assert b'"k":"end"' in path.read_bytes()
    assert bench.run("verify", str(path)).returncode == 0


def test_half_written_file(bench: Bench) -> None:
    """Half a last line is dropped with a warning; everything before it counts."""
    from bankwise.adapters.session_file import read_session
    from bankwise.replay_logs import shipped

    whole = read_session(shipped()["healthy"])
    import gzip

    data = gzip.decompress(shipped()["healthy"].read_bytes())
    cut = data.rindex(b'{"k":"x"') + 20
    (bench.folder / "half.jsonl").write_bytes(data[:cut])
    done = bench.run("check", "--json", "half.jsonl")
    assert done.returncode == 0
    assert "half written" in done.stderr
    assert bench.checked("half.jsonl")["session"]["dropped_lines"] == 1
    exchanges = sum(b'"k":"x"' in line for line in data[:cut].splitlines()[:-1])
    assert bench.checked("half.jsonl")["session"]["exchanges"] == exchanges
    assert len(whole.records) > exchanges
