"""Which side of λ 1 a sensor keeps saying, as its control unit reads it.

A control unit calls everything below about 0.45 V lean. A signal pulled half way down
never reaches that, so it says "lean" for ever without ever being near 0 V.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals.columns import Bools
from bankwise.signals.rule import View

LEAST_SAMPLES = 15
"""So few samples in the window cannot all fall on one side by chance of polling.

Source: our choice, because a switching sensor polled at random is on one side half the
time, and two to the power of fifteen is rare enough.
"""


def _fast(see: View, sensor: str) -> Bools:
    """A slow poll may fall into step with a switching sensor and see one side only."""
    return see[f"honest_swing_{sensor}"] > 0


def never_rich(see: View, sensor: str) -> Bools:
    """True where a switching sensor stayed below the switching point for 20 s."""
    window = see.window(f"o2_{sensor}_v", see.limit("stuck_hold_s"))
    most = window.maximum < see.limit("switch_point_v") - see.limit("switch_margin_v")
    return np.asarray(
        most & (window.n >= LEAST_SAMPLES) & _narrow(see, sensor) & _fast(see, sensor)
    )


def never_lean(see: View, sensor: str) -> Bools:
    """True where a switching sensor stayed above the switching point for 20 s."""
    window = see.window(f"o2_{sensor}_v", see.limit("stuck_hold_s"))
    least = window.minimum > see.limit("switch_point_v") + see.limit("switch_margin_v")
    return np.asarray(
        least & (window.n >= LEAST_SAMPLES) & _narrow(see, sensor) & _fast(see, sensor)
    )


def early_cut(see: View, seconds: str) -> Bools:
    """True in the moment a fuel cut has lasted so long that a sensor must be lean.

    Only then: nothing tells when exactly the fuel returns, so later is not proof.
    """
    since = see["cut_run_s"] - see.limit("cut_purge_s") - see.limit(seconds)
    return (since >= 0) & (since < see.limit("cut_judge_s")) & (see["fuel_cut"] > 0)


def at_rest(see: View) -> Bools:
    """True where the sensor says nothing at all: parked at its bias, or frozen."""
    still = see.limit("frozen_hold_s")
    return (see["parked_{s}_s"] >= still) | (see["frozen_{s}_s"] >= still)


def _narrow(see: View, sensor: str) -> Bools:
    return ~(see[f"wideband_{sensor}"] > 0)
