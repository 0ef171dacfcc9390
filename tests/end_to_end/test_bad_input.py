"""Bad input gets one plain line and a non-zero status, never a traceback."""

from __future__ import annotations

import socket
import subprocess
from pathlib import Path
from typing import Protocol


class Bench(Protocol):
    """What these tests use of the bench."""

    folder: Path

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Runs a command to its end."""
        ...


def _refused(done: subprocess.CompletedProcess[str]) -> str:
    lines = done.stderr.strip().splitlines()
    assert done.returncode not in (0, None)
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("bankwise: ")
    assert done.stdout == ""
    return lines[0]


def test_unknown_file(bench: Bench) -> None:
    """A name that is nothing is said so, with the name that was meant."""
    line = _refused(bench.run("check", "helthy"))
    assert "'helthy'" in line
    assert "'healthy'" in line


def test_folder(bench: Bench) -> None:
    """A folder is not a session."""
    assert "is a folder" in _refused(bench.run("check", str(bench.folder)))


def test_unknown_story(bench: Bench) -> None:
    """A story that does not exist is not served."""
    assert "'nonsense'" in _refused(bench.run("car", "nonsense", "--listen", ":0"))


def test_nothing_listens(bench: Bench) -> None:
    """Recording from a port where nothing listens ends in words, with no file."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        url = f"socket://127.0.0.1:{free.getsockname()[1]}"
    line = _refused(bench.run("record", "--port", url, "--for", "2"))
    assert url in line


def test_address_taken(bench: Bench) -> None:
    """A car cannot be served where something else listens."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        address = f"127.0.0.1:{taken.getsockname()[1]}"
        assert address in _refused(bench.run("car", "healthy", "--listen", address))


def test_existing_file_is_never_overwritten(bench: Bench) -> None:
    """A recording never replaces a file that is there."""
    (bench.folder / "drive.jsonl").write_text("precious")
    done = bench.run(
        "record", "--port", "socket://127.0.0.1:9", "--for", "1", "-o", "drive.jsonl"
    )
    assert "drive.jsonl" in _refused(done)
    assert (bench.folder / "drive.jsonl").read_text() == "precious"
