"""The standard PIDs of service 01: one row a PID, one table for both directions.

`decode` works on whole columns of equal answers at once; `encode` is its inverse and
serves the simulated car and imports. Byte layouts follow SAE J1979 as restated in
public tables; rows above 5F and the places of sensor PIDs are from memory of J1979-DA.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
import numpy.typing as npt

from bankwise.signals.columns import Floats

Bytes = npt.NDArray[np.uint8]


class Layout(Enum):
    """Which places the eight sensor PIDs stand for: PID 13 or PID 1D announces it."""

    TWO_BANKS = (
        "b1s1", "b1s2", "b1s3", "b1s4", "b2s1", "b2s2", "b2s3", "b2s4",
    )  # fmt: skip
    FOUR_BANKS = (
        "b1s1", "b1s2", "b2s1", "b2s2", "", "", "", "",
    )  # fmt: skip


class Kind(Enum):
    """How bytes make a raw number: width in bytes and sign."""

    U8 = (1, False)
    U16 = (2, False)
    S16 = (2, True)
    U32 = (4, False)


@dataclass(frozen=True, slots=True)
class Field:
    """One value inside an answer: `raw * scale + offset` in the signal's unit.

    Attributes:
        signal: catalogue name; `{}` stands for the sensor's place.
        start: first data byte, counted after the PID.
        kind: width and sign.
        scale, offset: to the signal's unit.
        bit: bit of the first data byte that must be set for the value to exist.
        void: raw number that means "not used"; it gives no sample.
    """

    signal: str
    start: int
    kind: Kind
    scale: float
    offset: float = 0.0
    bit: int | None = None
    void: int | None = None


@dataclass(frozen=True, slots=True)
class Pid:
    """One PID of service 01: its number, data length in bytes and fields."""

    number: int
    length: int
    fields: tuple[Field, ...] = ()
    sensor: int | None = None
    """Index 0-7 among the sensor PIDs, whose place the layout gives."""


_U8, _U16, _S16, _U32 = Kind.U8, Kind.U16, Kind.S16, Kind.U32
_PCT = 100 / 255
_TRIM = (100 / 128, -100.0)
_RATIO = 2 / 65536


def _one(
    number: int, signal: str, kind: Kind, scale: float, offset: float = 0.0
) -> Pid:
    return Pid(number, kind.value[0], (Field(signal, 0, kind, scale, offset),))


def _rear_trim(number: int, signal: str) -> Pid:
    """Two bytes, of which the second is for bank 3 or 4 and is not kept."""
    return Pid(number, 2, (Field(signal, 0, Kind.U8, *_TRIM),))


def _supported(number: int, *fields: Field, length: int) -> Pid:
    return Pid(number, length, fields)


def _sensor_rows() -> Iterator[Pid]:
    for i in range(8):
        yield Pid(
            0x14 + i,
            2,
            (
                Field("o2_{}_v", 0, _U8, 0.005),
                Field("o2_{}_trim_pct", 1, _U8, *_TRIM, void=0xFF),
            ),
            i,
        )
        yield Pid(
            0x24 + i,
            4,
            (
                Field("lambda_{}", 0, _U16, _RATIO),
                Field("o2_{}_wide_v", 2, _U16, 8 / 65536),
            ),
            i,
        )
        yield Pid(
            0x34 + i,
            4,
            (
                Field("lambda_{}", 0, _U16, _RATIO),
                Field("o2_{}_ma", 2, _U16, 1 / 256, -128.0),
            ),
            i,
        )


def _temperature_words(number: int, bank: int) -> Pid:
    return _supported(
        number,
        *(
            Field(f"egt_b{bank}s{i + 1}_c", 1 + 2 * i, _U16, 0.1, -40.0, bit=i)
            for i in range(4)
        ),
        length=9,
    )


_ROWS: tuple[Pid, ...] = (
    *(Pid(number, 4) for number in range(0x00, 0x100, 0x20)),
    Pid(0x01, 4),
    Pid(0x02, 2),
    Pid(
        0x03,
        2,
        (Field("fuel_status_b1", 0, _U8, 1.0), Field("fuel_status_b2", 1, _U8, 1.0)),
    ),
    _one(0x04, "load_pct", _U8, _PCT),
    _one(0x05, "ect_c", _U8, 1.0, -40.0),
    _one(0x06, "stft_b1_pct", _U8, *_TRIM),
    _one(0x07, "ltft_b1_pct", _U8, *_TRIM),
    _one(0x08, "stft_b2_pct", _U8, *_TRIM),
    _one(0x09, "ltft_b2_pct", _U8, *_TRIM),
    _one(0x0A, "fuel_pressure_kpa", _U8, 3.0),
    _one(0x0B, "map_kpa", _U8, 1.0),
    _one(0x0C, "rpm", _U16, 0.25),
    _one(0x0D, "speed_kmh", _U8, 1.0),
    _one(0x0E, "timing_deg", _U8, 0.5, -64.0),
    _one(0x0F, "iat_c", _U8, 1.0, -40.0),
    _one(0x10, "maf_gps", _U16, 0.01),
    _one(0x11, "throttle_pct", _U8, _PCT),
    Pid(0x12, 1),
    Pid(0x13, 1),
    Pid(0x1C, 1),
    Pid(0x1D, 1),
    Pid(0x1E, 1),
    _one(0x1F, "run_s", _U16, 1.0),
    _one(0x21, "lamp_km", _U16, 1.0),
    _one(0x22, "fuel_rail_kpa", _U16, 5178 / 65536),
    _one(0x23, "fuel_rail_kpa", _U16, 10.0),
    _one(0x2C, "egr_pct", _U8, _PCT),
    Pid(0x2D, 1),
    _one(0x2E, "purge_pct", _U8, _PCT),
    _one(0x2F, "fuel_level_pct", _U8, _PCT),
    _one(0x30, "warmups", _U8, 1.0),
    _one(0x31, "cleared_km", _U16, 1.0),
    Pid(0x32, 2),
    _one(0x33, "baro_kpa", _U8, 1.0),
    _one(0x3C, "cat_b1s1_c", _U16, 0.1, -40.0),
    _one(0x3D, "cat_b2s1_c", _U16, 0.1, -40.0),
    _one(0x3E, "cat_b1s2_c", _U16, 0.1, -40.0),
    _one(0x3F, "cat_b2s2_c", _U16, 0.1, -40.0),
    Pid(0x41, 4),
    _one(0x42, "module_v", _U16, 0.001),
    _one(0x43, "abs_load_pct", _U16, _PCT),
    _one(0x44, "lambda_cmd", _U16, _RATIO),
    _one(0x45, "throttle_rel_pct", _U8, _PCT),
    _one(0x46, "ambient_c", _U8, 1.0, -40.0),
    Pid(0x47, 1),
    Pid(0x48, 1),
    _one(0x49, "pedal_pct", _U8, _PCT),
    Pid(0x4A, 1),
    Pid(0x4B, 1),
    _one(0x4C, "throttle_cmd_pct", _U8, _PCT),
    _one(0x4D, "lamp_min", _U16, 1.0),
    _one(0x4E, "cleared_min", _U16, 1.0),
    Pid(0x4F, 4),
    Pid(0x50, 4),
    _one(0x51, "fuel_type", _U8, 1.0),
    _one(0x52, "ethanol_pct", _U8, _PCT),
    Pid(0x53, 2),
    Pid(0x54, 2),
    _rear_trim(0x55, "rear_stft_b1_pct"),
    _rear_trim(0x56, "rear_ltft_b1_pct"),
    _rear_trim(0x57, "rear_stft_b2_pct"),
    _rear_trim(0x58, "rear_ltft_b2_pct"),
    _one(0x59, "fuel_rail_kpa", _U16, 10.0),
    Pid(0x5A, 1),
    Pid(0x5B, 1),
    _one(0x5C, "oil_c", _U8, 1.0, -40.0),
    Pid(0x5D, 2),
    _one(0x5E, "fuel_rate_lph", _U16, 0.05),
    Pid(0x5F, 1),
    Pid(0x61, 1),
    Pid(0x62, 1),
    Pid(0x63, 2),
    Pid(0x64, 5),
    Pid(0x65, 2),
    _supported(0x66, Field("maf_gps", 1, _U16, 1 / 32, bit=0), length=5),
    _supported(0x67, Field("ect_c", 1, _U8, 1.0, -40.0, bit=0), length=3),
    _supported(0x68, Field("iat_c", 1, _U8, 1.0, -40.0, bit=0), length=7),
    _supported(
        0x73,
        Field("exhaust_b1_kpa", 1, _U16, 0.01, bit=0),
        Field("exhaust_b2_kpa", 3, _U16, 0.01, bit=1),
        length=5,
    ),
    _temperature_words(0x78, 1),
    _temperature_words(0x79, 2),
    _supported(0x87, Field("map_kpa", 1, _U16, 1 / 32, bit=0), length=5),
    _one(0xA6, "odometer_km", _U32, 0.1),
    *_sensor_rows(),
)

PIDS: dict[int, Pid] = {
    row.number: row for row in sorted(_ROWS, key=lambda r: r.number)
}
"""Every PID whose length is known, by number."""


def signal_name(field: Field, pid: Pid, layout: Layout) -> str:
    """The catalogue name of a field, or an empty string for an unnamed place."""
    if pid.sensor is None:
        return field.signal
    place = layout.value[pid.sensor]
    return field.signal.format(place) if place else ""


def signals_of(number: int, layout: Layout) -> tuple[str, ...]:
    """The catalogue names that a PID carries, in byte order."""
    pid = PIDS[number]
    names = (signal_name(field, pid, layout) for field in pid.fields)
    return tuple(name for name in names if name)


def raw_numbers(data: Bytes, field: Field) -> npt.NDArray[np.int64]:
    """The raw numbers of one field. `data` has shape (n, length); result (n,)."""
    width, signed = field.kind.value
    raw = np.zeros(len(data), dtype=np.int64)
    for i in range(width):
        raw = (raw << 8) | data[:, field.start + i]
    if signed:
        half = 1 << (8 * width - 1)
        raw = (raw ^ half) - half
    return raw


def decode(
    number: int, data: Bytes, layout: Layout
) -> Iterator[tuple[str, Floats, npt.NDArray[np.bool_]]]:
    """Values of one PID over n equal-shaped answers.

    Args:
        number: the PID.
        data: its data bytes, shape (n, length of the PID).
        layout: which places the sensor PIDs stand for.

    Yields:
        Name, values (n,) in the signal's unit, and a mask (n,) of those that exist.
    """
    pid = PIDS[number]
    for field in pid.fields:
        name = signal_name(field, pid, layout)
        if not name:
            continue
        raw = raw_numbers(data, field)
        exists = np.ones(len(data), dtype=np.bool_)
        if field.bit is not None:
            exists &= (data[:, 0] >> field.bit) & 1 == 1
        if field.void is not None:
            exists &= raw != field.void
        yield name, raw.astype(np.float64) * field.scale + field.offset, exists


def decode_one(number: int, data: bytes, layout: Layout) -> dict[str, float]:
    """Values of one answer by signal name; empty when its length is wrong."""
    if number not in PIDS or len(data) != PIDS[number].length:
        return {}
    row = np.frombuffer(data, dtype=np.uint8)[None, :]
    return {
        name: float(value[0])
        for name, value, exists in decode(number, row, layout)
        if exists[0]
    }


def encode(number: int, values: Mapping[str, float], layout: Layout) -> bytes:
    """The data bytes of one PID for given values, clipped to what it can carry.

    Missing values leave their bytes at zero, or at the "not used" number.

    Raises:
        KeyError: when the PID is not in the table.
    """
    pid = PIDS[number]
    data = bytearray(pid.length)
    for field in pid.fields:
        width, signed = field.kind.value
        value = values.get(signal_name(field, pid, layout))
        if value is None:
            raw = field.void or 0
        else:
            low = -(1 << (8 * width - 1)) if signed else 0
            raw = round((value - field.offset) / field.scale)
            raw = min(max(raw, low), low + (1 << (8 * width)) - 1)
            if field.bit is not None:
                data[0] |= 1 << field.bit
            if field.void == raw:
                raw -= 1
        data[field.start : field.start + width] = raw.to_bytes(
            width, "big", signed=signed
        )
    return bytes(data)
