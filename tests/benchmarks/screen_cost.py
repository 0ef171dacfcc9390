"""What the screen costs: the real screen on a real pty with the demo running.

Run by hand: `python tests/benchmarks/screen_cost.py [SECONDS]`. For every size it runs
the screen and, beside it in the same run, a baseline: the same source and engine with
one plain table of numbers made of Textual's own widgets. Then it stops reading the
terminal for a while and looks at what that did to acquisition.

Columns: CPU of the process and of the screen's own thread, time a frame takes on the
screen's thread (reading, drawing and handing it to the terminal) and how much of it was
CPU (the rest was waiting for a busy machine), bytes sent, time from a key to its effect
on the terminal, memory, time from launch to the first drawing.
"""

from __future__ import annotations

import fcntl
import json
import os
import pty
import resource
import select
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

SIZES = ((80, 24), (120, 40), (200, 60))
WARM_UP_S = 3.0
KEYS_EVERY_S = 0.7
STALL_S = 5.0


def child(kind: str, out: str, story: str, folder: str) -> None:
    """Runs one screen and writes what it measured when told to end."""
    from bankwise.tui.app import BankwiseApp
    from bankwise.tui.feed import Feed
    from bankwise.tui.openings import open_demo

    source = open_demo(story, Path(folder), path=Path(folder) / f"{kind}.jsonl")
    busy: list[float] = []
    spent: list[float] = []

    if kind == "screen":
        app: Any = BankwiseApp(source, sessions_dir=Path(folder), quiet=True)
    else:
        app = _baseline(source, Feed(source))
    inner = app.frame

    def frame() -> None:
        began, thread = time.perf_counter(), time.thread_time()
        inner()
        busy.append(time.perf_counter() - began)
        spent.append(time.thread_time() - thread)

    app.frame = frame
    _time_refresh(busy, spent)
    result: dict[str, Any] = {}

    def measure() -> None:
        while source.header is None:
            time.sleep(0.05)
        time.sleep(WARM_UP_S)
        Path(out + ".go").touch()
        busy.clear()
        spent.clear()
        process, wall = time.process_time(), time.monotonic()
        while not Path(out + ".stop").exists():
            time.sleep(0.05)
        result["wall_s"] = time.monotonic() - wall
        result["process_s"] = time.process_time() - process
        result["frames_ms"] = [1000 * value for value in busy]
        result["frames_cpu_ms"] = [1000 * value for value in spent]
        app.call_from_thread(app.exit, 0)

    threading.Thread(target=measure, daemon=True).start()
    app.run()
    source.stop()
    result["peak_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    result["skipped"] = getattr(app, "frames_skipped", 0)
    Path(out).write_text(json.dumps(result))


def _time_refresh(busy: list[float], spent: list[float]) -> None:
    """Adds the compositor's part to the frame that caused it."""
    from textual.screen import Screen

    inner = Screen._on_timer_update

    def timed(self: Any) -> None:
        began, thread = time.perf_counter(), time.thread_time()
        inner(self)
        if busy:
            busy[-1] += time.perf_counter() - began
            spent[-1] += time.thread_time() - thread

    Screen._on_timer_update = timed  # type: ignore[method-assign]


def _baseline(source: Any, feed: Any) -> Any:
    from textual.app import App, ComposeResult
    from textual.widgets import DataTable, Static

    class Table(App[int]):
        """Numbers in a table, flags and status in a line."""

        def compose(self) -> ComposeResult:
            yield DataTable()
            yield Static()

        def on_mount(self) -> None:
            table: DataTable[str] = self.query_one(DataTable)
            table.add_columns("signal", "value")
            self.rows: dict[str, Any] = {}
            source.start()
            self.set_interval(0.1, self.frame)

        def frame(self) -> None:
            feed.pull()
            shot = feed.snapshot(frozenset())
            table: DataTable[str] = self.query_one(DataTable)
            column = next(iter(table.columns)) if table.columns else None
            last = list(table.columns)[-1]
            for name, values in shot.columns.measured.items():
                if name not in self.rows:
                    self.rows[name] = table.add_row(name, "")
                table.update_cell(self.rows[name], last, f"{values.v[-1]:.3f}")
            assert column is not None
            flags = ", ".join(flag.id for flag in shot.active)
            self.query_one(Static).update(f"{shot.now_s:.1f} s {flags}")

    return Table()


class Terminal:
    """A pty of a given size with a screen in it."""

    def __init__(self, size: tuple[int, int], kind: str, folder: str) -> None:
        self.out = str(Path(folder) / f"{kind}-{size[0]}.json")
        pid, fd = pty.fork()
        if pid == 0:
            os.environ |= {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
            os.execv(
                sys.executable,
                [sys.executable, __file__, "child", kind, self.out, "demo", folder],
            )
        self.pid, self.fd = pid, fd
        packed = struct.pack("HHHH", size[1], size[0], 0, 0)
        fcntl.ioctl(fd, termios.TIOCSWINSZ, packed)
        self.sent = 0
        self.recent = b""

    def read_for(self, seconds: float, until: bytes | None = None) -> bool:
        """Reads what is drawn; True when `until` was seen."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            if not select.select([self.fd], [], [], left)[0]:
                break
            try:
                data = os.read(self.fd, 65536)
            except OSError:
                break
            self.sent += len(data)
            self.recent = (self.recent + data)[-200_000:]
            if until is not None and until in self.recent:
                return True
        return False

    def wait_for_data(self) -> None:
        """Reads on until the car has answered for a while."""
        end = time.monotonic() + 60
        while not Path(self.out + ".go").exists() and time.monotonic() < end:
            self.read_for(0.1)
        Path(self.out + ".go").unlink()

    def echo_ms(self, turn: int) -> float:
        """Time from the key `b` to its words on the terminal. Unit: ms."""
        words = (b"is off", b"rings on")[turn % 2]
        self.recent = b""
        began = time.monotonic()
        os.write(self.fd, b"b")
        seen = self.read_for(2.0, words)
        return 1000 * (time.monotonic() - began) if seen else float("nan")

    def end(self) -> dict[str, Any]:
        """Ends the screen and returns what it measured."""
        Path(self.out + ".stop").touch()
        self.read_for(8.0, b"\x1b[?1049l")
        os.waitpid(self.pid, 0)
        Path(self.out + ".stop").unlink()
        found: dict[str, Any] = json.loads(Path(self.out).read_text())
        return found


def newest_s(path: Path) -> float:
    """Session time of the newest record. Unit: s."""
    from bankwise.adapters.session_file import SessionTail

    return SessionTail(path).read()[-1].t


def gaps_ms(path: Path, first_s: float, last_s: float) -> Any:
    """Time from one answer to the next request. Unit: ms."""
    from bankwise.adapters.records import Exchange
    from bankwise.adapters.session_file import read_session

    rows = [
        (r.t, r.t + r.d) for r in read_session(path).records if isinstance(r, Exchange)
    ]
    return np.array(
        [1000 * (b[0] - a[1]) for a, b in pairwise(rows) if first_s < a[0] < last_s]
    )


def run(size: tuple[int, int], kind: str, seconds: float, folder: str) -> None:
    """Measures one screen at one size and prints its row."""
    launched = time.monotonic()
    terminal = Terminal(size, kind, folder)
    first = "ROAD TEST" if kind == "screen" else "signal"
    terminal.read_for(30.0, first.encode())
    start_s = time.monotonic() - launched
    terminal.wait_for_data()
    before, began = terminal.sent, time.monotonic()
    echoes = []
    turn = 0
    while time.monotonic() - began < seconds:
        if kind == "screen":
            echoes.append(terminal.echo_ms(turn))
            turn += 1
        terminal.read_for(KEYS_EVERY_S)
    rate = (terminal.sent - before) / (time.monotonic() - began) / 1000
    found = terminal.end()
    wall = found["wall_s"]
    frames = np.percentile(found["frames_ms"], [50, 99])
    work = np.percentile(found["frames_cpu_ms"], [50, 99])
    drawing = sum(found["frames_cpu_ms"]) / 1000 / wall
    each = 1000 * found["process_s"] / max(len(found["frames_ms"]), 1)
    echo = np.nanpercentile(echoes, [50, 95]) if echoes else (np.nan, np.nan)
    print(
        f"{size[0]:>3}x{size[1]:<3} {kind:<9} "
        f"process CPU {100 * found['process_s'] / wall:5.1f} %, "
        f"{each:4.1f} ms a frame  "
        f"(frames alone {100 * drawing:4.1f} %)  "
        f"frame p50 {frames[0]:5.1f} p99 {frames[1]:5.1f} ms  "
        f"of CPU {work[0]:4.1f} {work[1]:5.1f} ms  "
        f"{rate:6.1f} kB/s  echo p50 {echo[0]:4.0f} p95 {echo[1]:4.0f} ms  "
        f"peak {found['peak_mb']:4.0f} MB  start {start_s:4.2f} s  "
        f"skipped {found['skipped']}",
        flush=True,
    )
    (Path(folder) / f"{kind}.jsonl").unlink()


def stalled(folder: str) -> None:
    """Stops reading the terminal and says what that did to acquisition."""
    terminal = Terminal((120, 40), "screen", folder)
    terminal.wait_for_data()
    path = Path(folder) / "screen.jsonl"
    began = newest_s(path)
    terminal.read_for(STALL_S)
    stopped = newest_s(path)
    time.sleep(STALL_S)
    ended = newest_s(path)
    terminal.read_for(3.0)
    terminal.end()
    calm, stall = gaps_ms(path, began, stopped), gaps_ms(path, stopped, ended)
    for words, gaps in (("reading", calm), ("stalled", stall)):
        p50, p99 = np.percentile(gaps, [50, 99])
        print(
            f"terminal {words}: {len(gaps)} requests, answer to next request "
            f"p50 {p50:.1f} p99 {p99:.1f} max {gaps.max():.1f} ms"
        )


def main() -> None:
    """Prints the table."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 15.0
    cores = os.cpu_count()
    python = subprocess.check_output([sys.executable, "-V"], text=True).strip()
    print(f"{python}, {cores} cores, {seconds:g} s each, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as folder:
        for size in SIZES:
            for kind in ("baseline", "screen"):
                run(size, kind, seconds, folder)
        stalled(folder)


if __name__ == "__main__":
    if sys.argv[1:2] == ["child"]:
        child(*sys.argv[2:6])
    else:
        main()
