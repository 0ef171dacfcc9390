"""On-board test results (service 06): value, limits, and how much margin is left.

Scalings come from python-OBD's table of unit-and-scaling numbers. A number it does
not know is shown raw and never dropped. Monitor and test names after SAE J1979 as
restated in public tables; those marked below are from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from bankwise.signals.evidence import MonitorResult

_SIGNED_FROM = 0x80
_RECORD = 9
_OLDER_RECORD = 7
_MISFIRE = 0xA1
"""Monitor number of all cylinders together; the next twelve are one each."""
_NO_LIMIT = 0xFFFF
_ENDS = {False: (b"\x00\x00", b"\xff\xff"), True: (b"\x80\x00", b"\x7f\xff")}
"""Lowest and highest two bytes, by sign: a limit there is no limit."""

_UNIT_SIGNS = {
    "ampere": "A",
    "count": "",
    "degree": "°",
    "degree_Celsius": "°C",
    "gps": "g/s",
    "gram": "g",
    "hertz": "Hz",
    "inch": "in",
    "kilogram / hour": "kg/h",
    "kilohertz": "kHz",
    "kilometer": "km",
    "kilometer_per_hour": "km/h",
    "kiloohm": "kΩ",
    "kilopascal": "kPa",
    "liter": "L",
    "microampere": "µA",
    "microsecond": "µs",
    "milliampere": "mA",
    "milligram": "mg",
    "millihertz": "mHz",
    "millimeter ** 2": "mm²",
    "milliohm": "mΩ",
    "millisecond": "ms",
    "millivolt": "mV",
    "millivolt / millisecond": "mV/ms",
    "millivolt / second": "mV/s",
    "minute": "min",
    "ohm": "Ω",
    "pascal": "Pa",
    "pascal / second": "Pa/s",
    "percent": "%",
    "ppm": "ppm",
    "ratio": "",
    "revolutions_per_minute": "rpm",
    "second": "s",
    "volt": "V",
}
"""Signs for the unit words of python-OBD's table."""

TESTS = {
    0x01: "rich to lean threshold voltage",
    0x02: "lean to rich threshold voltage",
    0x03: "low voltage for switch time",
    0x04: "high voltage for switch time",
    0x05: "rich to lean switch time",
    0x06: "lean to rich switch time",
    0x07: "lowest voltage in the test",
    0x08: "highest voltage in the test",
    0x09: "time between switches",
    0x0A: "switching period",
    0x0B: "average of ten drives",
    0x0C: "this or the last drive",
}
"""Standard test numbers 01-0C. Source: SAE J1979 names as in python-OBD's table."""


def _places() -> dict[int, tuple[str, str]]:
    rows: dict[int, tuple[str, str]] = {}
    for bank in range(1, 5):
        for position in range(1, 5):
            number = 4 * (bank - 1) + position
            place = f"B{bank}S{position}"
            rows[number] = (place, "oxygen sensor")
            rows[0x40 + number] = (place, "sensor heater")
        rows[0x20 + bank] = (f"B{bank}", "catalyst")
        rows[0x30 + bank] = (f"B{bank}", "EGR")
        rows[0x34 + bank] = (f"B{bank}", "cam timing")
        rows[0x70 + bank] = (f"B{bank}", "secondary air")
        rows[0x80 + bank] = (f"B{bank}", "fuel system")
        rows[0x84 + bank] = (f"B{bank}", "boost pressure")
        rows[0x8F + bank] = (f"B{bank}", "NOx storage")
        rows[0x97 + bank] = (f"B{bank}", "NOx reduction")
    for number in range(0x39, 0x3E):
        rows[number] = ("engine", "evaporative system")
    for number in range(_MISFIRE, _MISFIRE + 13):
        rows[number] = ("engine", "misfire")
    return rows


PLACES = _places()
"""Place and subject by monitor number. Source: SAE J1979; 70-9B from memory."""


@dataclass(frozen=True, slots=True)
class Scaling:
    """How a two-byte number becomes a value: `raw * factor + offset`."""

    factor: float
    offset: float
    unit: str
    signed: bool

    def value(self, raw: bytes) -> float:
        """The value of two bytes, in the scaling's unit."""
        number = int.from_bytes(raw, "big", signed=self.signed)
        return number * self.factor + self.offset


