"""How much air flows, on any car, and in which of four bins.

Load times engine speed is there on every car; it serves where no air meter does.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Floats
from bankwise.signals.derived import Derived
from bankwise.signals.driving import Driving
from bankwise.signals.view import TickView

LOW_FLOW, HIGH_FLOW = 600.0, 1500.0
"""Limits of the airflow bins, engine speed times load share. Unit: rpm.

Source: our choice, because town driving stays below the first, motorway cruise between
them and pulling hard above the second.
"""


def _mass_air(see: TickView) -> Floats:
    pressure = np.where(see.seen("map_kpa"), 0.0, np.nan)
    return np.where(see.seen("maf_gps"), 1.0, pressure)


def _flow_rpm(see: TickView) -> Floats:
    rpm = see["rpm"]
    by_load = rpm * see["load_pct"] / 100.0
    by_pressure = rpm * see["map_kpa"] / 100.0
    by_mass = see["maf_gps"] * 60.0
    first = np.where(np.isnan(by_load), by_pressure, by_load)
    return np.where(np.isnan(first), by_mass, first)


def _airflow_bin(see: TickView) -> Floats:
    flow, state = see["flow_rpm"], see["state"]
    level = np.where(flow < LOW_FLOW, 1.0, np.where(flow < HIGH_FLOW, 2.0, 3.0))
    level = np.where(np.isnan(flow), np.nan, level)
    driven = (
        (state == Driving.CRUISE)
        | (state == Driving.ACCELERATION)
        | (state == Driving.PART_LOAD)
        | (state == Driving.WIDE_OPEN)
    )
    return np.where(state == Driving.IDLE, 0.0, np.where(driven, level, np.nan))


_RPM = ("rpm",)

ROWS: tuple[Derived, ...] = (
    Derived(
        "mass_air",
        "meters air by mass",
        "",
        _mass_air,
        ("maf_gps", "map_kpa"),
        s.COMMON,
    ),
    Derived(
        "flow_rpm",
        "airflow as engine speed at full filling",
        "rpm",
        _flow_rpm,
        _RPM,
        s.OURS + ", because load times speed is there on every car",
        decimals=0,
    ),
    Derived("airflow_bin", "airflow bin", "", _airflow_bin, _RPM, s.OURS),
)
"""Flow signals, in the order of computation; they need the rows of `driving`."""
