"""Every limit the rules compare against, in one flat table that a user may change.

A limit is a default, not law: single-model service values are examples. Each row
carries its unit and where it comes from, and remembers when a person changed it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from bankwise.signals import sources as s


class ThresholdError(ValueError):
    """A user's thresholds name something unknown or hold something unusable."""

    title = "Thresholds not usable"


@dataclass(frozen=True, slots=True)
class Threshold:
    """One limit.

    Attributes:
        name: as in a user's `thresholds.toml`.
        value: the limit, in `unit`.
        unit: as printed; empty for a pure number.
        source: the document, "common practice, no source", or our reason.
        changed_from: the shipped default when a person changed it, else None.
    """

    name: str
    value: float
    unit: str
    source: str
    changed_from: float | None = None


def _ours(why: str) -> str:
    return f"{s.OURS}, because {why}"


_ROWS: tuple[tuple[str, float, str, str], ...] = (
    # When the rules may speak at all.
    ("gate_volts_min", 11.0, "V", s.COMMON),
    ("gate_volts_max", 16.0, "V", s.COMMON),
    ("gate_coolant_c", 70.0, "°C", s.COMMON),
    ("gate_loop_age_s", 60.0, "s", s.COMMON),
    ("gate_status_s", 3.0, "s", s.COMMON),
    ("gate_run_s", 900.0, "s", _ours("a cold engine regulates by then or never")),
    ("at_once_s", 0.0, "s", _ours("a plain fact needs no waiting")),
    ("settled_s", 3.0, "s", _ours("the figure itself already looks back")),
    ("idle_settle_s", 60.0, "s", s.COMMON),
    # Trims.
    ("trim_add_pct", 10.0, "%", s.CADILLAC_2006),
    ("common_add_pct", 12.0, "%", _ours("ethanol asks both banks for some percent")),
    ("trim_fade_pct", 5.0, "%", s.COMMON),
    ("trim_level_pct", 5.0, "%", s.COMMON),
    ("trim_fade_share", 0.5, "", _ours("a leak's share falls as fast as flow grows")),
    ("trim_apart_pct", 10.0, "%", _ours("fuel and tolerance move both banks alike")),
    ("trim_rise_pct", 5.0, "%", s.COMMON),
    ("trim_cells_min", 2.0, "cells", _ours("one cell may hold one odd moment")),
    ("imbalance_pct", 15.0, "%", s.MOTOR_2012_FEB),
    ("mirror_common_pct", 5.0, "%", s.COMMON),
    (
        "mirror_common_share",
        0.33,
        "",
        _ours("ethanol moves both banks by some percent"),
    ),
    ("learning_pct_per_min", 3.0, "%/min", s.COMMON),
    ("learning_hold_s", 20.0, "s", s.COMMON),
    ("limit_hold_s", 10.0, "s", s.COMMON),
    ("limit_confirm_s", 1.0, "s", _ours("ten seconds at the end were counted")),
    ("limit_least_pct", 15.0, "%", _ours("no maker's trim ends below this")),
    ("lying_lean_trim_pct", 20.0, "%", s.SUZUKI_2010),
    ("lying_rich_trim_pct", -15.0, "%", s.COMMON),
    ("crossed_spread_pct", 20.0, "%", s.PORSCHE_986),
    ("crossed_slope_pct_per_min", 10.0, "%/min", _ours("learning settles slower")),
    ("crossed_hold_s", 10.0, "s", _ours("the growth itself is taken over 30 s")),
    ("open_other_bank_s", 60.0, "s", s.COMMON),
    ("loop_fault_hold_s", 2.0, "s", s.COMMON),
    ("pattern_hold_s", 10.0, "s", s.COMMON),
    ("leak_pattern_hold_s", 20.0, "s", s.FORD_LEAKS),
    ("leak_rear_v", 0.75, "V", _ours("a good catalyst alone may hold 0.7 V")),
    # Front sensors.
    ("front_lean_v", 0.2, "V", s.SUZUKI_2010),
    ("front_rich_v", 0.8, "V", s.COMMON),
    ("front_lean_lambda", 1.05, "λ", s.COMMON),
    ("front_rich_lambda", 0.95, "λ", s.COMMON),
    ("lying_hold_s", 10.0, "s", s.COMMON),
    ("parked_low_v", 0.391, "V", s.SATURN_1998),
    ("parked_high_v", 0.491, "V", s.SATURN_1998),
    ("parked_hold_s", 60.0, "s", s.SATURN_1998),
    ("parked_band_v", 0.03, "V", _ours("an open input moves by a count or two")),
    ("parked_swing_v", 0.06, "V", _ours("noise on an open input stays below")),
    ("stuck_hold_s", 20.0, "s", s.COMMON),
    ("stuck_trim_move_pct", 5.0, "%", s.COMMON),
    ("frozen_hold_s", 10.0, "s", s.COMMON),
    ("frozen_throttle_pct", 5.0, "%", _ours("air moves enough to move λ")),
    ("switch_point_v", 0.45, "V", s.COMMON),
    ("switch_margin_v", 0.06, "V", _ours("a parked input must not count as a side")),
    ("switch_window_s", 20.0, "s", s.COMMON),
    ("switches_min", 3.0, "switches", s.COMMON),
    ("switch_rpm_min", 1000.0, "rpm", s.GM_2000),
    ("switch_rpm_max", 3000.0, "rpm", s.GM_2000),
    ("response_lr_ms", 140.0, "ms", s.GM_2000),
    ("response_rl_ms", 110.0, "ms", s.GM_2000),
    ("response_events_min", 10.0, "events", s.COMMON),
    ("asymmetry_min", 0.6, "", s.SATURN_1999),
    ("asymmetry_max", 2.8, "", s.SATURN_1999),
    ("swing_min_v", 0.6, "V", s.TEXTBOOK),
    ("swing_hold_s", 20.0, "s", s.COMMON),
    ("wake_up_s", 60.0, "s", s.SATURN_1998),
    ("wake_up_ratio", 2.0, "", s.COMMON),
    ("wake_up_rear_s", 180.0, "s", _ours("its heater waits for a dry pipe")),
    ("wake_up_own_ratio", 3.0, "", _ours("front and rear heaters differ, not by that")),
    ("wake_up_own_s", 50.0, "s", _ours("with its heater a front wakes before that")),
    ("wake_up_first_s", 120.0, "s", _ours("asleep for longer is no cold start")),
    ("wake_up_apart_s", 20.0, "s", _ours("small differences are where they sit")),
    ("plain_air_lambda", 1.6, "λ", _ours("no petrol burns so lean: that is air")),
    ("lambda_error_pct", 5.0, "%", s.COMMON),
    ("lambda_error_hold_s", 10.0, "s", s.COMMON),
    ("forcing_hold_s", 5.0, "s", s.COMMON),
    # Rear sensors and catalyst.
    ("rear_rich_v", 0.6, "V", s.SUZUKI_2010),
    ("rear_lean_v", 0.2, "V", s.COMMON),
    ("rear_flat_low_v", 0.40, "V", s.COMMON),
    ("rear_flat_high_v", 0.55, "V", s.COMMON),
    ("rear_pinned_v", 0.12, "V", _ours("plain air reads below it")),
    ("rear_pinned_hold_s", 300.0, "s", _ours("no catalyst takes so long to fill")),
    ("rear_rest_v", 0.52, "V", _ours("a good rear rests above, an open input below")),
    ("rear_flat_band_v", 0.10, "V", s.COMMON),
    ("rear_flat_states", 3.0, "states", _ours("that is mixed driving")),
    ("rear_busy_vps", 0.45, "V/s", _ours("a good catalyst keeps the rear below it")),
    ("rear_lively_v", 0.3, "V", _ours("noise alone must not look busy")),
    ("rear_flat_hold_s", 120.0, "s", s.COMMON),
    ("rear_decel_v", 0.45, "V", s.MAZDA_2003),
    ("rear_decel_s", 6.0, "s", s.MAZDA_2003),
    ("rear_ratio_max", 0.75, "", s.COMMON),
    ("rear_copy_max", 1.3, "", _ours("more crossings than the front made are noise")),
    ("rear_ratio_hold_s", 100.0, "s", s.COMMON),
    ("catalyst_hot_c", 950.0, "°C", s.MITSUBISHI_2003),
    ("catalyst_hot_hold_s", 5.0, "s", s.COMMON),
    # Driving events.
    ("cut_rpm_min", 1500.0, "rpm", s.TOYOTA_2021),
    ("cut_hold_s", 3.0, "s", s.TOYOTA_2021),
    ("cut_front_v", 0.2, "V", s.TOYOTA_2021),
    ("cut_lambda", 1.2, "λ", _ours("a fuel cut fills the pipe with plain air")),
    ("cut_judge_s", 1.0, "s", _ours("nothing tells when the fuel returns")),
    ("cut_purge_s", 1.0, "s", _ours("the pipe ahead of the sensor must empty")),
    ("wide_open_front_v", 0.8, "V", s.COMMON),
    ("wide_open_hold_s", 2.0, "s", s.COMMON),
    # Whole engine.
    ("wide_open_command", 0.97, "λ", _ours("leaner commands ask for no power")),
    ("ve_share_min", 0.8, "", s.MOTOR_2003),
    ("ve_pulls_min", 2.0, "pulls", s.COMMON),
    ("cam_error_deg", 10.0, "°", s.MAZDA_CAM),
    ("cam_hold_s", 5.0, "s", s.MAZDA_CAM),
    ("thermostat_c", 71.0, "°C", s.SUZUKI_2003),
    ("thermostat_after_s", 900.0, "s", s.SUZUKI_2003),
    ("thermostat_slope", 0.5, "°C/min", s.COMMON),
    ("closed_loop_warm_s", 120.0, "s", s.ISUZU_2001),
    ("closed_loop_cool_s", 300.0, "s", s.ISUZU_2001),
    ("closed_loop_cold_s", 600.0, "s", s.ISUZU_2001),
    ("fuel_level_min_pct", 10.0, "%", s.COMMON),
    ("supply_hold_s", 10.0, "s", s.COMMON),
    ("warmups_min", 3.0, "warm-ups", s.COMMON),
    ("misfire_hold_s", 10.0, "s", s.COMMON),
    ("misfire_apart_pct", 5.0, "%", s.COMMON),
    ("link_lost_s", 3.0, "s", s.COMMON),
    ("slow_hold_s", 10.0, "s", _ours("the rate must have settled")),
    ("switching_hz_min", 10.0, "Hz", f"{s.DERIVED}: five samples a half-cycle at 1 Hz"),
    ("response_hz_min", 20.0, "Hz", f"{s.DERIVED}: a 100 ms edge needs 50 ms samples"),
)


