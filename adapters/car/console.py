"""Lines that touch the car while it runs: what a technician's hands would do.

    unplug B2S1      high B2S1      propane engine 20      snap    (the car's own)
    mishap LV RESET  befalls the next request
    drop 5           the connection is lost for five seconds
    show             what the engine unit believes now
    help             this

Each line gets one line back.
"""

from __future__ import annotations

from collections.abc import Callable

from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.quirks import Mishap

HELP = (
    "lines: show | mishap WORDS | drop SECONDS | and what the car understands: "
    "unplug B2S1, plug B2S1, high B2S1, low B2S1, release B2S1, propane engine 20, "
    "leak B1 15, snap, hold 2500, idle, go 60, pull, off, on, start, fill 90"
)

_SHOWN = ("rpm", "speed_kmh", "ect_c", "throttle_pct", "maf_gps", "map_kpa")


class Console:
    """Carries out lines.

    Args:
        adapter: whose mishaps can be called.
        touch: the car's own words; raises ValueError when not understood.
        drop: loses the connection for some seconds.
    """

    def __init__(
        self,
        adapter: SimulatedAdapter,
        touch: Callable[[str], str] | None = None,
        drop: Callable[[float], None] | None = None,
    ) -> None:
        self._adapter = adapter
        self._touch = touch
        self._drop = drop

    def line(self, text: str) -> str:
        """Carries out one line; the answer is one line and never raises."""
        word, _, rest = text.strip().partition(" ")
        match word.lower():
            case "":
                return ""
            case "help" | "?":
                return HELP
            case "show":
                return self._show()
            case "mishap":
                return self._mishap(rest)
            case "drop":
                return self._lose(rest)
        if self._touch is None:
            return f"not understood: {text.strip()}"
        try:
            return self._touch(text.strip())
        except ValueError as error:
            return f"not understood: {error}"

    def _show(self) -> str:
        readings = self._adapter.bus.car.readings
        chosen = [*_SHOWN, *(name for name in readings if name.startswith("o2_"))]
        return " ".join(f"{n}={readings[n]:.4g}" for n in chosen if n in readings)

    def _mishap(self, words: str) -> str:
        wanted = words.strip().upper().replace("-", "_").replace(" ", "_")
        for mishap in Mishap:
            if mishap.name == wanted:
                self._adapter.inject(mishap)
                return f"next request: {mishap.value}"
        names = ", ".join(mishap.name.lower() for mishap in Mishap)
        return f"no such mishap; there are: {names}"

    def _lose(self, seconds: str) -> str:
        try:
            length = float(seconds or "3")
        except ValueError:
            return f"not a number of seconds: {seconds}"
        if self._drop is None or not 0 <= length < 3600:
            return "the connection cannot be dropped so"
        self._drop(length)
        return f"connection lost for {length:g} s"
