"""What a trouble code is about: bank, sensor or cylinder, and which system.

Standard powertrain codes name their bank in their number. The ranges follow the
numbering of SAE J2012 as printed in public code lists; from memory of J2012.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_SHAPE = re.compile(r"[PCBU][0-3][0-9A-F]{3}(-[0-9A-F]{2})?\Z")


@dataclass(frozen=True, slots=True)
class CodeRange:
    """Codes `first` to `last` (both included) share a place and a system."""

    first: str
    last: str
    about: str
    system: str

    def holds(self, code: str) -> bool:
        """True when the code lies in the range."""
        return self.first <= code <= self.last


FUEL = "fuel control"
SENSOR = "oxygen sensor"
HEATER = "sensor heater"
CAM = "cam timing"
CATALYST = "catalyst"
MISFIRE = "misfire"
AIR = "air metering"
COOLING = "cooling"
EXHAUST = "exhaust"
OTHER = "other"


def _range(first: str, last: str, about: str, system: str) -> CodeRange:
    return CodeRange(f"P{first}", f"P{last}", about, system)


RANGES: tuple[CodeRange, ...] = (
    _range("0008", "0008", "B1", CAM),
    _range("0009", "0009", "B2", CAM),
    _range("0010", "0017", "B1", CAM),
    _range("0018", "0025", "B2", CAM),
    _range("0026", "0027", "B1", CAM),
    _range("0028", "0029", "B2", CAM),
    _range("0030", "0032", "B1S1", HEATER),
    _range("0036", "0038", "B1S2", HEATER),
    _range("0040", "0041", "engine", SENSOR),
    _range("0042", "0044", "B1S3", HEATER),
    _range("0050", "0052", "B2S1", HEATER),
    _range("0053", "0053", "B1S1", HEATER),
    _range("0054", "0054", "B1S2", HEATER),
    _range("0055", "0055", "B1S3", HEATER),
    _range("0056", "0058", "B2S2", HEATER),
    _range("0059", "0059", "B2S1", HEATER),
    _range("0060", "0060", "B2S2", HEATER),
    _range("0061", "0061", "B2S3", HEATER),
    _range("0062", "0064", "B2S3", HEATER),
    _range("0068", "0068", "engine", AIR),
    _range("0100", "0109", "engine", AIR),
    _range("0115", "0119", "engine", COOLING),
    _range("0125", "0126", "engine", COOLING),
    _range("0128", "0128", "engine", COOLING),
    _range("0130", "0134", "B1S1", SENSOR),
    _range("0135", "0135", "B1S1", HEATER),
    _range("0136", "0140", "B1S2", SENSOR),
    _range("0141", "0141", "B1S2", HEATER),
    _range("0142", "0146", "B1S3", SENSOR),
    _range("0147", "0147", "B1S3", HEATER),
    _range("0150", "0154", "B2S1", SENSOR),
    _range("0155", "0155", "B2S1", HEATER),
    _range("0156", "0160", "B2S2", SENSOR),
    _range("0161", "0161", "B2S2", HEATER),
    _range("0162", "0166", "B2S3", SENSOR),
    _range("0167", "0167", "B2S3", HEATER),
    _range("0170", "0172", "B1", FUEL),
    _range("0173", "0175", "B2", FUEL),
    _range("0201", "0212", "engine", FUEL),
    _range("0300", "0312", "engine", MISFIRE),
    _range("0313", "0316", "engine", MISFIRE),
    _range("0335", "0349", "engine", CAM),
    _range("0365", "0369", "B1", CAM),
    _range("0385", "0389", "engine", CAM),
    _range("0390", "0394", "B2", CAM),
    _range("0420", "0424", "B1", CATALYST),
    _range("0430", "0434", "B2", CATALYST),
    _range("0470", "0479", "engine", EXHAUST),
    _range("2096", "2097", "B1", FUEL),
    _range("2098", "2099", "B2", FUEL),
    _range("2177", "2180", "engine", FUEL),
    _range("2187", "2188", "B1", FUEL),
    _range("2189", "2190", "B2", FUEL),
    _range("2191", "2192", "B1", FUEL),
    _range("2193", "2194", "B2", FUEL),
    _range("2195", "2196", "B1S1", SENSOR),
    _range("2197", "2198", "B2S1", SENSOR),
    _range("2231", "2231", "B1S1", SENSOR),
    _range("2232", "2232", "B1S2", SENSOR),
    _range("2234", "2234", "B2S1", SENSOR),
    _range("2235", "2235", "B2S2", SENSOR),
    _range("2237", "2239", "B1S1", SENSOR),
    _range("2240", "2242", "B2S1", SENSOR),
    _range("2243", "2245", "B1S1", SENSOR),
    _range("2246", "2250", "B2S1", SENSOR),
    _range("2251", "2253", "B1S1", SENSOR),
    _range("2254", "2256", "B2S1", SENSOR),
    _range("2270", "2271", "B1S2", SENSOR),
    _range("2272", "2273", "B2S2", SENSOR),
    _range("2A00", "2A00", "B1S1", SENSOR),
    _range("2A01", "2A01", "B1S2", SENSOR),
    _range("2A02", "2A02", "B1S3", SENSOR),
    _range("2A03", "2A03", "B2S1", SENSOR),
    _range("2A04", "2A04", "B2S2", SENSOR),
    _range("2A05", "2A05", "B2S3", SENSOR),
)
"""Standard codes whose place or system matters here, in numerical order."""

_CROSSED = frozenset({"P0040", "P0041"})
_CAM_CRANK = {"P0016": "B1", "P0017": "B1", "P0018": "B2", "P0019": "B2"}


def is_code(text: str) -> bool:
    """True for a well-formed trouble code such as `P0171` or `P0171-00`."""
    return bool(_SHAPE.match(text))


def base(code: str) -> str:
    """The five-character code without a failure-type suffix, in capitals."""
    return code.upper().split("-")[0]


def is_standard(code: str) -> bool:
    """True when the standard, not the maker, defines the code's meaning.

    Source: SAE J2012 numbering (P0, P2, P34-P39, U0, U3, B0, C0), from memory.
    """
    name = base(code)
    return (
        name[1] in "02"
        or name[:3] in {f"P3{n}" for n in "456789"}
        or (name[0] == "U" and name[1] == "3")
    )


def range_of(code: str) -> CodeRange | None:
    """The row of the table that holds a code; None when it is about other things."""
    name = base(code)
    return next((row for row in RANGES if row.holds(name)), None)


def about(code: str) -> str:
    """The place a code names: `B1`, `B2S1` or `engine`."""
    row = range_of(code)
    return row.about if row else "engine"


def system(code: str) -> str:
    """The system a code belongs to, in the trade's words."""
    row = range_of(code)
    return row.system if row else OTHER


def speaks_of_crossed_sensors(code: str) -> bool:
    """True for the codes that say front or rear sensor plugs are swapped."""
    return base(code) in _CROSSED


def cam_crank_bank(code: str) -> str | None:
    """The bank whose cam does not agree with the crank; None for other codes."""
    return _CAM_CRANK.get(base(code))
