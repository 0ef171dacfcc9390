"""Two faults at once: both are named, and neither is explained away by the other."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Floats
from bankwise.signals.engine import Engine

Wave = Callable[[Floats], Floats] | float | None
Watch = Callable[..., Engine]
Change = dict[str, Wave]


def _named(engine: Engine) -> list[tuple[str, str]]:
    return [(found.id, found.about) for found in engine.explanations()]


FLOODED: Change = {
    "stft_b1_pct": 10.0,
    "ltft_b1_pct": lambda t: np.clip((t - 20) / 3, 0, 25),
    "o2_b1s1_v": 0.05,
}
"""Bank 1's front sensor says lean whatever the trim adds."""


@pytest.mark.parametrize("rear_v", [0.44, 0.47])
def test_a_lying_front_and_the_rear_it_flooded(watch: Watch, rear_v: float) -> None:
    """The rear no longer moves, so it cannot contradict; both sensors are named."""
    engine = watch(FLOODED | {"o2_b1s2_v": rear_v}, seconds=400)
    named = _named(engine)
    assert ("sensor-reads-lean", "B1S1") in named[:3]
    assert ("rear-sensor-faulty", "B1S2") in named[:3]


def test_a_flooded_bank_that_misfires_is_still_a_lying_sensor(watch: Watch) -> None:
    """With the code of a misfire too, the sensor that drives the trim stays ahead."""
    codes = [CodeRead(150.0, "pending", ("P0300",))]
    named = _named(watch(FLOODED | {"o2_b1s2_v": 0.88}, codes=codes))
    assert named[0] == ("sensor-reads-lean", "B1S1")
    causes = [cause for cause, _ in named]
    assert "misfire" in causes


def _slow(t: Floats) -> Floats:
    """A sensor at 0.5 Hz whose edges take 200 ms between 0.3 and 0.6 V."""
    swing = np.arcsin(np.sin(2 * np.pi * 0.5 * t)) / (np.pi / 2)
    level: Floats = 0.45 + np.clip(0.75 * swing, -0.38, 0.38)
    return level


@pytest.mark.parametrize("aged", ["b1s1", "b2s1"])
def test_a_bank_short_of_air_and_an_aged_sensor(watch: Watch, aged: str) -> None:
    """Mirror trims and slow edges on either bank: both causes lead, in some order."""
    mirror: Change = {"ltft_b1_pct": 15.0, "ltft_b2_pct": -15.0, f"o2_{aged}_v": _slow}
    named = _named(watch(mirror))
    assert set(named[:2]) == {
        ("bank-breathes-less", "B2"),
        ("sensor-aged", aged.upper()),
    }


def test_one_fault_brings_no_second(watch: Watch) -> None:
    """The mirror alone accuses no sensor of age."""
    named = _named(watch({"ltft_b1_pct": 15.0, "ltft_b2_pct": -15.0}))
    assert "sensor-aged" not in {cause for cause, _ in named}
