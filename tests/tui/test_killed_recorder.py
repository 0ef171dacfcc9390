"""The recorder itself, killed at random moments of a drive."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bankwise.adapters.car.server import ProcessServer
from bankwise.adapters.records import Exchange
from bankwise.adapters.seals import State, verify
from bankwise.adapters.session_file import read_session

KILLS = 10
_LONGEST_S = 300.0


def _grown(path: Path, size: int) -> bool:
    end = time.monotonic() + _LONGEST_S
    while time.monotonic() < end:
        if path.exists() and path.stat().st_size > size:
            return True
        time.sleep(0.02)
    return False


@pytest.mark.long
def test_a_killed_drive_is_whole_to_its_last_record(tmp_path: Path) -> None:
    """`bankwise record`, killed again and again: at most the last line is cut.

    What was there at an earlier look is still there, byte for byte.
    """
    moment = random.Random(3)
    with ProcessServer("healthy", "--faster", "4") as server:
        for number in range(KILLS):
            path = tmp_path / f"{number}.jsonl"
            words = ["record", "--port", server.address, "-o", str(path)]
            command = [sys.executable, "-m", "bankwise.tui.main", *words]
            with subprocess.Popen(
                command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            ) as recorder:
                assert _grown(path, 4000), "the recorder does not record"
                earlier = path.read_bytes()
                time.sleep(moment.uniform(0.0, 0.6))
                recorder.send_signal(signal.SIGKILL)
            data = path.read_bytes()
            assert data.startswith(earlier)
            session = read_session(path)
            assert session.dropped_lines <= 1
            assert sum(isinstance(r, Exchange) for r in session.records) > 20
            assert verify(path).state in {State.CUT_SHORT, State.UNSEALED}
