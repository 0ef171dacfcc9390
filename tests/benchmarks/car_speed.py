"""How long one step of the simulated car takes, and how fast it outruns the clock.

Run by hand: `python tests/benchmarks/car_speed.py`. CPU time, so other load matters
little.
"""

from __future__ import annotations

import time
from random import Random

from bankwise.adapters.car.drive import random_drive
from bankwise.adapters.car.model import STEP_S, Car
from bankwise.adapters.car.spec import CarSpec

SECONDS = 600.0


def main() -> None:
    """Prints microseconds a step for every kind of engine."""
    for banks in (1, 2):
        for wideband in (False, True):
            rng = Random(1)
            spec = CarSpec.random(rng, banks=banks, wideband=wideband)
            car = Car(spec, (), random_drive(rng, SECONDS), 1, 80.0)
            began = time.process_time()
            car.advance(SECONDS)
            spent = time.process_time() - began
            kind = "wide-band" if wideband else "switching"
            print(
                f"{banks} bank(s), {kind}: {spent / SECONDS * STEP_S * 1e6:5.1f} µs "
                f"a step of {STEP_S * 1e3:.0f} ms, {SECONDS / spent:.0f} x real time"
            )


if __name__ == "__main__":
    main()
