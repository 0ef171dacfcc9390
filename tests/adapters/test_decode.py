"""Records become columns: only true values, and the same however they are read."""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bankwise.adapters import decode as decode_module
from bankwise.adapters import shape_groups
from bankwise.adapters.car.framing import PROTOCOLS, check_byte, segment
from bankwise.adapters.decode import Decoder
from bankwise.adapters.definitions import Definitions
from bankwise.adapters.one_answer import OneAnswer, one_answer
from bankwise.adapters.pids import PIDS
from bankwise.adapters.records import (
    AdapterInfo,
    CodesRecord,
    Exchange,
    Header,
    LinkRecord,
    MarkRecord,
    Record,
)
from bankwise.signals.columns import CodeRead, Columns, LinkChange, Mark


def header(protocol: str = "6", **vehicle: object) -> Header:
    """A header that names a protocol and a car."""
    return Header("i", "s", "t", AdapterInfo("n", protocol), vehicle)


def decoded(*records: Record, protocol: str = "6") -> Columns:
    """The columns of some records."""
    decoder = Decoder(header(protocol))
    decoder.feed(records)
    return decoder.columns


def values(columns: Columns) -> dict[str, list[float]]:
    """All values by signal, rounded to what their encoding carries."""
    return {
        name: [round(v, 4) for v in column.v.tolist()]
        for name, column in columns.measured.items()
    }


def x(t: float, q: str, *a: str, d: float = 0.02, e: str | None = None) -> Exchange:
    """An exchange."""
    return Exchange(t, q, a, d, e)


def test_six_values_of_one_answer_share_one_time() -> None:
    """The values of an answer stand at the middle of its interval."""
    lines = ("7E8100E410C0C1C0680", "7E821078C145A80195A", "7E822FF")
    columns = decoded(x(2.0, "010C060714193", *lines))
    assert values(columns) == {
        "rpm": [775.0],
        "stft_b1_pct": [0.0],
        "ltft_b1_pct": [9.375],
        "o2_b1s1_v": [0.45],
        "o2_b1s1_trim_pct": [0.0],
        "o2_b2s2_v": [0.45],
    }
    for column in columns.measured.values():
        assert column.t.tolist() == [2.01]
        assert column.d.tolist() == [0.02]


@pytest.mark.parametrize(
    ("q", "a"),
    [
        ("0106", "7E8024106"),  # no data: python-OBD makes -100 % of it
        ("0106", "7E804410C0B40"),  # another PID
        ("0106", "7E803420680"),  # another service
        ("0106", "7E803490680"),
        ("0106", "7E8037F0131"),  # a refusal
        ("0106", "7E80441068001"),  # too long, and not padding
        ("0106", "7E8054106800680"),  # told twice
        ("010C", "7E803410C0C"),  # too short
        ("010C0D", "7E805410C0C1C0D"),  # the second one lacks its byte
        ("0106", "7E003410680"),  # a request's identifier
        ("0106", "7E803410"),
        ("01", "7E803410680"),
        ("0206", "7E80442060080"),  # a freeze frame is no current value
        ("AT06", "7E803410680"),
        ("0106", "OK"),
        ("", "7E803410680"),
    ],
)
def test_doubtful_answers_give_no_value(q: str, a: str) -> None:
    """Whenever service, PID or length is not what was asked, there is no value."""
    assert values(decoded(x(1.0, q, a))) == {}


@pytest.mark.parametrize(
    ("q", "a"),
    [
        ("0106", "7E803410680"),
        ("01061", "7E803410680"),  # expected-answer digit
        ("0106", "7E80341068000000000"),  # padding of the frame
        ("0106", "7E8054106800000"),  # zeros inside the message
        ("0106", "7e803410680"),
        ("01 06", "7E8 03 41 06 80"),
        ("0106", "7E80341068055AA55AA"),
        ("22F406", "7E80462F40680"),
        ("22F4061", "7E80462F40680"),
    ],
)
def test_forms_of_one_answer_give_one_value(q: str, a: str) -> None:
    """Digit, padding, case, spaces and service 22 do not change the value."""
    assert values(decoded(x(1.0, q, a))) == {"stft_b1_pct": [0.0]}


