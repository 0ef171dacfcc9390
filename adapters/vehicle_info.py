"""Vehicle information (service 09): VIN, calibrations, unit names, in-use ratios.

On CAN one answer holds all items after a count byte; older protocols number their
pieces. Layouts after SAE J1979 as restated in public tables; in-use ratios from
memory.
"""

from __future__ import annotations

from collections.abc import Sequence

from bankwise.adapters.vin import verdict
from bankwise.signals.evidence import UnitInfo

VIN, CALIBRATION, VERIFICATION, RATIOS, NAME = 0x02, 0x04, 0x06, 0x08, 0x0A
RATIOS_COMPRESSION = 0x0B
_CALIBRATION_BYTES = 16
_VERIFICATION_BYTES = 4

RATIO_NAMES = (
    "conditions met",
    "ignition cycles",
    "catalyst B1 done",
    "catalyst B1 possible",
    "catalyst B2 done",
    "catalyst B2 possible",
    "oxygen sensor B1 done",
    "oxygen sensor B1 possible",
    "oxygen sensor B2 done",
    "oxygen sensor B2 possible",
    "EGR or cam timing done",
    "EGR or cam timing possible",
    "secondary air done",
    "secondary air possible",
    "evaporative system done",
    "evaporative system possible",
    "rear oxygen sensor B1 done",
    "rear oxygen sensor B1 possible",
    "rear oxygen sensor B2 done",
    "rear oxygen sensor B2 possible",
)
"""In-use counters of spark-ignition cars, in order. From memory of SAE J1979."""

COMPRESSION_RATIO_NAMES = (
    "conditions met",
    "ignition cycles",
    *(
        f"{name} {word}"
        for name in (
            "NMHC catalyst",
            "NOx catalyst",
            "NOx adsorber",
            "particulate filter",
            "exhaust gas sensor",
            "EGR or cam timing",
            "boost pressure",
            "fuel system",
        )
        for word in ("done", "possible")
    ),
)
"""The same of compression-ignition cars (item 0B). From memory of SAE J1979."""


def text(data: bytes) -> str:
    """Printable text: bytes before the first printable and fill bytes are dropped."""
    return data.strip(b"\x00").decode("ascii", "replace").strip()


def _pieces(data: bytes, width: int) -> tuple[bytes, ...]:
    return tuple(data[i : i + width] for i in range(0, len(data) - width + 1, width))


def item(payloads: Sequence[bytes], *, counted: bool) -> tuple[int, bytes] | None:
    """Information type and joined data of one unit's answer to service 09.

    Args:
        payloads: the unit's answers in order, from the service byte on.
        counted: True on CAN (a count byte first); False where each answer carries
            a piece number instead.

    Returns:
        None when pieces are missing or the answer is too short.
    """
    if not payloads or any(len(p) < 3 or p[0] != 0x49 for p in payloads):
        return None
    if len({p[1] for p in payloads}) != 1:
        return None
    if counted:
        return payloads[0][1], payloads[0][3:]
    numbered = sorted(payloads, key=lambda p: p[2])
    if [p[2] for p in numbered] != list(range(1, len(numbered) + 1)):
        return None
    return payloads[0][1], b"".join(p[3:] for p in numbered)


def unit_info(unit: str, items: dict[int, bytes]) -> UnitInfo:
    """One unit's information out of its joined data by information type."""
    calibrations = _pieces(items.get(CALIBRATION, b""), _CALIBRATION_BYTES)
    kind = RATIOS_COMPRESSION if RATIOS_COMPRESSION in items else RATIOS
    names = RATIO_NAMES if kind == RATIOS else COMPRESSION_RATIO_NAMES
    counters = _pieces(items.get(kind, b""), 2)
    number = text(items.get(VIN, b""))
    return UnitInfo(
        unit,
        number,
        tuple(text(piece) for piece in calibrations),
        tuple(
            piece.hex().upper()
            for piece in _pieces(items.get(VERIFICATION, b""), _VERIFICATION_BYTES)
        ),
        text(items.get(NAME, b"").replace(b"\x00", b"")),
        tuple(
            (name, int.from_bytes(raw, "big"))
            for name, raw in zip(names, counters, strict=False)
        ),
        verdict(number).value if number else "",
    )
