"""The ledger's table: every weight there is, with its reason, put together by subject.

1 fits, 2 speaks for it, 4 is hard to explain otherwise, 8 is a forced test; below
zero speaks against. Source: our choice throughout, after the causes that stand
beside each flag.
"""

from __future__ import annotations

from bankwise.signals import (
    weights_engine,
    weights_loop,
    weights_sensors,
    weights_told,
    weights_trims,
)
from bankwise.signals.ledger import Weight

WEIGHTS: tuple[Weight, ...] = (
    *weights_sensors.WEIGHTS,
    *weights_loop.WEIGHTS,
    *weights_trims.WEIGHTS,
    *weights_engine.WEIGHTS,
    *weights_told.WEIGHTS,
)
"""Every weight there is."""