def test_an_error_word_voids_the_exchange() -> None:
    """Lines beside an error word give no values."""
    assert values(decoded(x(1.0, "0106", "7E803410680", e="BUFFER FULL"))) == {}


def test_a_service_22_answer_of_three() -> None:
    """Identifiers F4xx carry the values of the PIDs, with the same scaling."""
    lines = ("7E8100B62F40C0C1CF4", "7E821067BF40D33")
    columns = decoded(x(0.0, "22F40CF406F40D", *lines))
    assert values(columns) == {
        "rpm": [775],
        "stft_b1_pct": [-3.9062],
        "speed_kmh": [51],
    }


ALL_BUT_SPEED = "7E8064100FFF7FFFF"


def test_an_answer_must_hold_what_the_unit_claims_to_have() -> None:
    """A PID left out that the unit claims voids the answer; another one does not."""
    short = x(1.0, "010C0D", "7E804410C0C1C")
    assert values(decoded(short)) == {"rpm": [775]}
    assert values(decoded(x(0.0, "0100", ALL_BUT_SPEED), short)) == {"rpm": [775]}
    assert values(decoded(x(0.0, "0100", "7E8064100FFFFFFFF"), short)) == {}


def test_a_value_beyond_the_bitmap_counts() -> None:
    """An answer is better proof than a bitmap."""
    columns = decoded(x(0.0, "0100", ALL_BUT_SPEED), x(1.0, "010D", "7E803410D33"))
    assert values(columns) == {"speed_kmh": [51]}


def test_support_is_told_in_signal_names() -> None:
    """Bitmaps name signals; before the first one nothing is known."""
    assert decoded(x(0.0, "010D", "7E803410D33")).supported is None
    columns = decoded(
        x(0.0, "0100", "7E806410000180001"), x(0.1, "0120", "7E806412020000000")
    )
    assert columns.supported == frozenset({"rpm", "speed_kmh", "fuel_rail_kpa"})


def test_the_control_unit_that_runs_the_engine_is_watched() -> None:
    """Of several units that answer, the one with speed and trims makes the columns."""
    both = x(0.0, "0100", "7E806410000180001", "7E90641001E180001")
    rpm = x(1.0, "010C", "7E804410C0000", "7E904410C0C1C")
    assert values(decoded(both, rpm)) == {"rpm": [775]}
    swapped = x(1.0, "010C", "7E904410C0C1C", "7E804410C0000")
    assert values(decoded(both, swapped)) == {"rpm": [775]}


@pytest.mark.parametrize(
    ("lines", "rpm"),
    [
        (("7E804410C0FA0", "7E904410C0FA4"), [1000.0]),
        (("7E904410C0FA4", "7E804410C0FA0"), [1000.0]),
        (("7E904410C0FA4", "7E8037F0112"), []),
        (("7E904410C0FA4",), []),
    ],
)
def test_a_gearbox_never_speaks_for_the_engine(
    lines: tuple[str, ...], rpm: list[float]
) -> None:
    """Another unit's value for the same PID never stands where the engine's belongs."""
    trims = x(1.0, "0106", "7E803410680")
    columns = decoded(trims, x(2.0, "010C", *lines), x(3.0, "010C", *lines))
    assert values(columns).get("rpm", []) == 2 * rpm


@pytest.mark.parametrize("padding", ["00", "55", "AA", "CC", "FF"])
@pytest.mark.parametrize("fast", [False, True])
def test_any_order_and_any_padding(padding: str, fast: bool) -> None:
    """PIDs may come in another order than asked, one left out, with any filler."""
    lines = ("7E8100841055A0D320C", "7E8210FA0" + 5 * padding)
    records = [x(float(n), "010C0D055C", *lines) for n in range(1 + 2 * fast)]
    assert values(decoded(*records)) == {
        "ect_c": [50.0] * len(records),
        "speed_kmh": [50.0] * len(records),
        "rpm": [1000.0] * len(records),
    }


