"""The simulated adapter: text in, text out, byte for byte and at its own pace.

It speaks the command set that serial OBD adapters share. Time is given with every call
and never read, so the same adapter serves a socket in real time and a test in none.

Source: adapter data sheets for the words and for what a bare return, the frame digit
and an interruption do. What is printed when nobody acknowledges, and what an
interruption leaves behind, is from memory and not tried on hardware.
"""

from __future__ import annotations

import math
import re
from collections import deque
from random import Random

from bankwise.adapters.car.bus import Arrival, CarBus
from bankwise.adapters.car.framing import Frame, Protocol
from bankwise.adapters.car.lines import FRAME_MISHAPS, printed, spoil_lines
from bankwise.adapters.car.listening import Listener
from bankwise.adapters.car.quirks import (
    INSTEAD,
    QUIET,
    Digit,
    ManyPids,
    Mishap,
    Quirks,
    Trouble,
)
from bankwise.adapters.car.settings import (
    Settings,
    command,
    describe,
    number,
)
from bankwise.adapters.car.timing import ADAPTER_S, LinkTiming

Outbox = list[tuple[float, bytes]]

_LONGEST_INPUT = 128
_REQUEST_BYTES = 7
_RESET_TEXT = {"Z", "WS", "D"}
_MONITOR = re.compile("MA|M[RT][0-9A-F]{2}|MP[0-9A-F]{4,6}")
_HEX = re.compile("[0-9A-F]+")


