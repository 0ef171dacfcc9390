"""The PID table is complete in itself, and its two directions are inverse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.adapters.pids import (
    PIDS,
    Layout,
    Pid,
    decode,
    decode_one,
    encode,
    signals_of,
)
from bankwise.signals.catalogue import SIGNALS

VALUED = [pid for pid in PIDS.values() if pid.fields]


@pytest.mark.parametrize("pid", PIDS.values(), ids=lambda pid: f"{pid.number:02X}")
def test_a_row_is_sound(pid: Pid) -> None:
    """Fields lie inside the data, name known signals, and their bits exist."""
    assert 1 <= pid.length <= 9
    for field in pid.fields:
        width, _ = field.kind.value
        assert field.start + width <= pid.length
        assert field.scale > 0
        assert field.bit is None or (0 <= field.bit < 8 and field.start > 0)
    for layout in Layout:
        assert set(signals_of(pid.number, layout)) <= SIGNALS.keys()


def test_numbers_are_unique_and_sorted() -> None:
    """The table is in order, so bitmaps and lists read in order."""
    assert list(PIDS) == sorted(PIDS)
    assert all(number == pid.number for number, pid in PIDS.items())


def test_a_place_has_one_signal_of_each_kind() -> None:
    """With either layout no two sensor PIDs of a kind stand for the same place."""
    for layout in Layout:
        for first in (0x14, 0x24, 0x34):
            kinds = [signals_of(first + i, layout) for i in range(8)]
            names = [name for kind in kinds for name in kind]
            assert len(names) == len(set(names))
    assert signals_of(0x18, Layout.TWO_BANKS)[0] == "o2_b2s1_v"
    assert signals_of(0x16, Layout.FOUR_BANKS)[0] == "o2_b2s1_v"
    assert signals_of(0x18, Layout.FOUR_BANKS) == ()


@given(data=st.data(), pid=st.sampled_from(VALUED), layout=st.sampled_from(Layout))
def test_what_is_encoded_decodes_to_the_nearest_step(
    data: st.DataObject, pid: Pid, layout: Layout
) -> None:
    """A value inside the range comes back within half a step of its encoding."""
    values = {}
    steps = {}
    for field, name in zip(pid.fields, signals_of(pid.number, layout), strict=False):
        width, _ = field.kind.value
        top = (1 << 8 * width) - (2 if field.void is not None else 1)
        low, high = field.offset, top * field.scale + field.offset
        values[name] = data.draw(st.floats(low, high))
        steps[name] = field.scale
    found = decode_one(pid.number, encode(pid.number, values, layout), layout)
    assert found.keys() == values.keys()
    for name, value in values.items():
        assert abs(found[name] - value) <= steps[name] / 2 * (1 + 1e-9)


@given(pid=st.sampled_from(VALUED), layout=st.sampled_from(Layout), raw=st.binary())
def test_bytes_decode_and_encode_back(pid: Pid, layout: Layout, raw: bytes) -> None:
    """Decoded values encode to the same values, whatever the bytes were."""
    data = (raw + bytes(pid.length))[: pid.length]
    found = decode_one(pid.number, data, layout)
    again = decode_one(pid.number, encode(pid.number, found, layout), layout)
    assert again == found


@given(pid=st.sampled_from(VALUED), value=st.floats(allow_nan=False))
def test_values_out_of_range_are_clipped(pid: Pid, value: float) -> None:
    """Any number encodes into the bytes that there are."""
    layout = Layout.TWO_BANKS
    value = min(max(value, -1e12), 1e12)
    names = signals_of(pid.number, layout)
    assert len(encode(pid.number, dict.fromkeys(names, value), layout)) == pid.length


def test_a_matrix_decodes_row_by_row() -> None:
    """Many answers at once give what each gives alone."""
    rows = np.random.default_rng(3).integers(0, 256, (50, 4), dtype=np.uint8)
    together = {n: v for n, v, _ in decode(0x34, rows, Layout.TWO_BANKS)}
    for i, row in enumerate(rows):
        alone = decode_one(0x34, row.tobytes(), Layout.TWO_BANKS)
        assert alone == {name: float(v[i]) for name, v in together.items()}


def test_a_bit_says_whether_a_value_exists() -> None:
    """Without its support bit a field gives no sample."""
    assert decode_one(0x66, bytes.fromhex("0001000200"), Layout.TWO_BANKS) == {}
    found = decode_one(0x66, bytes.fromhex("0101000200"), Layout.TWO_BANKS)
    assert found == {"maf_gps": 8.0}


def test_a_wrong_length_gives_nothing() -> None:
    """Too few or too many bytes are no value."""
    assert decode_one(0x0C, b"\x0c", Layout.TWO_BANKS) == {}
    assert decode_one(0x0C, b"\x0c\x1c\x00", Layout.TWO_BANKS) == {}
    assert decode_one(0xFE, b"\x00", Layout.TWO_BANKS) == {}