def test_of_equal_units_the_lowest_is_watched() -> None:
    """Without other signs the lowest identifier wins, whoever answers first."""
    rpm = x(1.0, "010C", "7E904410C0C1C", "7E804410C1AF8")
    assert values(decoded(rpm, rpm)) == {"rpm": [1726, 1726]}


def test_four_banks_move_the_sensor_places() -> None:
    """PID 1D without 13 makes the third sensor PID bank 2 sensor 1."""
    places = x(0.0, "0100", "7E806410000000008")
    sensor = x(1.0, "0116", "7E80441165A80")
    assert list(decoded(sensor).measured) == ["o2_b1s3_v", "o2_b1s3_trim_pct"]
    assert list(decoded(places, sensor).measured) == ["o2_b2s1_v", "o2_b2s1_trim_pct"]
    unnamed = x(1.0, "0118", "7E80441185A80")
    assert list(decoded(places, unnamed).measured) == []


def test_the_adapter_measures_voltage_where_the_car_does_not() -> None:
    """`ATRV` gives the voltage until the car tells its own."""
    columns = decoded(
        x(0.0, "ATRV", "12.6V"),
        x(1.0, "AT RV", "12.4"),
        x(2.0, "ATRV", "?"),
        x(3.0, "0142", "7E80441423200"),
        x(4.0, "ATRV", "9.9V"),
    )
    assert values(columns) == {"module_v": [12.6, 12.4, 12.8]}


def test_older_protocols_decode() -> None:
    """An older frame gives its value when its check byte holds."""
    for number in "12345":
        protocol = PROTOCOLS[number]
        frame = bytes.fromhex("486B10410C0C1C")
        good = frame + bytes((check_byte(protocol, frame),))
        bad = frame + bytes((check_byte(protocol, frame) ^ 1,))
        rows = [x(float(i), "010C", good.hex().upper()) for i in range(5)]
        rows.insert(3, x(2.5, "010C", bad.hex().upper()))
        columns = decoded(*rows, protocol=number)
        assert values(columns) == {"rpm": [775] * 5}


@pytest.mark.parametrize("bad", ["7E80341068G", "7E803410680G0", "7E8034106 8", "é"])
def test_a_damaged_line_among_good_ones_gives_nothing(bad: str) -> None:
    """One damaged line costs its own value only, in the data or in the padding."""
    good = "7E803410680AA"[: len(bad)] if len(bad) > 1 else "0"
    rows = [x(float(i), "0106", good) for i in range(6)]
    rows[4] = x(4.0, "0106", bad)
    expected = [0, 1, 2, 3, 5] if len(bad) > 1 else []
    assert decoded(*rows)["stft_b1_pct"].t.round().tolist() == expected


def test_code_reads_and_their_records_are_one_event() -> None:
    """An exchange and the record beside it tell of one read; later reads are new."""
    columns = decoded(
        x(1.0, "03", "7E80443010171", "7E9024300"),
        CodesRecord(1.5, "stored", ("P0171",)),
        x(2.0, "07", "7E8024700"),
        x(3.0, "0A", e="NO DATA"),
        x(4.0, "07", "7E8037F0711"),
        CodesRecord(5.0, "stored", ("P0171", "P0300")),
        x(60.0, "03", "7E80443010171"),
    )
    assert columns.codes == [
        CodeRead(1.01, "stored", ("P0171",)),
        CodeRead(2.01, "pending", ()),
        CodeRead(5.0, "stored", ("P0171", "P0300")),
        CodeRead(60.01, "stored", ("P0171",)),
    ]


def test_marks_and_the_link_are_events() -> None:
    """Remarks and the connection's life stand beside the columns."""
    columns = decoded(
        LinkRecord(0.0, "up"),
        MarkRecord(1.0, "hill", "step"),
        LinkRecord(2.0, "lost", "-"),
    )
    assert columns.marks == [Mark(1.0, "hill", "step")]
    assert columns.link == [LinkChange(0.0, "up"), LinkChange(2.0, "lost", "-")]
    assert columns.end_s == 2.0


