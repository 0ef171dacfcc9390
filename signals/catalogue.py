"""The signal catalogue: the name, place, unit and pace of everything measured.

One row a quantity; rows that exist once a bank or once a sensor are expanded here
and nowhere else. Which bytes carry a signal is the business of `adapters.pids`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

BANKS = (1, 2)
POSITIONS = (1, 2, 3, 4)


class Pace(Enum):
    """How often a signal is worth asking for. Our choice."""

    FAST = "fast"
    MEDIUM = "medium"
    SLOW = "slow"
    ONCE = "once"


WANTED_HZ = {Pace.FAST: 10.0, Pace.MEDIUM: 2.0, Pace.SLOW: 0.2, Pace.ONCE: 0.0}
"""The rate aimed at per pace. Unit: samples per second."""


@dataclass(frozen=True, slots=True)
class Signal:
    """One measured quantity at one place.

    Attributes:
        name: quantity, place, unit, as in exports and `--json`.
        title: the trade's words for it, without the place.
        unit: as printed; empty for a pure number.
        pace: how often it is worth asking for.
        decimals: digits after the point that the encoding can carry.
        bank: 1 or 2, or None when it belongs to the whole engine.
        position: place along the exhaust, 1 upstream, or None.
    """

    name: str
    title: str
    unit: str
    pace: Pace
    decimals: int = 1
    bank: int | None = None
    position: int | None = None

    @property
    def about(self) -> str:
        """What it belongs to: `B1`, `B2S1` or `engine`."""
        if self.bank is None:
            return "engine"
        return f"B{self.bank}" + (f"S{self.position}" if self.position else "")


_F, _M, _S, _O = Pace.FAST, Pace.MEDIUM, Pace.SLOW, Pace.ONCE

_ENGINE = (
    Signal("rpm", "engine speed", "rpm", _F, 0),
    Signal("speed_kmh", "vehicle speed", "km/h", _M, 0),
    Signal("load_pct", "calculated load", "%", _M),
    Signal("abs_load_pct", "absolute load", "%", _M),
    Signal("ect_c", "coolant temperature", "°C", _S, 0),
    Signal("iat_c", "intake air temperature", "°C", _S, 0),
    Signal("oil_c", "oil temperature", "°C", _S, 0),
    Signal("ambient_c", "ambient temperature", "°C", _S, 0),
    Signal("map_kpa", "manifold pressure", "kPa", _M, 0),
    Signal("baro_kpa", "barometric pressure", "kPa", _S, 0),
    Signal("maf_gps", "air mass flow", "g/s", _F, 2),
    Signal("throttle_pct", "throttle", "%", _F),
    Signal("throttle_rel_pct", "relative throttle", "%", _M),
    Signal("throttle_cmd_pct", "commanded throttle", "%", _M),
    Signal("pedal_pct", "accelerator pedal", "%", _M),
    Signal("timing_deg", "ignition advance", "°", _M),
    Signal("run_s", "time since start", "s", _S, 0),
    Signal("fuel_level_pct", "fuel level", "%", _S),
    Signal("fuel_type", "fuel type", "", _O, 0),
    Signal("ethanol_pct", "ethanol share", "%", _S),
    Signal("module_v", "control unit voltage", "V", _S, 2),
    Signal("lambda_cmd", "commanded lambda", "λ", _M, 3),
    Signal("purge_pct", "purge valve", "%", _M),
    Signal("egr_pct", "commanded EGR", "%", _M),
    Signal("fuel_pressure_kpa", "fuel pressure", "kPa", _M, 0),
    Signal("fuel_rail_kpa", "fuel rail pressure", "kPa", _M, 0),
    Signal("fuel_rate_lph", "fuel rate", "L/h", _M, 2),
    Signal("lamp_km", "distance with lamp on", "km", _O, 0),
    Signal("lamp_min", "run time with lamp on", "min", _O, 0),
    Signal("warmups", "warm-ups since clear", "", _O, 0),
    Signal("cleared_km", "distance since clear", "km", _O, 0),
    Signal("cleared_min", "time since clear", "min", _O, 0),
    Signal("odometer_km", "odometer", "km", _O),
)

_PER_BANK = (
    ("stft", "pct", "short-term trim", "%", _M, 1),
    ("ltft", "pct", "long-term trim", "%", _M, 1),
    ("rear_stft", "pct", "rear short-term trim", "%", _M, 1),
    ("rear_ltft", "pct", "rear long-term trim", "%", _M, 1),
    ("fuel_status", "", "fuel system status", "", _M, 0),
    ("exhaust", "kpa", "exhaust pressure", "kPa", _M, 2),
)

_PER_SENSOR = (
    ("o2", "v", "oxygen sensor", "V", _F, 3),
    ("o2", "trim_pct", "trim from this sensor", "%", _F, 1),
    ("lambda", "", "measured lambda", "λ", _F, 3),
    ("o2", "ma", "pump current", "mA", _F, 2),
    ("o2", "wide_v", "wide-band voltage", "V", _F, 3),
    ("cat", "c", "catalyst temperature", "°C", _S, 0),
    ("egt", "c", "exhaust gas temperature", "°C", _S, 0),
)


def _expand() -> dict[str, Signal]:
    rows = {row.name: row for row in _ENGINE}
    for stem, unit_tag, title, unit, pace, decimals in _PER_BANK:
        for bank in BANKS:
            name = "_".join(filter(None, (stem, f"b{bank}", unit_tag)))
            rows[name] = Signal(name, title, unit, pace, decimals, bank)
    for stem, unit_tag, title, unit, pace, decimals in _PER_SENSOR:
        for bank in BANKS:
            for position in POSITIONS:
                place = f"b{bank}s{position}"
                name = "_".join(filter(None, (stem, place, unit_tag)))
                rows[name] = Signal(name, title, unit, pace, decimals, bank, position)
    return rows


SIGNALS: dict[str, Signal] = _expand()
"""Every standard signal by name."""
