"""Framing and dialect of the simulated car against programs not written here.

Sources: can-isotp 2 (segmentation after ISO 15765-2), python-OBD 0.7.3 (its nine
protocol parsers, and its whole connection), udsoncan 1.2x (report layouts of
ISO 14229-1, service 19).
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import isotp
import obd
import pytest
import udsoncan
from hypothesis import given, settings
from hypothesis import strategies as st
from obd import protocols
from udsoncan.Response import Response
from udsoncan.services.ReadDTCInformation import ReadDTCInformation

from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.evidence import Evidence, Fixed
from bankwise.adapters.car.framing import PROTOCOLS, TRANSMISSION, segment
from bankwise.adapters.car.identity import with_check_digit
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.server import ThreadServer
from bankwise.adapters.car.uds_unit import UdsUnit
from bankwise.adapters.car.unit import ControlUnit

VIN = with_check_digit("4ZVABCDE0KA123456")
"""Begins and ends with letters that python-OBD's decoder does not strip."""

PARSERS = {
    "1": protocols.SAE_J1850_PWM,
    "2": protocols.SAE_J1850_VPW,
    "3": protocols.ISO_9141_2,
    "4": protocols.ISO_14230_4_5baud,
    "5": protocols.ISO_14230_4_fast,
    "6": protocols.ISO_15765_4_11bit_500k,
    "7": protocols.ISO_15765_4_29bit_500k,
    "8": protocols.ISO_15765_4_11bit_250k,
    "9": protocols.ISO_15765_4_29bit_250k,
}


@dataclass
class Standing:
    """A car that stands still with its engine idling."""

    readings: dict[str, float] = field(
        default_factory=lambda: {
            "rpm": 1726.0,
            "speed_kmh": 0.0,
            "ect_c": 83.0,
            "stft_b1_pct": 9.375,
            "o2_b1s1_v": 0.45,
            "o2_b1s1_trim_pct": 0.0,
            "module_v": 14.1,
        }
    )
    key_on: bool = True
    engine_running: bool = True

    def advance(self, t: float) -> None:
        """Stands still."""


def _units(protocol: str, evidence: Evidence) -> list[ControlUnit]:
    car = Standing()
    can = PROTOCOLS[protocol].can
    names = UnitNames(VIN, ("CAL-0001", "CAL-0002"), (1, 2), "ECM-EngineControl")
    return [
        ControlUnit(car, names, can=can, evidence=evidence),
        ControlUnit(
            car,
            UnitNames(calibrations=("TCM-0001",)),
            TRANSMISSION,
            can=can,
            evidence=evidence,
            signals=frozenset({"speed_kmh"}),
        ),
    ]


def _adapter(protocol: str, evidence: Evidence) -> SimulatedAdapter:
    units = _units(protocol, evidence)
    return SimulatedAdapter(CarBus(Standing(), units, PROTOCOLS[protocol], seed=2))


def _lines(adapter: SimulatedAdapter, *texts: str) -> list[str]:
    """The answer lines to the last of several requests."""
    said = b""
    now = 0.0
    for text in texts:
        said = b""
        adapter.receive(text.encode() + b"\r", now)
        while (due := adapter.next_due) is not None:
            now = due
            said += adapter.take(due)
    assert said.endswith(b"\r\r>")
    return [line.decode() for line in said[:-3].split(b"\r")]


# can-isotp

ADDRESS = isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=0x7E8, txid=0x7E0)


def _received(frames: Iterator[bytes]) -> bytes | None:
    """What can-isotp makes of frames from a unit."""
    waiting = [isotp.CanMessage(arbitration_id=0x7E8, data=frame) for frame in frames]

    def next_frame(timeout: float) -> isotp.CanMessage | None:
        return waiting.pop(0) if waiting else None

    layer = isotp.TransportLayerLogic(next_frame, lambda _: None, ADDRESS)
    for _ in range(5000):
        if not waiting:
            break
        layer.process()
    message = layer.recv()
    return None if message is None else bytes(message)


def _sent(payload: bytes) -> list[bytes]:
    """The frames that can-isotp makes of a message, after a flow control frame."""
    frames: list[bytes] = []
    flow: list[isotp.CanMessage] = []

    def send(message: isotp.CanMessage) -> None:
        frames.append(bytes(message.data))
        if message.data[0] & 0xF0 == 0x10:
            flow.append(
                isotp.CanMessage(arbitration_id=0x7E8, data=b"\x30\x00\x00".ljust(8))
            )

    layer = isotp.TransportLayerLogic(
        lambda _: flow.pop(0) if flow else None,
        send,
        ADDRESS,
        params={"tx_padding": 0x00, "tx_data_min_length": 8},
    )
    layer.send(payload)
    for _ in range(5000):
        if not layer.transmitting():
            break
        layer.process()
    return frames


@given(st.binary(min_size=1, max_size=600))
@settings(max_examples=60, deadline=None)
def test_can_isotp_reads_our_frames(payload: bytes) -> None:
    """Source can-isotp: it joins our frames to the message that was sent."""
    assert _received(iter(segment(payload))) == payload


