"""The registry: every flag there is, in the order the engine must try them.

Rules that void what the trims seem to say come first, so that the pattern rules
after them already know.
"""

from __future__ import annotations

from bankwise.signals import (
    flags_catalyst,
    flags_common,
    flags_engine,
    flags_fronts,
    flags_loop,
    flags_sensors,
    flags_session,
    flags_trims,
)
from bankwise.signals.rule import Condition, Gate, Kind, Rule, View

__all__ = [
    "BY_ID",
    "RULES",
    "TRIM_VOIDS",
    "Condition",
    "Gate",
    "Kind",
    "Rule",
    "View",
]

RULES: tuple[Rule, ...] = (
    *flags_loop.RULES,
    *flags_sensors.RULES,
    *flags_fronts.RULES,
    *flags_trims.RULES,
    *flags_common.RULES,
    *flags_catalyst.RULES,
    *flags_engine.RULES,
    *flags_session.RULES,
)
"""Every flag rule, voiding rules first."""

BY_ID: dict[str, Rule] = {rule.id: rule for rule in RULES}
"""The same rules by id."""

TRIM_VOIDS = (
    "open-loop-fault",
    "closed-loop-fault",
    "trim-at-limit",
    "misfire-false-lean",
)
"""While one of these is active on a bank its trim patterns say nothing.

Source: our choice, because a trim that is stuck, frozen or fooled shows no pattern.
"""
