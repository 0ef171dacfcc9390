"""The screen in a real terminal: it leaves it as it was, whatever ends the program."""

from __future__ import annotations

import contextlib
import fcntl
import os
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest

from bankwise.adapters.seals import State, verify
from bankwise.tui.terminal import Lateness, unsent

pty = pytest.importorskip("pty")

PROGRAM = """
import sys
from pathlib import Path
from bankwise.tui.app import BankwiseApp
from bankwise.tui.openings import Demo
folder = Path(sys.argv[1])
source = Demo("demo", folder, faster=4.0, path=folder / "drive.jsonl")
app = BankwiseApp(source, sessions_dir=folder, quiet=True)
try:
    app.run()
finally:
    source.stop()
sys.exit(app.return_code)
"""

BACK = b"\x1b[?1049l"


class Terminal:
    """A pty with the screen and a running demo in it."""

    def __init__(self, folder: Path, size: tuple[int, int] = (100, 30)) -> None:
        pid, fd = pty.fork()
        if pid == 0:
            os.environ |= {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
            os.execv(sys.executable, [sys.executable, "-c", PROGRAM, str(folder)])
        self.pid, self.fd = pid, fd
        self.seen = b""
        self.resize(*size)

    def resize(self, width: int, height: int) -> None:
        """Gives the terminal another size."""
        packed = struct.pack("HHHH", height, width, 0, 0)
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, packed)

    def read(self, until: bytes, seconds: float = 300.0) -> bool:
        """Reads until something was drawn; False when the time is up."""
        end = time.monotonic() + seconds
        while until not in self.seen:
            left = end - time.monotonic()
            if left <= 0 or not select.select([self.fd], [], [], left)[0]:
                return False
            try:
                data = os.read(self.fd, 65536)
            except OSError:
                return until in self.seen
            if not data:
                return False
            self.seen += data
        return True

    def status(self, seconds: float = 300.0) -> int:
        """Waits for the end; returns the exit status."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            with contextlib.suppress(OSError):
                if select.select([self.fd], [], [], 0.05)[0]:
                    self.seen += os.read(self.fd, 65536)
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.pid = 0
                return os.waitstatus_to_exitcode(status)
        raise AssertionError("the screen did not end")

    def close(self) -> None:
        """Ends what is left."""
        with contextlib.suppress(OSError):
            os.close(self.fd)
        if self.pid:
            os.kill(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)


@pytest.fixture(name="terminal")
def _terminal(tmp_path: Path) -> Iterator[Terminal]:
    terminal = Terminal(tmp_path)
    yield terminal
    terminal.close()


@pytest.mark.parametrize(
    "number", [signal.SIGTERM, pytest.param(signal.SIGHUP, marks=pytest.mark.long)]
)
def test_being_told_to_end_restores_the_terminal_and_seals_the_file(
    terminal: Terminal, tmp_path: Path, number: signal.Signals
) -> None:
    """The alternate screen is left, the status is 0, the recording is whole."""
    assert terminal.read(b" kB")
    os.kill(terminal.pid, number)
    assert terminal.status() == 0
    assert BACK in terminal.seen
    assert verify(tmp_path / "drive.jsonl").state is State.WHOLE


def test_quitting_restores_the_terminal(terminal: Terminal, tmp_path: Path) -> None:
    """Two keys while recording, after a storm of sizes; the recording is whole."""
    assert terminal.read(b" kB")
    for width, height in ((40, 12), (200, 60), (19, 4), (100, 30)):
        terminal.resize(width, height)
        time.sleep(0.1)
    os.write(terminal.fd, b"q")
    assert terminal.read(b"End the recording")
    os.write(terminal.fd, b"y")
    assert terminal.status() == 0
    assert BACK in terminal.seen
    assert verify(tmp_path / "drive.jsonl").state is State.WHOLE


@pytest.mark.long
def test_a_terminal_that_goes_away_leaves_a_whole_file(
    terminal: Terminal, tmp_path: Path
) -> None:
    """The window is closed in mid-drive: the program ends and the file is sealed."""
    assert terminal.read(b" kB")
    os.close(terminal.fd)
    end = time.monotonic() + 300
    while time.monotonic() < end:
        pid, _ = os.waitpid(terminal.pid, os.WNOHANG)
        if pid:
            terminal.pid = 0
            break
        time.sleep(0.1)
    assert terminal.pid == 0
    assert verify(tmp_path / "drive.jsonl").state is State.WHOLE


@pytest.mark.long
def test_a_terminal_that_is_not_read_does_not_stop_the_recording(
    terminal: Terminal, tmp_path: Path
) -> None:
    """While nothing is read the file grows on; read again, the screen goes on."""
    assert terminal.read(b" kB")
    path = tmp_path / "drive.jsonl"
    before = path.stat().st_size
    time.sleep(3.0)
    # The terminal's buffer is full by now, and stays so.
    end = time.monotonic() + 300
    while path.stat().st_size < before + 20_000:
        assert time.monotonic() < end, "the recording stands still"
        time.sleep(0.1)
    terminal.seen = b""
    os.write(terminal.fd, b"?")
    assert terminal.read(b"Where to look")


def test_unsent_writes_are_counted_where_textual_keeps_them() -> None:
    """The installed Textual has its queue there; an unknown driver counts as empty."""
    from textual.drivers._writer_thread import WriterThread

    thread = WriterThread(sys.stdout)
    thread.write("not sent, because the thread never runs")
    assert unsent(SimpleNamespace(_writer_thread=thread)) == 1
    assert unsent(SimpleNamespace()) == 0
    assert unsent(None) == 0


def test_lateness_is_what_frames_come_later_than_planned() -> None:
    """Frames in time are not late; one half a second late shows."""
    lateness = Lateness(0.1)
    for t in (0.0, 0.1, 0.2):
        lateness.frame(t)
    assert lateness.ms == pytest.approx(0.0, abs=1e-6)
    lateness.frame(0.8)
    assert lateness.ms == pytest.approx(100.0)