@given(st.binary(min_size=1, max_size=600))
@settings(max_examples=60, deadline=None)
def test_can_isotp_makes_the_same_frames(payload: bytes) -> None:
    """Source can-isotp: its frames for the same message are ours, byte for byte."""
    assert _sent(payload) == list(segment(payload))


@pytest.mark.parametrize("size", [7, 8, 13, 14, 118, 4095])
def test_can_isotp_agrees_at_the_edges(size: int) -> None:
    """Source can-isotp: one frame more or less, a number that wraps, the longest."""
    payload = bytes(i % 251 for i in range(size))
    assert _received(iter(segment(payload))) == payload


# python-OBD


@pytest.mark.parametrize("number", list(PARSERS))
def test_python_obd_parses_every_protocol(number: str) -> None:
    """Source python-OBD: its parser gets the units' messages out of the text."""
    codes = tuple(f"P0{i}" for i in range(171, 176))
    memory = Fixed(stored=codes)
    units = _units(number, memory)
    begin = _lines(
        _adapter(number, memory), "ATE0", f"ATTP{number}", "ATS0", "ATH1", "0100"
    )
    parser = PARSERS[number]([line for line in begin if "BUS INIT" not in line])
    for request in ("010C", "0105", "0114", "0101", "0902", "03"):
        commands = ("ATE0", f"ATTP{number}", "ATH1", "0100", request)
        messages = parser(_lines(_adapter(number, memory), *commands))
        for unit in units:
            own = [m for m in messages if m.tx_id in _ids(number, unit)]
            replies = [r.payload for r in unit.replies(bytes.fromhex(request))]
            if not replies:
                assert own == []
                continue
            assert len(own) == 1
            assert bytes(own[0].data) == _as_parsed(number, request, replies)


def _ids(number: str, unit: ControlUnit) -> set[int]:
    eleven = PROTOCOLS[number].id_bits == 11
    return {unit.address.slot if eleven else unit.address.node}


def _as_parsed(number: str, request: str, replies: list[bytes]) -> bytes:
    """What its parsers keep: off CAN they join frames in a layout of their own."""
    if PROTOCOLS[number].can:
        return replies[0]
    if request == "03":
        return b"\x43\x00" + b"".join(reply[1:] for reply in replies)
    if len(replies) > 1:
        return replies[0][:2] + b"".join(reply[3:] for reply in replies)
    return replies[0]


@pytest.fixture(name="quiet")
def _quiet() -> Iterator[None]:
    logger = logging.getLogger("obd")
    before = list(logger.handlers)
    logger.handlers.clear()
    yield
    logger.handlers.extend(before)


@pytest.mark.usefixtures("quiet")
def test_python_obd_connects_and_reads() -> None:
    """Source python-OBD: its whole connection takes the adapter for a real one."""
    memory = Fixed(stored=("P0171", "P0300"))
    with ThreadServer(_adapter("6", memory), faster=10) as server:
        commands: Any = obd.commands
        connection: Any = obd.OBD(
            server.address, baudrate=115_200, fast=False, timeout=30.0
        )
        try:
            assert connection.status() == obd.OBDStatus.CAR_CONNECTED
            assert connection.protocol_id() == "6"
            assert connection.query(commands.RPM).value.magnitude == 1726.0
            assert connection.query(commands.COOLANT_TEMP).value.magnitude == 83
            trim = connection.query(commands.SHORT_FUEL_TRIM_1).value.magnitude
            assert trim == pytest.approx(9.375)
            voltage = connection.query(commands.ELM_VOLTAGE).value.magnitude
            assert voltage == pytest.approx(14.1)
            codes = [c for c, _ in connection.query(commands.GET_DTC).value]
            assert codes == ["P0171", "P0300"] * 2
            vin = connection.query(commands.VIN).value
            assert bytes(vin).decode() == VIN
            assert commands.MAF not in connection.supported_commands
        finally:
            connection.close()


# udsoncan


@pytest.mark.parametrize("report", [0x42, 0x55])
def test_udsoncan_reads_our_code_reports(report: int) -> None:
    """Source udsoncan: group, format, codes, severity and status of both reports."""
    memory = Fixed(
        lamp=True,
        stored=("P0171", "C0123-1A"),
        pending=("P0171", "U0100"),
        permanent=("P0171", "B1234-11"),
    )
    unit = UdsUnit(_units("6", memory)[0])
    request = bytes((0x19, report, 0x33)) + (b"\x0c\x1e" if report == 0x42 else b"")
    (reply,) = unit.replies(request)
    response = Response.from_payload(reply.payload)
    assert response.positive
    read = ReadDTCInformation.interpret_response(response, report).service_data
    assert read.functional_group_id == 0x33
    assert read.dtc_format == udsoncan.Dtc.Format.SAE_J2012_DA_DTCFormat_04
    expected = {
        0x42: {0x017100: (1, 1), 0x41231A: (0, 1), 0xC10000: (1, 0)},
        0x55: {0x017100: (1, 1), 0x923411: (0, 0)},
    }[report]
    assert {
        dtc.id: (dtc.status.pending, dtc.status.confirmed) for dtc in read.dtcs
    } == (expected)
