"""Full scales that a car announces: the same bytes then mean more."""

from __future__ import annotations

import pytest

from bankwise.adapters.decode import Decoder
from bankwise.adapters.full_scales import factor, factors
from bankwise.adapters.records import AdapterInfo, Exchange, Header, Record
from bankwise.signals.columns import Columns

HEADER = Header("id", "2026-03-01T10:00:00Z", "test", AdapterInfo("hand-written", "6"))


def _wide(t: float) -> Record:
    """λ raw 8000 and current raw C000 of the first sensor, in PID 34."""
    return Exchange(t, "0134", ("7E80641348000C000",), 0.02)


def _volts(t: float) -> Record:
    return Exchange(t, "0124", ("7E806412480004000",), 0.02)


def _air(t: float) -> Record:
    return Exchange(t, "010B10", ("7E806410B6410" + "03E8",), 0.02)


def _told(t: float, request: str, data: str) -> Record:
    return Exchange(t, request, (f"7E80641{request[2:]}{data}",), 0.02)


def _columns(*records: Record) -> Columns:
    decoder = Decoder(HEADER)
    decoder.feed(records)
    return decoder.columns


def test_a_zero_leaves_the_usual_scale() -> None:
    """PID 4F of zeros changes nothing: λ 1.0, 64 mA, 2 V."""
    columns = _columns(_told(0.0, "014F", "00000000"), _wide(1.0), _volts(2.0))
    assert columns["lambda_b1s1"].v.tolist() == [1.0, 1.0]
    assert columns["o2_b1s1_ma"].v.tolist() == [64.0]
    assert columns["o2_b1s1_wide_v"].v.tolist() == [2.0]


def test_other_scales_multiply() -> None:
    """λ to 4, 16 V, 255 mA, 510 kPa and 1280 g/s: each value follows its own."""
    columns = _columns(
        _told(0.0, "014F", "0410FF33"),
        _told(0.5, "0150", "80000000"),
        _wide(1.0),
        _volts(2.0),
        _air(3.0),
    )
    assert columns["lambda_b1s1"].v.tolist() == [2.0, 2.0]
    assert columns["o2_b1s1_wide_v"].v.tolist() == [4.0]
    assert columns["o2_b1s1_ma"].v.tolist() == [127.5]
    assert columns["map_kpa"].v.tolist() == [200.0]
    assert columns["maf_gps"].v[0] == pytest.approx(10.0 * 1280 / 655.35)


def test_a_scale_takes_effect_where_it_is_read_however_the_drive_is_cut() -> None:
    """Values before the announcement keep the usual scale, whole or piece by piece."""
    records = [_wide(i * 0.1) for i in range(20)]
    records.insert(10, _told(0.95, "014F", "04000000"))
    whole = _columns(*records)["lambda_b1s1"].v.tolist()
    decoder = Decoder(HEADER)
    for record in records:
        decoder.feed([record])
    assert whole == [1.0] * 10 + [2.0] * 10
    assert decoder.columns["lambda_b1s1"].v.tolist() == whole


def test_only_the_named_values_change() -> None:
    """A switching sensor's volts and an unannounced unit stay as they are."""
    known = factors({0x4F: bytes((4, 16, 255, 51))})
    assert factor(known, 0x14, "o2_b1s1_v") == 1.0
    assert factor(known, 0x44, "lambda_cmd") == 2.0
    assert factor(known, 0x06, "stft_b1_pct") == 1.0
    assert factor({}, 0x34, "lambda_b1s1") == 1.0
    assert factors({0x0C: b"\x0c\x1c"}) == {}
