"""Byte layouts against decoders that nobody here wrote.

Sources: scapy's decoders of service 01 (scapy.contrib.automotive.obd), and the decoders
of python-OBD fed one complete answer each. Where scapy is known to be wrong (PID 10,
the current of 34-3B) it is left out, and the check values of the standard's own
examples, restated in public tables, stand instead.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from bankwise.adapters.pids import PIDS, Layout, Pid, decode, decode_one, encode

ROUNDS = 20

MASS_AIR_PID = 0x10
CURRENTS = range(0x34, 0x3C)

SCAPY_NAMES: dict[int, tuple[str, ...]] = {
    0x66: ("sensor_a",),
    0x67: ("sensor1",),
    0x68: ("bank1_sensor1",),
    0x73: ("sensor_bank1", "sensor_bank2"),
    0x78: ("sensor1", "sensor2", "sensor3", "sensor4"),
    0x79: ("sensor1", "sensor2", "sensor3", "sensor4"),
}
"""Its names of our fields, where they do not simply come in order."""

SCAPY_WITHOUT = {0x87, 0xA6}
"""PIDs that scapy does not take apart."""

TRIMS = range(0x14, 0x1C)


@pytest.fixture(name="scapy_obd", scope="module")
def _scapy_obd() -> Any:
    """Scapy's parser of OBD payloads; importing it takes a second."""
    from scapy.contrib.automotive.obd.obd import OBD

    return OBD


@pytest.fixture(name="obd_commands", scope="module")
def _obd_commands() -> Any:
    """python-OBD's table of commands."""
    from obd import commands

    return commands


def valued() -> list[Pid]:
    """PIDs of our table that carry values."""
    return [pid for pid in PIDS.values() if pid.fields]


def known_to_scapy() -> list[Pid]:
    """The same without those that scapy reads wrongly, or not at all."""
    return [p for p in valued() if p.number not in {MASS_AIR_PID, *SCAPY_WITHOUT}]


def samples(pid: Pid) -> Iterator[bytes]:
    """Random data of a PID's length, with every value marked as existing."""
    noise = random.Random(pid.number)
    for _ in range(ROUNDS):
        data = bytearray(noise.randbytes(pid.length))
        for field in pid.fields:
            if field.bit is not None:
                data[0] |= 1 << field.bit
            if field.void is not None and data[field.start] == field.void:
                data[field.start] -= 1
        yield bytes(data)


def ours(pid: Pid, data: bytes) -> list[float]:
    """Our values in byte order."""
    table = np.frombuffer(data, dtype=np.uint8)[None, :]
    return [float(v[0]) for _, v, _ in decode(pid.number, table, Layout.TWO_BANKS)]


@pytest.mark.parametrize("pid", known_to_scapy(), ids=lambda p: f"{p.number:02X}")
def test_values_agree_with_scapy(pid: Pid, scapy_obd: Any) -> None:
    """Random bytes mean the same to scapy, within the digits it prints."""
    for data in samples(pid):
        packet = scapy_obd(bytes((0x41, pid.number)) + data)
        body = packet.data_records[0].payload
        names = SCAPY_NAMES.get(pid.number) or [f.name for f in body.fields_desc]
        theirs = [float(body.getfieldval(name)) for name in names]
        mine = ours(pid, data)
        if pid.number in CURRENTS:
            theirs[1] -= 128  # its offset is missing
        for a, b in zip(mine, theirs, strict=False):
            assert a == pytest.approx(b, rel=2e-3, abs=6e-3)


def test_lengths_agree_with_scapy(scapy_obd: Any) -> None:
    """Scapy takes as many bytes for each PID as our table says."""
    checked = 0
    for pid in PIDS.values():
        body = scapy_obd(bytes((0x41, pid.number)) + bytes(40)).data_records[0].payload
        if pid.number == MASS_AIR_PID or type(body).__name__ == "Raw":
            continue
        assert len(body) - len(body.payload) == pid.length, f"{pid.number:02X}"
        checked += 1
    assert checked > 80


def test_lengths_agree_with_python_obd(obd_commands: Any) -> None:
    """python-OBD expects as many bytes for each PID as our table says."""
    checked = 0
    for pid in PIDS.values():
        if obd_commands.has_pid(1, pid.number):
            command = obd_commands[1][pid.number]
            assert command.bytes - 2 == pid.length, command.name
            checked += 1
    assert checked > 80


def _theirs(command: Any, payload: bytes) -> float | None:
    from obd.protocols.protocol import Frame, Message

    message = Message([Frame(payload.hex())])
    message.data = bytearray(payload)
    value = command.decode([message])
    magnitude = getattr(value, "magnitude", None)
    return None if magnitude is None else float(magnitude)


def test_first_values_agree_with_python_obd(obd_commands: Any) -> None:
    """A complete answer gives python-OBD the same first value."""
    checked = 0
    for pid in valued():
        if not obd_commands.has_pid(1, pid.number) or pid.number in {0x03, 0x51}:
            continue
        command = obd_commands[1][pid.number]
        for data in samples(pid):
            payload = bytes((0x41, pid.number)) + data
            theirs = _theirs(command, payload)
            assert theirs is not None
            mine = ours(pid, data)
            value = mine[1] if pid.number in CURRENTS else mine[0]
            if 0x24 <= pid.number <= 0x2B:
                value = mine[1]  # it keeps the voltage only
            assert value == pytest.approx(theirs, rel=2e-4, abs=2e-3), command.name
        checked += 1
    assert checked > 60


@pytest.mark.parametrize(
    ("number", "data", "expected"),
    [
        (0x06, "00", {"stft_b1_pct": -100}),
        (0x06, "60", {"stft_b1_pct": -25}),
        (0x06, "80", {"stft_b1_pct": 0}),
        (0x06, "8C", {"stft_b1_pct": 9.375}),
        (0x06, "A0", {"stft_b1_pct": 25}),
        (0x06, "FF", {"stft_b1_pct": 99.21875}),
        (0x0C, "0C1C", {"rpm": 775}),
        (0x05, "7B", {"ect_c": 83}),
        (0x3C, "1F40", {"cat_b1s1_c": 760}),
        (0x44, "8000", {"lambda_cmd": 1.0}),
        (0x24, "80006666", {"lambda_b1s1": 1.0, "o2_b1s1_wide_v": 3.2}),
        (0x24, "799A6666", {"lambda_b1s1": 0.95, "o2_b1s1_wide_v": 3.2}),
        (0x34, "80008000", {"lambda_b1s1": 1.0, "o2_b1s1_ma": 0}),
        (0x34, "80007F00", {"lambda_b1s1": 1.0, "o2_b1s1_ma": -1}),
        (0x14, "5A80", {"o2_b1s1_v": 0.45, "o2_b1s1_trim_pct": 0}),
        (0x14, "5AFF", {"o2_b1s1_v": 0.45}),
        (0x10, "1AF8", {"maf_gps": 69.04}),
    ],
)
def test_check_values(number: int, data: str, expected: dict[str, float]) -> None:
    """Worked examples of public tables come out as printed, and encode back."""
    found = decode_one(number, bytes.fromhex(data), Layout.TWO_BANKS)
    assert found == pytest.approx(expected, abs=1e-4)
    assert encode(number, found, Layout.TWO_BANKS).hex().upper() == data