def test_the_car_is_known_from_header_and_answer() -> None:
    """The header's VIN counts; without one, the VIN that the car told."""
    lines = ("7E8101449020131" + "4D38", "7E82147444D3941584B", "7E82250303432373838")
    asked = x(0.0, "0902", *lines)
    decoder = Decoder(header())
    decoder.feed([asked])
    assert decoder.columns.vehicle.vin == "1M8GDM9AXKP042788"
    named = Decoder(header(vin="1G4AH59H45G118341", displacement_l=3.5, note=7))
    named.feed([asked])
    vehicle = named.columns.vehicle
    assert vehicle.vin == "1G4AH59H45G118341"
    assert (vehicle.displacement_l, vehicle.note) == (3.5, None)


def test_a_change_is_told_before_it_happens() -> None:
    """What is known of the car changes only after everything earlier is in place."""
    seen: list[tuple[float, int, bool]] = []

    def before(t: float) -> None:
        columns = decoder.columns
        seen.append((t, len(columns["speed_kmh"]), columns.supported is None))

    decoder = Decoder(header(), before)
    speed = [x(float(i), "010D", "7E803410D33") for i in range(20)]
    speed[12] = x(12.0, "0100", "7E8064100FFFFFFFF")
    decoder.feed(speed)
    assert seen == [(12.0, 12, True)]
    assert decoder.columns.supported is not None


def test_overlapping_intervals_never_turn_time_back() -> None:
    """A value's time is held where a long interval reaches past the next one."""
    columns = decoded(
        x(0.0, "010D", "7E803410D33", d=3.0), x(0.5, "010D", "7E803410D34", d=0.1)
    )
    assert columns["speed_kmh"].t.tolist() == [1.5, 1.5]
    assert columns["speed_kmh"].v.tolist() == [51, 52]


SETS = ((0x0C, 0x14, 0x15, 0x18, 0x19, 0x06), (0x0C, 0x10), (0x24, 0x34), (0x0D,))
UNITS = ("7E8", "7E9", "7EA")


def _lines(unit: str, payload: bytes) -> list[str]:
    return [unit + frame.hex().upper() for frame in segment(payload)]


def _older_line(protocol: str, payload: bytes) -> str:
    frame = bytes.fromhex("486B10") + payload
    return (frame + bytes((check_byte(PROTOCOLS[protocol], frame),))).hex().upper()


@st.composite
def exchanges(draw: st.DrawFn, protocol: str) -> Exchange:
    """An exchange as a car might give it, now and then odd."""
    pids = draw(st.sampled_from(SETS if protocol == "6" else ((0x0C,), (0x14,))))
    noise = random.Random(draw(st.integers(0, 1 << 32)))
    kept = pids if draw(st.integers(0, 9)) else pids[:-1]
    payload = b"\x41" + b"".join(
        bytes((pid,)) + noise.randbytes(PIDS[pid].length) for pid in kept
    )
    if protocol == "6":
        units = draw(st.sampled_from((("7E8",), ("7E8",), ("7E8", "7E9"), ("7E9",))))
        lines = [line for unit in units for line in _lines(unit, payload)]
    else:
        lines = [_older_line(protocol, payload)]
    odd = draw(st.integers(0, 12))
    if odd == 0 and lines:
        where = noise.randrange(len(lines))
        at = noise.randrange(len(lines[where]))
        sign = noise.choice("0123456789ABCDEFabc ZZZZZZ")
        lines[where] = lines[where][:at] + sign + lines[where][at + 1 :]
    elif odd == 1:
        noise.shuffle(lines)
    elif odd == 2:
        del lines[-1]
    elif odd == 3:
        lines.insert(0, "7E8037F0178")
    elif odd == 4:
        lines = ["7E8037F0131"]
    elif odd == 5:
        lines = [line.lower() for line in lines]
    q = "01" + "".join(f"{pid:02X}" for pid in pids) + draw(st.sampled_from(("", "3")))
    return Exchange(0.0, q, tuple(lines), draw(st.sampled_from((0.0, 0.02, 0.3, 2.0))))


