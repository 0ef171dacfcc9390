"""Phases of a drive, found by themselves from the driving state and temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import Bools
from bankwise.signals.driving import Driving
from bankwise.signals.frame import Frame
from bankwise.signals.windows import TICK_S

COLD_START_S = 60.0
"""The first minute of a start from cold. Source: our choice, because sensors wake and
the loop closes in it."""

COLD_C = 50.0
"""Below this a start is a cold one. Source: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Phase:
    """One kind of driving: its name and the ticks that belong to it."""

    name: str
    ticks: Bools

    @property
    def seconds(self) -> float:
        """How long it was driven in all."""
        return float(np.count_nonzero(self.ticks)) * TICK_S

    @property
    def stretches(self) -> tuple[tuple[float, float], ...]:
        """Its stretches, `(first, last)`. Unit: seconds."""
        edges = np.diff(self.ticks.astype(np.int8), prepend=0, append=0)
        starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        return tuple(
            (float(a) * TICK_S, float(b - 1) * TICK_S)
            for a, b in zip(starts, ends, strict=True)
        )


def phases(frame: Frame) -> tuple[Phase, ...]:
    """The phases of a session in the order in which a drive meets them.

    Idle, cruise, accelerations, part load, closed throttle, fuel cuts and wide open are
    of the engine once warm; before, it is cold start and warm-up.
    """
    state, since = frame["state"], frame["since_start_s"]
    running, warm = frame["running"] == 1, frame["warm"] == 1
    cold = running & (since <= COLD_START_S) & (frame["ect_start_c"] < COLD_C)
    warming = running & ~warm & ~cold
    settled = running & warm & ~cold
    return (
        Phase("key-on", (state == Driving.OFF) | (state == Driving.CRANKING)),
        Phase("cold-start", cold),
        Phase("warm-up", warming),
        Phase("idle", settled & (state == Driving.IDLE)),
        Phase("cruise", settled & (state == Driving.CRUISE)),
        Phase("part-load", settled & (state == Driving.PART_LOAD)),
        Phase("acceleration", settled & (state == Driving.ACCELERATION)),
        Phase("wide-open", settled & (state == Driving.WIDE_OPEN)),
        Phase("deceleration", settled & (state == Driving.DECELERATION)),
        Phase("fuel-cut", settled & (state == Driving.FUEL_CUT)),
    )
