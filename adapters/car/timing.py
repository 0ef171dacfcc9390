"""How long everything takes: the link, the adapter, the bus and the control unit.

Source: a model, our choice; no hardware was measured: a unit on CAN answers
after 8 to 15 ms, the adapter adds 1.5 ms, a byte takes ten bits at the serial speed.
The older protocols' figures are chosen so that the K-line gives 5-10 answers a second,
VPW 10-15 and PWM 15-20, which is what is said of them (from memory of users' reports).
"""

from __future__ import annotations

from dataclasses import dataclass

from bankwise.adapters.car.framing import CAN_ROOM, Family, Frame, Protocol

ADAPTER_S = 0.0015
"""Time the adapter itself takes for a request. Unit: seconds. Source: our
choice."""

_BITS_A_BYTE = 10


@dataclass(frozen=True, slots=True)
class LinkTiming:
    """The way between computer and adapter.

    Attributes:
        baud: serial speed. Unit: bits per second.
        latency_s: added to each exchange, half before and half after. Unit: seconds.
            2 ms stand for USB, 20 to 30 ms for Bluetooth. Source: our choice.
    """

    baud: int = 115_200
    latency_s: float = 0.002

    def bytes_s(self, count: int) -> float:
        """Time that `count` bytes take. Unit: seconds."""
        return count * _BITS_A_BYTE / self.baud


LINKS: dict[str, LinkTiming] = {
    "usb-38400": LinkTiming(38_400),
    "usb-115200": LinkTiming(115_200),
    "usb-500000": LinkTiming(500_000),
    "bluetooth-20ms-38400": LinkTiming(38_400, 0.020),
    "bluetooth-30ms-115200": LinkTiming(115_200, 0.030),
    "network": LinkTiming(500_000, 0.004),
}
"""Usual links by name."""


@dataclass(frozen=True, slots=True)
class BusTiming:
    """The way between adapter and control unit.

    Attributes:
        answer_s: shortest and longest time to a unit's answer; drawn uniformly.
        between_s: silence kept between one exchange and the next request.
        request_gap_s: gap between the bytes of a request (K-line).
        flow_s: until the adapter's flow control frame is out (CAN).
        wake_s: what the initialisation takes (K-line).
    """

    answer_s: tuple[float, float]
    between_s: float = 0.0
    request_gap_s: float = 0.0
    flow_s: float = 0.0
    wake_s: float = 0.0


BUSES: dict[Family, BusTiming] = {
    Family.CAN: BusTiming((0.008, 0.015), flow_s=0.0004),
    Family.PWM: BusTiming((0.030, 0.055)),
    Family.VPW: BusTiming((0.040, 0.070)),
    Family.ISO9141: BusTiming((0.025, 0.050), 0.055, 0.005, wake_s=2.6),
    Family.KWP: BusTiming((0.025, 0.050), 0.055, 0.005, wake_s=2.6),
}
"""Bus timing by family."""

FAST_WAKE_S = 0.35
"""Fast initialisation with its start-communication exchange. Source: our choice."""

_CAN_OVERHEAD_BITS = {11: 55, 29: 75}
"""Frame bits beside the data, with average stuffing. Source: from memory of CAN 2.0."""


def frame_s(protocol: Protocol, frame: Frame) -> float:
    """Time that a frame occupies the wire. Unit: seconds."""
    if protocol.can:
        bits = _CAN_OVERHEAD_BITS[protocol.id_bits] + 8.5 * CAN_ROOM
        return bits / protocol.bit_rate
    count = len(frame.header) + len(frame.data) + len(frame.check)
    k_line = protocol.family in {Family.ISO9141, Family.KWP}
    return count * (_BITS_A_BYTE if k_line else 8) / protocol.bit_rate


def request_s(protocol: Protocol, data: bytes) -> float:
    """Time that a request occupies the wire. Unit: seconds."""
    frame = Frame(protocol.header, data, b"" if protocol.can else b"\0")
    gaps = BUSES[protocol.family].request_gap_s * (len(data) + 4)
    return frame_s(protocol, frame) + (0.0 if protocol.can else gaps)


def wake_s(protocol: Protocol) -> float:
    """Time that the initialisation takes. Unit: seconds."""
    slow = BUSES[protocol.family].wake_s
    return FAST_WAKE_S if protocol.number == "5" else slow
