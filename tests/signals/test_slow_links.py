"""On a slow link what is known of throttle, load and status is seconds old."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from bankwise.signals.columns import Bools, Floats
from bankwise.signals.engine import Engine

Wave = Callable[[Floats], Floats] | float | None
Watch = Callable[..., Engine]
Raised = Callable[..., tuple[str, ...]]
Change = dict[str, Wave]


def _legs(idle: float, easy: float, loaded: float) -> Callable[[Floats], Floats]:
    """Idle for 100 s, easy driving for 80 s, brisk driving from then on."""
    return lambda t: np.select([t < 100, t < 180], [idle, easy], loaded)


def _during(
    first: float, last: float, inside: float, wave: Callable[[Floats], Floats]
) -> Callable[[Floats], Floats]:
    return lambda t: np.where((t >= first) & (t < last), inside, wave(t))


def _switching(t: Floats) -> Floats:
    volts: Floats = 0.475 + 0.375 * np.tanh(6 * np.sin(6 * t))
    return volts


@pytest.mark.parametrize(("load", "kpa", "open_"), [
    (95.0, 98.0, 1.0), (70.0, None, 1.0), (22.0, None, 0.0), (None, 25.0, 0.0),
])  # fmt: skip
def test_an_old_throttle_does_not_outweigh_a_throttled_engine(
    watch: Watch, load: float | None, kpa: float | None, open_: float
) -> None:
    """Load and manifold pressure tell that the driver has lifted."""
    change: Change = {"throttle_pct": _during(200, 212, 88, _legs(12, 20, 30))}
    base: Mapping[str, Callable[[Floats], Floats]] = {
        "load_pct": _legs(20, 28, 45),
        "map_kpa": _legs(30, 45, 60),
    }
    for name, value in (("load_pct", load), ("map_kpa", kpa)):
        change[name] = None if value is None else _during(200, 212, value, base[name])
    frame = watch(change, seconds=230).frame
    assert frame["wide_open"][2 * 206] == open_


CUT: Change = {
    "throttle_pct": _during(200, 212, 0.0, _legs(12, 20, 30)),
    "fuel_status_b1": _during(200, 212, 4.0, lambda t: np.full(len(t), 2.0)),
    "fuel_status_b2": _during(200, 212, 4.0, lambda t: np.full(len(t), 2.0)),
    "rpm": _during(200, 212, 2000.0, _legs(750, 1800, 2300)),
    "o2_b1s1_v": _during(199, 213, 0.6, _switching),
    "o2_b2s1_v": _during(199, 213, 0.05, _switching),
}
"""A fuel cut in which bank 1's front stays rich."""


def test_a_front_that_stays_rich_in_a_cut_is_told(raised: Raised) -> None:
    """The other bank's front lies lean all the while: a real cut."""
    assert "decel-not-lean B1S1" in raised(CUT, seconds=300)


def test_where_the_other_front_switches_there_was_no_cut(raised: Raised) -> None:
    """The status read before says cut, both banks' fronts say that fuel came back."""
    change = CUT | {"o2_b2s1_v": _switching}
    assert "decel-not-lean B1S1" not in raised(change, seconds=300)


@pytest.mark.parametrize(("hz", "told"), [(12.5, True), (0.4, False)])
def test_one_sample_convicts_no_sensor_in_a_cut(
    watch: Watch, hz: float, *, told: bool
) -> None:
    """On a slow link one rich sample may have come after the fuel had."""
    engine = watch(CUT, seconds=300, hz=hz)
    assert ("decel-not-lean" in {flag.id for flag in engine.flags}) is told


PULL: Change = {
    "throttle_pct": _during(200, 212, 90.0, _legs(12, 20, 30)),
    "load_pct": _during(200, 212, 95.0, _legs(20, 28, 45)),
    "rpm": _during(200, 212, 3500.0, _legs(750, 1800, 2300)),
    "fuel_status_b1": _during(200, 212, 4.0, lambda t: np.full(len(t), 2.0)),
    "fuel_status_b2": _during(200, 212, 4.0, lambda t: np.full(len(t), 2.0)),
    "o2_b1s1_v": _during(199, 213, 0.3, _switching),
    "o2_b2s1_v": _during(199, 213, 0.88, _switching),
    "o2_b1s2_v": 0.3,
}
"""A pull in which bank 1's front stays below the middle."""


