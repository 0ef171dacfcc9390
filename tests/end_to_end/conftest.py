"""Real processes over real TCP and pseudo-terminals: nothing is patched."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

COMMAND = (sys.executable, "-m", "bankwise.tui.main")
WAIT_S = 300
"""Longest wait for anything; far from usual. Our choice: a busy machine is no fault."""


@dataclass(frozen=True)
class Bench:
    """A folder for sessions, and the commands run in it."""

    folder: Path
    running: list[subprocess.Popen[str]]

    def environment(self) -> dict[str, str]:
        """The environment of every command."""
        return {
            **os.environ,
            "BANKWISE_SESSIONS": str(self.folder),
            "XDG_DATA_HOME": str(self.folder / "data"),
            "XDG_CONFIG_HOME": str(self.folder / "config"),
        }

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Runs a command to its end, without a terminal."""
        return subprocess.run(
            [*COMMAND, *arguments],
            cwd=self.folder,
            env=self.environment(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=WAIT_S,
            check=False,
        )

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        """Starts a command that goes on by itself."""
        process = subprocess.Popen(
            [*COMMAND, *arguments],
            cwd=self.folder,
            env=self.environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.running.append(process)
        return process

    def car(self, story: str, *options: str) -> tuple[subprocess.Popen[str], str]:
        """Serves a simulated car; returns the server and where it listens."""
        process = self.start("car", story, *options)
        assert process.stdout is not None
        first = process.stdout.readline()
        if not first:
            assert process.stderr is not None
            pytest.fail(process.stderr.read())
        return process, first.split()[-1]

    def checked(self, *arguments: str) -> dict[str, Any]:
        """What `check --json` says of one session."""
        done = self.run("check", "--json", *arguments)
        assert done.returncode == 0, done.stderr
        found: dict[str, Any] = json.loads(done.stdout)
        return found

    @staticmethod
    def stop(process: subprocess.Popen[str], number: int = signal.SIGINT) -> None:
        """Ends a command as a person or the system would, and waits for it."""
        process.send_signal(number)
        process.wait(WAIT_S)


@pytest.fixture(name="bench")
def _bench(tmp_path: Path) -> Iterator[Bench]:
    bench = Bench(tmp_path, [])
    yield bench
    for process in bench.running:
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.fixture(name="eventually")
def _eventually() -> Callable[[Callable[[], bool]], None]:
    def wait(condition: Callable[[], bool]) -> None:
        end = time.monotonic() + WAIT_S
        while not condition():
            assert time.monotonic() < end, "it did not happen in time"
            time.sleep(0.05)

    return wait
