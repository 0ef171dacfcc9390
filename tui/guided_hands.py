"""What hands do to a simulated car in a step: there is nobody under its bonnet."""

from __future__ import annotations

from collections.abc import Mapping

_AT_PLUG: Mapping[str, tuple[str, ...]] = {
    "connected": ("off", "on"),
    "unplugged": ("unplug {s}",),
    "first-wire": ("high {s}",),
    "second-wire": ("release {s}", "low {s}"),
    "reconnected": ("release {s}", "plug {s}", "start"),
}

HANDS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "warm-up": {"key-on": ("off", "on"), "start": ("start",), "drive": ("go 50",)},
    "force-gas": {
        "settle": ("hold 2000",),
        "feed-rich": ("propane engine 20",),
        "recover": ("propane engine 0",),
        "feed-lean": ("leak engine 30",),
        "closed": ("leak engine 0",),
    },
    "force-snap": {"settle": ("idle",), "rich": ("snap",)},
    "circuit": _AT_PLUG,
    "wiggle": {"keyed": ("off", "on"), "wiggle": ("high {s}", "release {s}")},
    "unplug": {
        "before": ("idle",),
        "unplugged": ("unplug {s}",),
        "plugged": ("plug {s}",),
    },
    "cut-and-pull": {"ready": ("go 50",), "pull": ("pull",)},
    "idle-2500": {"idle": ("idle",), "held": ("hold 2500",), "rest": ("idle",)},
    "road-plan": {"drive": ("go 60",)},
    "breathing": {"idle": ("idle",), "drive": ("go 60",), "pull": ("pull",)},
}
"""Lines that the simulated car's console understands, by test and step."""


def hands(test: str, step: str, about: str) -> tuple[str, ...]:
    """The console lines that do on a simulated car what a step asks for."""
    lines = HANDS.get(test, {}).get(step, ())
    return tuple(line.format(s=about) for line in lines)