class Thresholds(Mapping[str, float]):
    """The limits in force: name to value, with unit and source beside each.

    Indexing gives the value; `row(name)` gives the whole record.
    """

    __slots__ = ("_rows",)

    def __init__(self, rows: Mapping[str, Threshold]) -> None:
        self._rows = dict(rows)

    def __getitem__(self, name: str) -> float:
        """The limit in force. Raises KeyError for an unknown name."""
        return self._rows[name].value

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def row(self, name: str) -> Threshold:
        """The limit with its unit and source. Raises KeyError when unknown."""
        return self._rows[name]

    @property
    def changed(self) -> tuple[Threshold, ...]:
        """The limits a person changed, in table order."""
        return tuple(r for r in self._rows.values() if r.changed_from is not None)

    def with_changes(self, changes: Mapping[str, object]) -> Thresholds:
        """The same table with a person's values, each remembered as changed.

        Raises:
            ThresholdError: for an unknown name or a value that is not a finite
                number; the message names it.
        """
        rows = dict(self._rows)
        for name, value in changes.items():
            row = rows.get(name)
            if row is None:
                raise ThresholdError(f"no threshold is called {name!r}")
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise ThresholdError(f"{name} must be a number, not {value!r}")
            number = float(value)
            if not math.isfinite(number):
                raise ThresholdError(f"{name} must be a finite number, not {value!r}")
            shipped = row.value if row.changed_from is None else row.changed_from
            was = None if number == shipped else shipped
            rows[name] = Threshold(name, number, row.unit, row.source, was)
        return Thresholds(rows)


def _table() -> Thresholds:
    rows = {name: Threshold(name, v, u, src) for name, v, u, src in _ROWS}
    if len(rows) != len(_ROWS):
        raise AssertionError("a threshold is listed twice")
    return Thresholds(rows)


DEFAULTS = _table()
"""The shipped limits."""
