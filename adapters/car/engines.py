"""Kinds of engines that the stories are told of: fields of a car not left to chance."""

from __future__ import annotations

from typing import Any

from bankwise.adapters.pids import Layout

SIX: dict[str, Any] = {
    "banks": 2, "cylinders": 6, "displacement_l": 3.2, "mass_air": True,
    "wideband": False, "layout": Layout.TWO_BANKS, "protocol": "6", "ambient_c": 16.0,
    "altitude_m": 120.0, "stoich": 14.64,
}  # fmt: skip
"""A V6 with an air meter and switching sensors; sensors announced by PID 13."""

SIX_WIDE: dict[str, Any] = {
    "banks": 2, "cylinders": 6, "displacement_l": 3.5, "mass_air": True,
    "wideband": True, "layout": Layout.FOUR_BANKS, "protocol": "8", "ambient_c": 20.0,
    "altitude_m": 60.0, "wide_report": "ma", "stoich": 14.64,
}  # fmt: skip
"""A V6 with an air meter and wide-band sensors; sensors announced by PID 1D."""

SIX_PRESSURE_WIDE: dict[str, Any] = {
    "banks": 2, "cylinders": 6, "displacement_l": 3.7, "mass_air": False,
    "wideband": True, "layout": Layout.TWO_BANKS, "protocol": "7", "ambient_c": 14.0,
    "altitude_m": 350.0, "wide_report": "volts", "stoich": 14.64,
}  # fmt: skip
"""A V6 that computes its air from manifold pressure, with wide-band sensors."""

V8_PRESSURE: dict[str, Any] = {
    "banks": 2, "cylinders": 8, "displacement_l": 4.8, "mass_air": False,
    "wideband": False, "layout": Layout.TWO_BANKS, "protocol": "6", "ambient_c": 22.0,
    "altitude_m": 200.0, "stoich": 14.64,
}  # fmt: skip
"""A V8 that computes its air from manifold pressure, with switching sensors."""

INLINE_WIDE: dict[str, Any] = {
    "banks": 1, "cylinders": 4, "displacement_l": 1.9, "mass_air": True,
    "wideband": True, "layout": Layout.TWO_BANKS, "protocol": "6", "ambient_c": 12.0,
    "altitude_m": 80.0, "wide_report": "ma",
}  # fmt: skip
"""An inline engine with an air meter and a wide-band sensor."""

INLINE_PRESSURE: dict[str, Any] = {
    "banks": 1, "cylinders": 4, "displacement_l": 1.6, "mass_air": False,
    "wideband": False, "layout": Layout.TWO_BANKS, "protocol": "6", "ambient_c": -2.0,
    "altitude_m": 80.0,
}  # fmt: skip
"""A small inline engine without an air meter."""

INLINE_OLD: dict[str, Any] = {
    "banks": 1, "cylinders": 4, "displacement_l": 2.2, "mass_air": False,
    "wideband": False, "layout": Layout.TWO_BANKS, "protocol": "4", "ambient_c": 9.0,
    "altitude_m": 150.0,
}  # fmt: skip
"""An inline engine of the years before CAN."""