class SimulatedAdapter:
    """One adapter plugged into one car.

    Args:
        bus: the car's side.
        link: the computer's side.
        quirks: how this adapter behaves.
        trouble: what goes wrong, and when.
    """

    def __init__(
        self,
        bus: CarBus,
        link: LinkTiming | None = None,
        quirks: Quirks | None = None,
        trouble: Trouble = QUIET,
    ) -> None:
        self.bus = bus
        self.link = link or LinkTiming()
        self.quirks = quirks or Quirks()
        self.settings = Settings()
        self.requests = 0
        """Vehicle requests so far."""
        self._trouble = trouble
        self._rng = Random(trouble.seed)
        self._next: deque[Mishap] = deque()
        self._listener = Listener(bus, self.quirks)
        self._input = bytearray()
        self._repeat = ""
        self._outbox: Outbox = []
        self._rx_free = self._tx_free = 0.0
        self._busy_until = -math.inf
        self._deaf_until = -math.inf
        self._said_last: list[Frame] = []

    def inject(self, mishap: Mishap) -> None:
        """Makes a mishap befall the next vehicle request that has none yet."""
        self._next.append(mishap)

    def receive(self, data: bytes, now: float) -> Outbox:
        """Takes bytes that the computer sends at time `now`.

        Returns everything that is still to come, as (due, bytes) in order of time. It
        replaces what earlier calls returned: an interruption takes back what was not
        yet sent. Unit: seconds.
        """
        t = max(now + self.link.latency_s / 2, self._rx_free)
        for byte in data:
            t += self.link.bytes_s(1)
            self._take_in(byte, t)
        self._rx_free = t
        return list(self._outbox)

    def take(self, now: float) -> bytes:
        """Removes and returns the bytes that have reached the computer by `now`."""
        ready = [chunk for due, chunk in self._outbox if due <= now]
        self._outbox = self._outbox[len(ready) :]
        return b"".join(ready)

    @property
    def next_due(self) -> float | None:
        """When the next bytes reach the computer; None when none are to come."""
        return self._outbox[0][0] if self._outbox else None

    # Bytes in

    def _take_in(self, byte: int, t: float) -> None:
        if t < self._deaf_until:
            return
        if t < self._busy_until:
            self._interrupt(t)
            return
        if byte == 0:
            return
        echo = self.settings.echo or self.quirks.keeps_echo
        if byte == 0x0D:
            if echo:
                self._say("", t)
            text = self._input.decode("latin-1")
            self._input.clear()
            self._line(text, t)
            return
        if echo:
            self._put(bytes((byte,)), t)
        if byte > 0x20 and len(self._input) <= _LONGEST_INPUT:
            self._input.append(byte)

    def _interrupt(self, t: float) -> None:
        edge = t + self.link.latency_s / 2
        self._outbox = [item for item in self._outbox if item[0] <= edge]
        self._tx_free = t
        self._busy_until = -math.inf
        self._listener.interrupt(t)
        self._input.clear()
        self._end([Mishap.STOPPED.value], t)

    def hang_up(self, now: float) -> None:
        """The computer closed the port: what runs is dropped, settings stay."""
        self._outbox.clear()
        self._input.clear()
        self._busy_until = -math.inf
        self._rx_free = self._tx_free = now

    def _line(self, raw: str, t: float) -> None:
        text = raw.upper() or self._repeat
        self._repeat = text
        if text.startswith("AT"):
            self._command(text[2:], t)
        elif _HEX.fullmatch(text):
            self._request(text, t)
        else:
            self._end(["?"] if text else [], t)

    # Bytes out

    @property
    def _newline(self) -> str:
        feeds = self.settings.linefeeds or self.quirks.keeps_linefeeds
        return "\r\n" if feeds else "\r"

    def _put(self, chunk: bytes, t: float) -> float:
        start = max(t, self._tx_free)
        self._tx_free = start + self.link.bytes_s(len(chunk))
        self._outbox.append((self._tx_free + self.link.latency_s / 2, chunk))
        return self._tx_free

    def _say(self, line: str, t: float) -> float:
        if self.quirks.nul_share and self._rng.random() < self.quirks.nul_share:
            line = "\0" + line
        return self._put((line + self._newline).encode("latin-1"), t)

    def _end(self, lines: list[str], t: float, prompt: bool = True) -> float:
        done = t
        for line in lines:
            done = self._say(line, t)
        if self.quirks.prompts < 1 and self._rng.random() >= self.quirks.prompts:
            prompt = False
        if prompt:
            done = self._put((self._newline + ">").encode("ascii"), t)
        return done

    # Commands to the adapter

    def _command(self, text: str, t: float) -> None:
        t += ADAPTER_S
        if any(text.startswith(start) for start in self.quirks.refuses):
            self._end(["?"], t)
        elif text in _RESET_TEXT:
            self._reset(text, t)
        elif _MONITOR.fullmatch(text):
            self._busy_until = math.inf
        else:
            self._end([self._answer(text, t)], t)

    def _reset(self, text: str, t: float) -> None:
        self._listener.reset()
        spaces_to_line = self._newline * 2 if text != "D" else ""
        self.settings = Settings()
        if text == "D":
            self._end(["OK"], t)
            return
        self._deaf_until = t + (self.quirks.reset_s if text == "Z" else 0.1)
        self._put(spaces_to_line.encode("ascii"), self._deaf_until)
        self._end([self.quirks.banner], self._deaf_until)

    def _answer(self, text: str, t: float) -> str:
        self.bus.advance(t)
        if text == "RV":
            return f"{self.bus.voltage:.1f}V"
        if text == "FE":
            self._listener.can_blocked = False
        own = {
            "I": self.quirks.banner,
            "@1": self.quirks.device,
            "DP": describe(self.settings, self._listener.found),
            "DPN": number(self.settings, self._listener.found),
        }
        if text in own:
            return own[text]
        step = command(self.settings, text)
        if step is None:
            return "OK" if self.quirks.agrees_to_anything else "?"
        self.settings = step.settings
        if step.close:
            self._listener.close()
        return step.say

    # Requests to the vehicle

    def _request(self, text: str, t: float) -> None:
        wanted = int(text[-1], 16) if len(text) % 2 else None
        data = bytes.fromhex(text[: len(text) // 2 * 2])
        many = len(data) > 2 and data[0] == 0x01
        refused = (
            not 1 <= len(data) <= _REQUEST_BYTES
            or (wanted is not None and self.quirks.digit is Digit.REFUSED)
            or (
                wanted is not None
                and many
                and self.quirks.digit is Digit.REFUSED_WITH_MANY
            )
            or (many and self.quirks.many_pids is ManyPids.REFUSED)
        )
        if refused:
            self._end(["?"], t + ADAPTER_S)
            return
        if many and self.quirks.many_pids is ManyPids.FIRST_ONLY:
            data = data[:2]
        if self.quirks.digit is Digit.IGNORED:
            wanted = None
        self._busy_until = self._exchange(
            text, data[: self.quirks.most_bytes], wanted, t
        )

    def _exchange(self, text: str, data: bytes, wanted: int | None, t: float) -> float:
        mishap = self._mishap()
        t += ADAPTER_S + self.quirks.slow_s
        if mishap is Mishap.SILENCE:
            return math.inf
        if mishap in INSTEAD:
            return self._end([mishap.value], t + self.settings.timeout_s)
        if mishap in {Mishap.LV_RESET, Mishap.ERR94, Mishap.RESET}:
            return self._fall_over(mishap, t)
        joined = self._listener.connect(self.settings, t)
        for at, words, ends in joined.said:
            if ends:
                self._say(words, at)
            else:
                self._put(words.encode("ascii"), at)
        protocol, t = joined.protocol, joined.t
        if protocol is None:
            return self._end([joined.failure], t)
        end, frames = self._listener.listen(self.settings, protocol, data, wanted, t)
        if mishap is Mishap.STALE_FRAME:
            frames = [Arrival(t, frame) for frame in self._said_last] + frames
        elif mishap in FRAME_MISHAPS and frames:
            kept = FRAME_MISHAPS[mishap]([a.frame for a in frames], self._rng)
            times = [a.t for a in frames] + [end] * len(kept)
            frames = [Arrival(at, f) for at, f in zip(times, kept, strict=False)]
        self._said_last = [arrival.frame for arrival in frames[-1:]]
        return self._print(protocol, frames, end, text, mishap)

    def _mishap(self) -> Mishap | None:
        index = self.requests
        self.requests += 1
        if index in self._trouble.at:
            return self._trouble.at[index]
        if self._next:
            return self._next.popleft()
        for mishap, chance in self._trouble.chance.items():
            if self._rng.random() < chance:
                return mishap
        return None

    def _fall_over(self, mishap: Mishap, t: float) -> float:
        self._listener.reset()
        self.settings = Settings()
        self._listener.can_blocked = mishap is not Mishap.RESET
        word = self.quirks.banner if mishap is Mishap.RESET else mishap.value
        return self._end([word], t + 0.2)

    def _print(
        self,
        protocol: Protocol,
        arrivals: list[Arrival],
        end: float,
        text: str,
        mishap: Mishap | None,
    ) -> float:
        if not arrivals:
            lines = ["NO DATA"] if self.settings.responses else []
            if mishap is not None:
                lines = spoil_lines(mishap, lines, text, self._rng)
            return self._end(lines, end, mishap is not Mishap.NO_PROMPT)
        timed = [
            (arrival.t, line)
            for arrival in arrivals
            for line in printed(arrival.frame, protocol, self.settings, self.quirks)
        ]
        if mishap is not None:
            spoiled = spoil_lines(mishap, [line for _, line in timed], text, self._rng)
            times = [timed[0][0]] * (len(spoiled) - len(timed)) + [t for t, _ in timed]
            timed = list(zip(times, spoiled, strict=True))
        for at, line in timed:
            waiting = (self._tx_free - at) / self.link.bytes_s(1)
            full = waiting > self.quirks.buffer_bytes
            if full or (mishap is Mishap.BUFFER_FULL and at > timed[0][0]):
                return self._end([Mishap.BUFFER_FULL.value], at)
            self._say(line, at)
        return self._end([], end, mishap is not Mishap.NO_PROMPT)