BITMAPS = st.sampled_from(
    [
        x(0.0, "0100", "7E8064100FFFFFFFF"),
        x(0.0, "0100", "7E8064100BE3EA813", "7E906410000180001"),
        x(0.0, "0100", "7E90641001E180001"),
        x(0.0, "0100", "7E806410000000008"),
        x(0.0, "0100", "486B104100BE3EA81325"),
        x(0.0, "0120", "7E8064120A0012001"),
        x(0.0, "ATRV", "12.6V"),
        x(0.0, "03", "7E80443010171"),
        x(0.0, "0142", "7E80441423200"),
        CodesRecord(0.0, "stored", ("P0171",)),
        MarkRecord(0.0, "here"),
    ]
)


@st.composite
def sessions(draw: st.DrawFn) -> tuple[str, list[Record]]:
    """A protocol, and records in time order."""
    protocol = draw(st.sampled_from(("6", "1", "3")))
    pool = st.one_of(*([exchanges(protocol)] * 6), BITMAPS)
    records = []
    t = 0.0
    for record in draw(st.lists(pool, min_size=1, max_size=60)):
        t += draw(st.sampled_from((0.0, 0.05, 1.0)))
        records.append(_at(record, t))
    return protocol, records


def _at(record: Record, t: float) -> Record:
    match record:
        case Exchange(_, q, a, d, e):
            return Exchange(t, q, a, d, e)
        case MarkRecord():
            return MarkRecord(t, record.text)
        case CodesRecord():
            return CodesRecord(t, record.when, record.codes)
    raise AssertionError(record)


Trail = list[tuple[float, object]]


def _read(
    protocol: str, records: Sequence[Record], cuts: Sequence[int], tries: int
) -> tuple[Columns, Trail, object]:
    trail: Trail = []
    decoder = Decoder(header(protocol), lambda t: trail.append((t, sizes())))

    def sizes() -> object:
        return {n: len(c) for n, c in decoder.columns.measured.items()}

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shape_groups, "_PLAN_TRIES", tries)
        for start, stop in zip((0, *cuts), (*cuts, len(records)), strict=True):
            decoder.feed(records[start:stop])
    return decoder.columns, trail, decoder.rejects


def _same(one: Columns, other: Columns) -> None:
    assert one.measured.keys() == other.measured.keys()
    for name, column in one.measured.items():
        assert np.array_equal(column.t, other[name].t), name
        assert np.array_equal(column.v, other[name].v), name
        assert np.array_equal(column.d, other[name].d), name
    assert one.supported == other.supported
    assert (one.marks, one.codes, one.link) == (other.marks, other.codes, other.link)
    assert (one.end_s, one.vehicle) == (other.end_s, other.vehicle)


@settings(max_examples=250, deadline=None)
@given(case=sessions(), data=st.data())
def test_every_way_of_reading_gives_the_same_columns(
    case: tuple[str, list[Record]], data: st.DataObject
) -> None:
    """Together or frame by frame, whole, one by one or in pieces: equal to the bit."""
    protocol, records = case
    size = len(records)
    cuts = sorted(data.draw(st.sets(st.integers(1, size), max_size=6)))
    whole = _read(protocol, records, (), 8)
    for other in (
        _read(protocol, records, (), 0),
        _read(protocol, records, range(1, size), 8),
        _read(protocol, records, cuts, 8),
        _read(protocol, records, cuts, 1),
    ):
        _same(whole[0], other[0])
        assert whole[1] == other[1]
        assert whole[2] == other[2]


def test_the_quick_way_is_really_taken() -> None:
    """In an ordinary drive only the first exchange of a shape goes the slow way."""
    noise = random.Random(7)
    records = []
    for i in range(400):
        pids = SETS[i % 4]
        payload = b"\x41" + b"".join(
            bytes((pid,)) + noise.randbytes(PIDS[pid].length) for pid in pids
        )
        q = "01" + "".join(f"{pid:02X}" for pid in pids)
        records.append(x(i * 0.1, q, *_lines("7E8", payload)))
    slow: list[Exchange] = []

    def counted(record: Exchange, protocol: str, maker: Definitions) -> OneAnswer:
        slow.append(record)
        return one_answer(record, protocol, maker)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(decode_module, "one_answer", counted)
        columns = decoded(*records)
    assert len(slow) == 4
    assert len(columns["rpm"]) == 200
