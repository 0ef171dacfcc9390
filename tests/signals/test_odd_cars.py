"""Cars that deliver little or odd things: quiet, honest, and never an error."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import Floats
from bankwise.signals.engine import Engine
from bankwise.signals.severity import Severity

Judge = Callable[..., Engine]
Wave = Callable[[Floats], Floats]


def _pieces(*values: float) -> Wave:
    """One value for every 25 s, over and over."""
    table = np.array(values, dtype=np.float64)
    return lambda t: table[(t // 25).astype(int) % len(table)]


# Idle, town, road, a pull, a fuel cut.
_DRIVE: dict[str, Wave | float] = {
    "rpm": _pieces(750, 1500, 2200, 3500, 2000),
    "speed_kmh": _pieces(0, 45, 85, 100, 70),
    "throttle_pct": _pieces(14, 20, 26, 85, 14),
    "load_pct": _pieces(25, 35, 45, 95, 8),
    "maf_gps": _pieces(4, 9, 22, 95, 4),
    "ect_c": 90.0,
    "module_v": 14.1,
}
_STATUS = _pieces(2, 2, 2, 4, 4)


def _front(t: Floats) -> Floats:
    piece = (t // 25).astype(int) % 5
    wave = np.where((1.1 * t) % 1.0 < 0.5, 0.82, 0.12)
    return np.where(piece == 4, 0.05, np.where(piece == 3, 0.86, wave))


_REAR = _pieces(0.68, 0.7, 0.66, 0.8, 0.1)
_SOUND: dict[str, Wave | float] = {
    **_DRIVE,
    "fuel_status_b1": _STATUS,
    "stft_b1_pct": lambda t: 1.5 * np.sign(np.sin(4 * t)),
    "ltft_b1_pct": 1.6,
    "o2_b1s1_v": _front,
    "o2_b1s2_v": _REAR,
}


def _loud(engine: Engine) -> list[tuple[str, str]]:
    worry = (Severity.ACT, Severity.STOP)
    return [(f.id, f.about) for f in engine.flags if f.severity in worry]


def _whole(engine: Engine) -> None:
    """Everything it says can be said: JSON without NaN, reasons without blanks."""
    json.dumps(engine.figures(), allow_nan=False)
    assert all(c.why and c.what and c.about for c in engine.cannot_tell())
    assert engine.explanations()


def test_a_sound_engine_is_left_alone(judge: Judge) -> None:
    """A sound one-bank drive raises nothing to act on."""
    engine = judge(400, **_SOUND)
    assert _loud(engine) == []
    assert engine.frame["gate_b1"][2 * 310] == 1
    _whole(engine)


@pytest.mark.parametrize("missing", sorted(set(_SOUND) - {"rpm"}))
def test_any_one_signal_may_be_missing(judge: Judge, missing: str) -> None:
    """Without any one of its signals a sound engine is still left alone."""
    signals = {name: wave for name, wave in _SOUND.items() if name != missing}
    engine = judge(300, **signals)
    assert _loud(engine) == []
    _whole(engine)


def test_without_engine_speed_nothing_breaks(judge: Judge) -> None:
    """A session without engine speed still says what it has, and raises nothing."""
    signals = {name: wave for name, wave in _SOUND.items() if name != "rpm"}
    engine = judge(200, **signals)
    assert _loud(engine) == []
    _whole(engine)


def test_a_diesel_says_what_cannot_be_judged(judge: Judge) -> None:
    """Lean λ, no trims, no fuel status: nothing to act on, and trims not supported."""
    engine = judge(300, **_DRIVE, map_kpa=_pieces(100, 130, 150, 220, 100),
                   lambda_b1s1=_pieces(3.0, 2.2, 1.7, 1.3, 8.0))  # fmt: skip
    assert _loud(engine) == []
    said = {(c.about, c.what): c.why for c in engine.cannot_tell()}
    assert said["B1", "fuel trim"] == "not supported by this car"
    assert said["B1", "closed loop"] == "not supported by this car"
    _whole(engine)


@pytest.mark.parametrize(("kind", "diesel"), [(4.0, True), (1.0, False)])
def test_a_car_that_burns_diesel_is_told_so_first(
    judge: Judge, kind: float, *, diesel: bool
) -> None:
    """It is not asked for an idle or a fuel cut that could not show anything."""
    engine = judge(300, **_DRIVE, map_kpa=_pieces(100, 130, 150, 220, 100),
                   lambda_b1s1=_pieces(3.0, 2.2, 1.7, 1.3, 8.0),
                   fuel_type=kind)  # fmt: skip
    said = engine.explanations()[0]
    assert said.id == "cannot-tell"
    assert said.for_[0].startswith("This is a diesel") is diesel
    assert any("Not seen yet" in words for words in said.for_) is not diesel


def test_one_signal_a_second_judges_no_switching(judge: Judge) -> None:
    """At one sample a second a sound sensor is called neither good nor bad."""
    engine = judge(400, hz=1.0, **_SOUND)
    switching = {"sensor-not-switching", "slow-switching", "small-swing", "stuck-lean"}
    assert not switching & {flag.id for flag in engine.flags}
    said = {(c.about, c.what): c.why for c in engine.cannot_tell()}
    assert "needs 10 Hz" in said["B1S1", "switching"]


def test_an_open_front_sensor_is_found(judge: Judge) -> None:
    """The same drive with the front sensor parked at 0.45 V is flagged as such."""
    engine = judge(400, **{**_SOUND, "o2_b1s1_v": 0.45})
    assert ("parked-at-bias", "B1S1") in _loud(engine)


def test_flags_carry_their_figures(judge: Judge) -> None:
    """The sentence of a flag holds its place and no unfilled figure."""
    engine = judge(400, **{**_SOUND, "o2_b1s1_v": 0.45})
    (flag,) = [f for f in engine.flags if f.id == "parked-at-bias"]
    assert "B1S1" in flag.text
    assert "{" not in flag.text
    assert flag.spans[0][0] == flag.first_s
    assert flag.total_s <= flag.last_s - flag.first_s + 30


def test_nothing_at_all(judge: Judge) -> None:
    """A session without a single value gives reasons, not an error."""
    engine = judge(30)
    assert engine.flags == []
    _whole(engine)


def test_a_lean_diesel_at_the_end_of_its_scale_is_not_frozen(judge: Judge) -> None:
    """λ stands at 2 while the pedal moves: so lean, not a dead sensor."""
    engine = judge(
        300,
        **_DRIVE,
        map_kpa=_pieces(100, 130, 150, 220, 100),
        lambda_b1s1=_pieces(2.0, 2.0, 2.0, 1.4, 2.0),
    )
    assert _loud(engine) == []