@pytest.mark.parametrize(("hz", "told"), [(12.5, True), (0.6, False)])
def test_one_sample_stops_no_driver(watch: Watch, hz: float, *, told: bool) -> None:
    """A stop needs the sensor seen again and again while the throttle is open."""
    engine = watch(PULL, seconds=300, hz=hz)
    assert ("full-throttle-not-rich" in {flag.id for flag in engine.flags}) is told


@pytest.mark.parametrize(("first", "there"), [(0.7, True), (1.1, False)])
def test_a_pull_that_filled_well_refutes_a_blockage(
    raised: Raised, first: float, *, there: bool
) -> None:
    """Two pulls fill badly: if one before filled well at that speed, nothing blocks."""
    pulls = [(190.0 + 30 * n, 198.0 + 30 * n) for n in range(4)]

    def inside(t: Floats) -> Bools:
        return np.asarray(np.any([(t >= a) & (t < b) for a, b in pulls], axis=0))

    full = 2.5 / 2 * 3200 / 60 * 1.18 * 0.75
    change: Change = {
        "throttle_pct": lambda t: np.where(inside(t), 95.0, np.where(t < 100, 12, 24)),
        "rpm": lambda t: np.where(inside(t), 3200.0, np.where(t < 100, 750, 2300)),
        "load_pct": lambda t: np.where(inside(t), 95.0, np.where(t < 100, 20, 45)),
        "maf_gps": lambda t: np.where(
            inside(t), full * np.where(t < 200, first, 0.7), 20.0
        ),
        "baro_kpa": 101.0,
    }
    flags = raised(change, seconds=320, litres=2.5)
    assert ("low-airflow engine" in flags) is there


@pytest.mark.parametrize(("trim", "load", "first"), [
    (14.0, 95.0, False), (30.0, 95.0, True),
])  # fmt: skip
def test_a_full_load_convicts_the_fuel_as_far_as_the_trim_goes(
    watch: Watch, trim: float, load: float, *, first: bool
) -> None:
    """A load of 105 % may be a meter that reads low, one of 124 % is no engine."""
    change: Change = {
        "ltft_b1_pct": trim,
        "ltft_b2_pct": trim,
        "throttle_pct": _during(200, 212, 90.0, _legs(12, 20, 30)),
        "load_pct": _during(200, 212, load, _legs(20, 28, 45)),
        "rpm": _during(200, 212, 3000.0, _legs(750, 1800, 2300)),
        "maf_gps": _during(200, 212, 66.0, _legs(3.5, 12, 25)),
        "o2_b1s1_v": _during(200, 212, 0.88, _switching),
        "o2_b2s1_v": _during(200, 212, 0.88, _switching),
        "baro_kpa": 100.0,
    }
    found = watch(change, seconds=320, litres=3.0).explanations()
    shares = {one.id: one.share for one in found}
    fuel, meter = shares.get("fuel-supply-weak", 0), shares.get("airflow-under-read", 0)
    assert fuel > 0
    assert (fuel > 2 * meter) is first


def test_filling_is_read_where_the_throttle_is_at_its_own_end(watch: Watch) -> None:
    """Three quarters open is called wide open, but fills no engine."""
    legs = (_legs(12, 20, 30), _legs(3.5, 12, 25))
    change: Change = {
        "ltft_b1_pct": -14.0,
        "ltft_b2_pct": -14.0,
        "throttle_pct": lambda t: np.select(
            [(t >= 200) & (t < 206), (t >= 206) & (t < 226)], [88, 74], legs[0](t)
        ),
        "load_pct": _during(200, 226, 90.0, _legs(20, 28, 45)),
        "rpm": _during(200, 226, 3000.0, _legs(750, 1800, 2300)),
        "maf_gps": lambda t: np.select(
            [(t >= 200) & (t < 206), (t >= 206) & (t < 226)], [85, 55], legs[1](t)
        ),
        "o2_b1s1_v": _during(200, 226, 0.88, _switching),
        "o2_b2s1_v": _during(200, 226, 0.88, _switching),
        "baro_kpa": 100.0,
    }
    found = watch(change, seconds=320, litres=3.0).explanations()
    facts = " ".join(words for one in found for words in (*one.for_, *one.against))
    assert "of what is usual" in facts
    assert "the air is metered right" not in facts
