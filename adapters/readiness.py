"""Monitor status: lamp, number of codes, and which self-tests are still open.

Bit layout of PIDs 01 and 41 after SAE J1979 as restated in public tables; a published
worked example (`83 07 65 21`) is a test.
"""

from __future__ import annotations

from typing import Final

from bankwise.signals.evidence import Monitor, MonitorStatus

COUNTERS: Final = (0x21, 0x30, 0x31, 0x4D, 0x4E)
"""PIDs that tell of distance, warm-ups and time since clearing, and with the lamp on.

Source: SAE J1979, from memory."""
CONTINUOUS = ("misfire", "fuel system", "components")
SPARK = (
    "catalyst",
    "heated catalyst",
    "evaporative system",
    "secondary air",
    "",
    "oxygen sensors",
    "oxygen sensor heaters",
    "EGR or cam timing",
)
COMPRESSION = (
    "NMHC catalyst",
    "NOx aftertreatment",
    "",
    "boost pressure",
    "",
    "exhaust gas sensors",
    "particulate filter",
    "EGR or cam timing",
)
MEANING = {
    "misfire": "watches crankshaft speed for missing combustion",
    "fuel system": "watches that the trims stay inside their limits",
    "components": "watches every sensor and actuator circuit",
    "catalyst": "compares oxygen before and after the catalyst",
    "heated catalyst": "checks that the catalyst's heater works",
    "evaporative system": "checks that fuel vapour stays in",
    "secondary air": "checks the pump that feeds air after a cold start",
    "oxygen sensors": "checks swing and response of the oxygen sensors",
    "oxygen sensor heaters": "checks heater current and warm-up",
    "EGR or cam timing": "checks recirculated exhaust or cam control",
    "NMHC catalyst": "checks the oxidation catalyst",
    "NOx aftertreatment": "checks the NOx storage or reduction",
    "boost pressure": "checks boost against its target",
    "exhaust gas sensors": "checks sensors in the exhaust",
    "particulate filter": "checks the filter's efficiency",
}
"""What each monitor does, in our own words."""


def monitor_status(data: bytes) -> MonitorStatus | None:
    """The status in four data bytes A-D of PID 01 or 41; None when not four.

    Only supported (01) or enabled (41) monitors are listed.
    """
    if len(data) != 4:
        return None
    a, b, c, d = data
    compression = bool(b & 0x08)
    names = COMPRESSION if compression else SPARK
    monitors = [
        Monitor(name, not b >> (bit + 4) & 1, MEANING[name])
        for bit, name in enumerate(CONTINUOUS)
        if b >> bit & 1
    ]
    monitors += [
        Monitor(name, not d >> bit & 1, MEANING[name])
        for bit, name in enumerate(names)
        if name and c >> bit & 1
    ]
    return MonitorStatus(bool(a & 0x80), a & 0x7F, compression, tuple(monitors))
