"""Codes that a drive contradicts, and those it must leave alone."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import Columns, Floats
from bankwise.signals.contradictions import contradictions
from bankwise.signals.evidence import CodeReading, Snapshot, UnitCodes
from bankwise.signals.frame import Frame
from bankwise.signals.thresholds import DEFAULTS

SECONDS = 300.0
Wave = Callable[[Floats], Floats]


def _seen(*stored: str, pending: tuple[str, ...] = ()) -> Snapshot:
    def reading(when: str, codes: tuple[str, ...]) -> CodeReading:
        return CodeReading(when, 1.0, (UnitCodes("7E8", codes),))

    return Snapshot(
        {
            "stored": reading("stored", stored),
            "pending": reading("pending", pending),
            "permanent": reading("permanent", stored),
        }
    )


def _switching(awake_s: float, steep: float) -> Wave:
    """Parked at 0.45 V until it wakes, then switching; steep ways are quick ones."""

    def wave(t: Floats) -> Floats:
        swing = 0.45 + 0.38 * np.tanh(steep * np.sin(2 * np.pi * 1.0 * t))
        return np.where(t < awake_s, 0.45, swing)

    return wave


def _drive(
    *,
    start_c: float = 15.0,
    awake_s: float = 11.0,
    trim: float = 0.0,
    hot: float = 90,
    steep: float = 6.0,
) -> Frame:
    """A start, then cruising at three speeds by turns with one bank's trim."""
    columns = Columns()
    t = np.arange(0.0, SECONDS, 0.05)
    slow = np.arange(0.0, SECONDS, 0.25)

    def add(name: str, at: Floats, values: Floats) -> None:
        columns.extend(name, at, values, np.full(len(at), 0.02))

    rpm = np.choose((slow // 20).astype(int) % 3, (1800.0, 2300.0, 2800.0))
    add("o2_b1s1_v", t, _switching(awake_s, steep)(t))
    add("o2_b1s2_v", slow, 0.6 + 0.05 * np.sin(slow / 9))
    add("rpm", slow, np.where(slow < 1, 0.0, rpm))
    add("speed_kmh", slow, rpm / 40)
    add("load_pct", slow, np.full(len(slow), 35.0))
    add("ect_c", slow, np.minimum(hot, start_c + slow))
    add("maf_gps", slow, np.full(len(slow), 12.0))
    add("throttle_pct", slow, np.full(len(slow), 20.0))
    add("fuel_status_b1", slow, np.where(slow < 20, 1.0, 2.0))
    add("stft_b1_pct", slow, np.zeros(len(slow)))
    add("ltft_b1_pct", slow, np.full(len(slow), trim))
    columns.end_s = SECONDS
    frame = Frame(DEFAULTS)
    frame.advance(columns, int(SECONDS * 2))
    return frame


def _texts(seen: Snapshot, frame: Frame) -> dict[str, str]:
    return {one.code: one.text for one in contradictions(seen, frame)}


def test_a_heater_code_for_a_sensor_that_woke_in_eleven_seconds() -> None:
    """The sentence names the sensor, the seconds and the cold start."""
    texts = _texts(_seen("P0135"), _drive())
    words = texts["P0135"]
    assert words.startswith("a heater code is stored for B1S1, yet on this drive B1S1")
    assert re.search(r"woke 1\d s after a start at 1[56] °C", words)


def test_a_warm_start_or_a_late_wake_up_says_nothing_about_the_heater() -> None:
    """Hot exhaust wakes a sensor without its heater; a late one needed it."""
    assert _texts(_seen("P0135"), _drive(start_c=70.0)) == {}
    assert _texts(_seen("P0135"), _drive(awake_s=95.0)) == {}


def test_a_sensor_code_for_a_sensor_that_switches() -> None:
    """Activity and circuit codes are contradicted by switching."""
    texts = _texts(_seen("P0134", pending=("P2195",)), _drive())
    assert set(texts) == {"P0134", "P2195"}
    assert "pending for B1S1" in texts["P2195"]
    assert "times in 100 s" in texts["P0134"]
    asleep = _drive(awake_s=SECONDS + 1)
    assert _texts(_seen("P0134", "P0133"), asleep) == {}


def test_a_slow_response_code_is_contradicted_by_quick_ways_only() -> None:
    """A sensor that is slow still switches, which says nothing against its code."""
    quick = _texts(_seen("P0133"), _drive())
    assert "ms at most between 300 and 600 mV" in quick["P0133"]
    assert _texts(_seen("P0133"), _drive(steep=1.2)) == {}
    assert "P0134" in _texts(_seen("P0134"), _drive(steep=1.2))
    assert _texts(_seen("P0139"), _drive()) == {}


def test_a_lean_code_where_no_cell_adds_fuel() -> None:
    """Every cell must be fine; a bank that adds speaks for its code."""
    texts = _texts(_seen("P0171", "P0172"), _drive(trim=1.6))
    assert "+2 % at most, in 3 cells" in texts["P0171"]
    assert "+2 % at least" in texts["P0172"]
    adding = _texts(_seen("P0171", "P0172"), _drive(trim=18.0))
    assert set(adding) == {"P0172"}
    taking = _texts(_seen("P0171", "P0172"), _drive(trim=-18.0))
    assert set(taking) == {"P0171"}


def test_a_bank_that_was_not_seen_contradicts_nothing() -> None:
    """Codes of bank 2 on a car that tells of bank 1 only."""
    assert _texts(_seen("P0174", "P0155", "P0154", "P0430"), _drive()) == {}


def test_a_thermostat_code_for_an_engine_that_got_warm() -> None:
    """80 °C and more contradicts P0128; 72 °C does not."""
    assert "reached 90 °C" in _texts(_seen("P0128"), _drive())["P0128"]
    assert _texts(_seen("P0128"), _drive(hot=72.0)) == {}


def test_a_catalyst_code_where_the_rear_is_calm() -> None:
    """The rear moves far less than the front."""
    assert "moved" in _texts(_seen("P0420"), _drive())["P0420"]


def test_permanent_codes_and_others_are_left_alone() -> None:
    """A permanent copy stays by law; a code about other things is not judged."""
    only_permanent = Snapshot(
        {
            "stored": CodeReading("stored", 1.0),
            "pending": CodeReading("pending", 1.0),
            "permanent": CodeReading("permanent", 1.0, (UnitCodes("7E8", ("P0135",)),)),
        }
    )
    assert contradictions(only_permanent, _drive()) == ()
    assert _texts(_seen("P0455", "U0100", "P1133"), _drive()) == {}


@pytest.mark.parametrize("code", ["P0135-13", "p0134"])
def test_a_failure_type_changes_nothing(code: str) -> None:
    """A code of three bytes is judged as its first two."""
    assert set(_texts(_seen(code), _drive())) == {code}
