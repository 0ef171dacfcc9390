"""Serves a simulated adapter in real time, or faster, to one program at a time.

The drive begins when the first program connects. With `faster` N everything happens N
times as fast: the car's second lasts 1/N seconds, and so do the adapter's delays.

Measured on a two-core machine: see tests/benchmarks.
"""

from __future__ import annotations

import queue
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import IO

from bankwise.adapters.car.console import Console
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.ports import Port, PtyPort, TcpPort
from bankwise.adapters.errors import LinkError

POLL_S = 0.02
"""Longest wait before commands are looked at. Source: our choice."""

STANDSTILL_S = 2.0
"""A longer gap between two steps means that the process was stopped or the machine
slept; the drive then stood still too. Source: our choice."""

ANY_PORT = "127.0.0.1:0"

_STOP_S = 60.0
"""Longest wait for a thread, a process or an answer of theirs. Source: our choice, for
a machine that has no time: it is far from usual."""


class Service:
    """Runs one adapter on one port until stopped.

    Args:
        adapter: what is served.
        port: where.
        faster: how many simulated seconds pass in one real second.
        touch: the car's own console words; see `Console`.
        clock: real time, monotonic. Unit: seconds.
    """

    def __init__(
        self,
        adapter: SimulatedAdapter,
        port: Port,
        *,
        faster: float = 1.0,
        touch: Callable[[str], str] | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        if not faster > 0:
            raise LinkError("faster must be greater than 0")
        self._adapter = adapter
        self._port = port
        self._faster = faster
        self._clock = clock
        self._began: float | None = None
        self._back_at: float | None = None
        self._last = clock()
        self._stop = threading.Event()
        self._lines: queue.SimpleQueue[tuple[str, Callable[[str], None]]]
        self._lines = queue.SimpleQueue()
        self._console = Console(adapter, touch, self._drop)

    @property
    def now(self) -> float:
        """Simulated time since the first connection. Unit: seconds."""
        if self._began is None:
            return 0.0
        return (self._clock() - self._began) * self._faster

    @property
    def connected(self) -> bool:
        """True while a computer is at the port."""
        return self._port.connected

    def say(self, line: str, answer: Callable[[str], None]) -> None:
        """Hands a console line over; `answer` is called with its result. Any thread."""
        self._lines.put((line, answer))

    def stop(self) -> None:
        """Ends `run` soon. Any thread."""
        self._stop.set()

    def run(self) -> None:
        """Serves until stopped. Raises LinkError when the port cannot come back."""
        try:
            while not self._stop.is_set():
                self.step()
        finally:
            self._port.close()

    def step(self) -> None:
        """Does what is due, then waits for bytes, not longer than `POLL_S`."""
        real = self._clock()
        gap = real - self._last
        self._last = real
        if self._began is None and self._port.connected:
            self._began = real
        elif self._began is not None and gap > STANDSTILL_S:
            self._began += gap
        self._commands()
        now = self.now
        said = self._adapter.take(now)
        if said:
            self._port.send(said)
        due = self._adapter.next_due
        wait = POLL_S if due is None else min(POLL_S, (due - now) / self._faster)
        data, gone = self._port.wait(wait)
        if gone:
            self._adapter.hang_up(self.now)
        if data:
            if self._began is None:
                self._began = self._clock()
            self._adapter.receive(data, self.now)
        elif due is None:
            # Between requests the drive goes on.
            self._adapter.bus.advance(self.now)

    def _commands(self) -> None:
        if self._back_at is not None and self._clock() >= self._back_at:
            self._back_at = None
            self._port.absent(False)
        while not self._lines.empty():
            line, answer = self._lines.get()
            answer(self._console.line(line))

    def _drop(self, seconds: float) -> None:
        self._port.absent(True)
        self._adapter.hang_up(self.now)
        self._back_at = self._clock() + seconds


def read_lines(service: Service, source: IO[str], answers: IO[str] | None) -> None:
    """Hands lines of a text stream to a service until the stream ends.

    Meant for a thread of its own. Answers go to `answers`.
    """

    def answer(text: str) -> None:
        if text and answers is not None:
            print(text, file=answers, flush=True)

    for line in source:
        service.say(line, answer)


def open_port(listen: str | None, pty: bool, baud: int | None = None) -> Port:
    """A TCP port, or a pseudo terminal. Raises PortBusy, LinkError."""
    return PtyPort(baud) if pty else TcpPort(listen or ANY_PORT)


def serve_adapter(
    adapter: SimulatedAdapter,
    *,
    listen: str | None = None,
    pty: bool = False,
    strict_baud: bool = False,
    faster: float = 1.0,
    ready: Callable[[str], None] = print,
    touch: Callable[[str], str] | None = None,
    console: bool = False,
    until_closed: bool = False,
) -> None:
    """Serves an adapter until interrupted.

    Args:
        adapter: what is served.
        listen: `host:port`; by default any free port of this machine.
        pty: a pseudo terminal instead.
        strict_baud: on a pseudo terminal only the adapter's own speed is understood.
        faster: simulated seconds per real second.
        ready: called with the real address once it can be opened.
        touch: the car's own console words.
        console: take console lines from standard input.
        until_closed: stop when standard input ends; needs `console`.

    Raises:
        PortBusy: when the address is taken.
        LinkError: when it cannot be used.
    """
    port = open_port(listen, pty, adapter.link.baud if strict_baud else None)
    service = Service(adapter, port, faster=faster, touch=touch)
    if console:

        def lines() -> None:
            read_lines(service, sys.stdin, sys.stdout)
            if until_closed:
                service.stop()

        threading.Thread(target=lines, name="console", daemon=True).start()
    ready(port.address)
    try:
        service.run()
    except KeyboardInterrupt:
        return


class ThreadServer:
    """Serves an adapter from a thread of this process; a context manager.

    Its timing suffers when this process is busy: for a drawn screen take
    `ProcessServer`.
    """

    def __init__(
        self,
        adapter: SimulatedAdapter,
        *,
        faster: float = 1.0,
        listen: str | None = None,
        pty: bool = False,
        strict_baud: bool = False,
        touch: Callable[[str], str] | None = None,
    ) -> None:
        port = open_port(listen, pty, adapter.link.baud if strict_baud else None)
        self.address = port.address
        self.service = Service(adapter, port, faster=faster, touch=touch)
        self._thread = threading.Thread(
            target=self.service.run, name="simulated car", daemon=True
        )

    def say(self, line: str) -> str:
        """Carries out a console line and returns its answer."""
        answers: queue.SimpleQueue[str] = queue.SimpleQueue()
        self.service.say(line, answers.put)
        return answers.get(timeout=_STOP_S)

    def __enter__(self) -> ThreadServer:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.service.stop()
        self._thread.join(_STOP_S)


class ProcessServer:
    """Serves a story from a process of its own; a context manager.

    The process ends with this one, also when this one is killed: it then sees the end
    of its standard input.

    Args:
        arguments: of `bankwise.adapters.car.serve_story`, such as the story's id.

    Raises:
        LinkError: on entering, when the car does not start.
    """

    def __init__(self, *arguments: str) -> None:
        self.address = ""
        self._command = [
            sys.executable,
            "-m",
            "bankwise.adapters.car.serve_story",
            *arguments,
        ]
        self._process: subprocess.Popen[str] | None = None

    def say(self, line: str) -> str:
        """Carries out a console line and returns its answer. Raises LinkError."""
        process = self._process
        if process is None or process.stdin is None or process.stdout is None:
            raise LinkError("the simulated car is not running")
        try:
            print(line, file=process.stdin, flush=True)
        except OSError as error:
            raise LinkError("the simulated car has stopped") from error
        return process.stdout.readline().strip()

    def __enter__(self) -> ProcessServer:
        self._process = subprocess.Popen(
            self._command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # Standard error is where a screen may be drawn.
            stderr=subprocess.PIPE,
            text=True,
            # Ctrl-C at the terminal is for the program that shows the car.
            start_new_session=sys.platform != "win32",
        )
        assert self._process.stdout is not None
        assert self._process.stderr is not None
        self.address = self._process.stdout.readline().strip()
        if not self.address:
            told = self._process.stderr.read().strip().splitlines()
            self.__exit__(None, None, None)
            why = f": {told[-1]}" if told else ""
            raise LinkError(f"the simulated car did not start{why}")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        for stream in (process.stdin, process.stdout, process.stderr):
            if stream is not None:
                stream.close()
        try:
            process.wait(_STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
