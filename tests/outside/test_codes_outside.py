"""Codes, test results and scalings against scapy's and python-OBD's tables.

Sources: scapy.contrib.automotive.obd (SAE J2012 code layout, service 06 monitor and
scaling tables) and obd.UnitsAndScaling of python-OBD, both from the package registry.
Scapy is known to be wrong on PID 10, the 34-3B offset, 14 FF and 01/41 bits; none of
those is used here.
"""

from __future__ import annotations

import importlib
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.adapters.code_reading import code_name, codes_in
from bankwise.adapters.monitor_results import PLACES, results_in, scaling

obd = importlib.import_module("scapy.contrib.automotive.obd.obd")
mids = importlib.import_module("scapy.contrib.automotive.obd.mid.mids")

LETTERS = {"Powertrain": "P", "Chassis": "C", "Body": "B", "Network": "U"}


def _scapy_code(raw: bytes) -> str:
    code: Any = obd.OBD_DTC(raw)
    letter = LETTERS[code.sprintf("%location%")]
    digits = "".join(f"{getattr(code, f'code{i}'):X}" for i in (1, 2, 3, 4))
    return letter + digits


@given(st.integers(0, 0xFFFF))
def test_two_byte_codes_read_as_scapy_reads_them(number: int) -> None:
    """Letter and digits agree for any two bytes. Source: SAE J2012 in scapy."""
    raw = number.to_bytes(2, "big")
    assert code_name(*raw) == _scapy_code(raw)


@given(st.lists(st.integers(1, 0xFFFF), max_size=20))
def test_counted_answers_read_as_scapy_reads_them(numbers: list[int]) -> None:
    """A whole service 03 answer on CAN agrees. Source: scapy's OBD_S03_PR."""
    body = b"".join(n.to_bytes(2, "big") for n in numbers)
    answer: Any = obd.OBD_S03_PR(bytes([len(numbers)]) + body)
    theirs = tuple(_scapy_code(bytes(code)) for code in answer.dtcs)
    assert codes_in(bytes([0x43, len(numbers)]) + body, counted=True) == theirs


SCALINGS = [number for number in range(1, 256) if scaling(number) is not None]


RAW = (0x0001, 0x0E66, 0x7FFF, 0x8000, 0xFC18)


def test_scaled_values_agree_with_scapy() -> None:
    """Value and limits of a result are scapy's, scaling by scaling."""
    differ = set()
    shared = [n for n in SCALINGS if n in mids.OBD_MIDXX.unit_and_scaling_ids]
    assert len(shared) > 70
    for number in shared:
        for raw in RAW:
            payload = bytes([0x46, 0x01, 0x05, number]) + raw.to_bytes(2, "big") * 3
            ours = results_in(payload, "7E8")
            (theirs,) = mids.OBD_S06_PR(payload[1:]).data_records
            value = float(theirs.payload.test_value if theirs.payload else 0)
            assert ours is not None
            if ours[0].value != pytest.approx(value, rel=1e-4, abs=6e-4):
                differ.add(number)
    assert {hex(n) for n in differ} == set()


def test_monitor_places_agree_with_scapys_names() -> None:
    """Bank and sensor of every monitor number are the ones scapy names."""
    table = mids.OBD_MIDXX.standardized_test_ids
    assert table, "the table moved"
    names = mids.OBD_S06_PR_Record.__dict__.get("on_board_monitoring_ids")
    if names is None:
        names = mids.OBD_MIDXX.on_board_monitoring_ids
    checked = 0
    for number, name in names.items():
        bank = re.search(r"Bank (\d)", name)
        sensor = re.search(r"Sensor (\d)", name)
        if bank is None or number not in PLACES:
            continue
        expected = f"B{bank[1]}" + (f"S{sensor[1]}" if sensor else "")
        assert PLACES[number][0] == expected, name
        checked += 1
    assert checked > 40