@cache
def scaling(number: int) -> Scaling | None:
    """The unit-and-scaling row of a number; None when the table lacks it."""
    from obd.UnitsAndScaling import UAS_IDS

    row = UAS_IDS.get(number)
    if row is None:
        return None
    if not hasattr(row, "unit"):  # number 2E: true or false
        return Scaling(1.0, 0.0, "", signed=False)
    return Scaling(row.scale, row.offset, _UNIT_SIGNS[str(row.unit)], row.signed)


def _title(monitor: int, test: int) -> str:
    title = TESTS.get(test, f"maker's test {test:02X}")
    cylinder = monitor - _MISFIRE
    if 0 <= cylinder <= 12:
        return f"cylinder {cylinder}, {title}" if cylinder else f"all, {title}"
    return title


Records = tuple[tuple[int, bytes], ...]
"""Results as they came: monitor, and test, scaling, value, lowest, highest in bytes."""


def records_in(payload: bytes) -> Records | None:
    """Every result in one CAN answer to service 06; None when its length is wrong.

    Args:
        payload: from the service byte on: `46`, then nine bytes a result.
    """
    body = payload[1:]
    if not body or len(body) % _RECORD:
        return None
    return tuple(
        (body[i], body[i + 1 : i + _RECORD]) for i in range(0, len(body), _RECORD)
    )


def records_of(monitor: int, data: bytes) -> Records | None:
    """Every result in the data of identifier F6xx; None when its length is wrong.

    Args:
        monitor: its number, which the identifier holds and the records do not.
        data: eight bytes a result. From memory of SAE J1979-2, not tried on a car.
    """
    width = _RECORD - 1
    if not data or len(data) % width:
        return None
    return tuple((monitor, data[i : i + width]) for i in range(0, len(data), width))


def results_in(payload: bytes, unit: str) -> tuple[MonitorResult, ...] | None:
    """As `records_in`, in their units; `unit` is the control unit that answered."""
    return _scaled(records_in(payload), unit)


def results_of(
    monitor: int, data: bytes, unit: str
) -> tuple[MonitorResult, ...] | None:
    """As `records_of`, in their units; `unit` is the control unit that answered."""
    return _scaled(records_of(monitor, data), unit)


def _scaled(records: Records | None, unit: str) -> tuple[MonitorResult, ...] | None:
    if records is None:
        return None
    return tuple(_result(unit, monitor, record) for monitor, record in records)


def _result(unit: str, monitor: int, record: bytes) -> MonitorResult:
    """One result out of test, scaling, value, lowest and highest limit."""
    test, uas = record[:2]
    value, low, high = record[2:4], record[4:6], record[6:8]
    row = scaling(uas)
    rule = row or Scaling(1.0, 0.0, "", uas >= _SIGNED_FROM)
    lowest, highest = _ENDS[rule.signed]
    place, subject = PLACES.get(monitor, ("engine", f"monitor {monitor:02X}"))
    return MonitorResult(
        unit,
        monitor,
        test,
        uas,
        place,
        subject,
        _title(monitor, test),
        rule.value(value),
        rule.value(low),
        rule.value(high),
        rule.unit,
        scaled=row is not None,
        has_low=low != lowest,
        has_high=high != highest,
    )


def older_result(payload: bytes, unit: str) -> MonitorResult | None:
    """The result in one answer to service 06 before CAN; None when too short.

    Test, component and limit are the maker's own there, so numbers stay raw: `46`,
    test, component with the limit's side in its top bit (set: lowest, clear:
    highest), value, limit. From memory of SAE J1979.
    """
    if len(payload) != _OLDER_RECORD:
        return None
    test, component = payload[1], payload[2]
    value = int.from_bytes(payload[3:5], "big")
    limit = int.from_bytes(payload[5:7], "big")
    lowest = bool(component & 0x80)
    return MonitorResult(
        unit,
        test,
        component & 0x7F,
        0,
        "engine",
        f"maker's monitor {test:02X}",
        f"component {component & 0x7F:02X}",
        value,
        limit if lowest else 0.0,
        _NO_LIMIT if lowest else limit,
        "",
        scaled=False,
        has_low=lowest and limit > 0,
        has_high=not lowest and limit < _NO_LIMIT,
    )
