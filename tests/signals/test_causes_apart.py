"""What tells two causes with the same trims apart: pressures, shapes, codes, rears."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Floats
from bankwise.signals.engine import Engine

Wave = Callable[[Floats], Floats] | float | None
Watch = Callable[..., Engine]
Change = dict[str, Wave]


def _legs(idle: float, low: float, mid: float) -> Callable[[Floats], Floats]:
    """Idle for 100 s, easy driving for 80 s, brisk driving from then on."""
    return lambda t: np.select([t < 100, t < 180], [idle, low], mid)


def _keyed_on(
    wave: Callable[[Floats], Floats], off: float, seconds: float = 5.0
) -> Callable[[Floats], Floats]:
    """One value with the key on and the engine off, then the wave."""
    return lambda t: np.where(t < seconds, off, wave(t))


def _both(wave: Callable[[Floats], Floats]) -> Change:
    return {"ltft_b1_pct": wave, "ltft_b2_pct": wave}


BY_PRESSURE: Change = {
    "maf_gps": None,
    "map_kpa": _legs(32, 45, 70),
    "baro_kpa": 100.0,
}
"""Meters air by manifold pressure."""

ONE_BANK: Change = {
    "stft_b2_pct": None,
    "ltft_b2_pct": None,
    "o2_b2s1_v": None,
    "o2_b2s2_v": None,
    "fuel_status_b2": 0.0,
}
"""An engine with one bank."""


def _shares(engine: Engine) -> Mapping[tuple[str, str], float]:
    return {(e.id, e.about): e.share for e in engine.explanations()}


def _first(engine: Engine) -> tuple[str, str]:
    first = engine.explanations()[0]
    return first.id, first.about


def _lean_by_pressure(off_kpa: float, trims: Callable[[Floats], Floats]) -> Change:
    change = BY_PRESSURE | _both(trims)
    change["rpm"] = _keyed_on(_legs(750, 1800, 2300), 0.0)
    change["map_kpa"] = _keyed_on(_legs(32, 45, 70), off_kpa)
    return change


@pytest.mark.parametrize(
    ("off_kpa", "cause"),
    [(85.0, "airflow-under-read"), (99.0, "fuel-supply-weak")],
)
def test_standing_air_has_one_pressure(
    watch: Watch, off_kpa: float, cause: str
) -> None:
    """With the engine off a manifold sensor below the barometer errs."""
    engine = watch(_lean_by_pressure(off_kpa, _legs(16, 16, 16)), seconds=320)
    assert _first(engine) == (cause, "engine")


@pytest.mark.parametrize(
    ("trims", "cause"),
    [
        ((24.0, 21.0, 17.0), "airflow-under-read"),
        ((17.0, 17.0, 17.0), "fuel-supply-weak"),
        ((2.0, 8.0, 19.0), "fuel-supply-weak"),
    ],
)
def test_a_pressure_read_low_misses_most_air_at_idle(
    watch: Watch, trims: tuple[float, float, float], cause: str
) -> None:
    """By pressure, a lean trim that falls with load speaks for the sensor."""
    engine = watch(BY_PRESSURE | _both(_legs(*trims)), seconds=320)
    assert _first(engine) == (cause, "engine")


def test_a_manifold_low_at_full_throttle_speaks_for_its_sensor(watch: Watch) -> None:
    """Without a look at key-on, full throttle at moderate speed shows it too."""
    pulled = _legs(32, 45, 70)
    change = BY_PRESSURE | _both(_legs(16, 16, 16))
    change["map_kpa"] = lambda t: np.where((t > 250) & (t < 256), 84.0, pulled(t))
    change["throttle_pct"] = lambda t: np.where(
        (t > 250) & (t < 256), 85.0, _legs(12, 20, 30)(t)
    )
    assert _first(watch(change, seconds=320)) == ("airflow-under-read", "engine")


def test_a_blockage_at_its_limit_is_still_a_blockage(watch: Watch) -> None:
    """A bank that takes more the more air flows breathes less, also at its end."""
    change = BY_PRESSURE | {
        "stft_b1_pct": _legs(-3, -6, -25),
        "ltft_b1_pct": _legs(-8, -8, -12),
        "o2_b1s1_v": lambda t: np.where(t > 190, 0.88, 0.45 + 0.4 * np.sin(6 * t)),
    }
    engine = watch(change, seconds=320)
    assert "trim-at-limit" in {flag.id for flag in engine.flags}
    assert _first(engine) == ("bank-breathes-less", "B1")


ALIKE = BY_PRESSURE | {"ltft_b1_pct": _legs(-16, -16, -16)}


def _late(*codes: str) -> list[CodeRead]:
    return [CodeRead(330.0, "stored", ()), CodeRead(330.0, "pending", codes)]


def test_codes_read_late_without_a_cam_code_speak_against_a_late_cam(
    watch: Watch,
) -> None:
    """By pressure, alike at every flow and no cam code: rather the injectors."""
    engine = watch(ALIKE, seconds=340, codes=_late())
    assert _first(engine) == ("bank-injectors-rich", "B1")
    assert ("bank-breathes-less", "B1") in _shares(engine)


@pytest.mark.parametrize(
    "codes", [_late("P0016"), [CodeRead(5.0, "pending", ())], []]
)  # fmt: skip
def test_else_the_bank_short_of_air_stays_first(
    watch: Watch, codes: list[CodeRead]
) -> None:
    """With a cam code, or with codes read too early to tell, it breathes less."""
    engine = watch(ALIKE, seconds=340, codes=codes)
    assert _first(engine) == ("bank-breathes-less", "B1")
    assert ("bank-injectors-rich", "B1") in _shares(engine)


@pytest.mark.parametrize(
    ("idle", "cause"),
    [
        (-16.0, ("common-rich-source", "engine")),
        (-36.0, ("bank-injectors-rich", "B1")),
    ],
)
def test_a_purge_line_gives_only_so_much(
    watch: Watch, idle: float, cause: tuple[str, str]
) -> None:
    """On one bank, a rich idle within a purge line's reach is rather the purge."""
    change = ONE_BANK | {"ltft_b1_pct": _legs(idle, -4, 0)}
    assert _first(watch(change)) == cause


@pytest.mark.parametrize(
    ("rear", "cause"), [(0.86, "exhaust-leak"), (0.66, "bank-unmetered-air")]
)
def test_a_rear_richer_than_its_neighbour_got_the_added_fuel(
    watch: Watch, rear: float, cause: str
) -> None:
    """A bank that adds more than the other, with a richer rear: air in the exhaust."""
    change: Change = {
        "ltft_b1_pct": _legs(13, 7, 4),
        "o2_b1s2_v": rear,
        "o2_b2s2_v": 0.62,
    }
    assert _first(watch(change)) == (cause, "B1")


def test_both_fronts_alike_speak_of_the_mixture(watch: Watch) -> None:
    """Two fronts stuck lean together, with their codes, accuse no sensor."""
    change = _both(lambda t: np.clip((t - 60) / 4, 0, 25)) | {
        "stft_b1_pct": 10.0,
        "stft_b2_pct": 10.0,
        "o2_b1s1_v": 0.05,
        "o2_b2s1_v": 0.06,
        "o2_b1s2_v": 0.08,
        "o2_b2s2_v": 0.08,
    }
    codes = [CodeRead(200.0, "pending", ("P2195", "P2197"))]
    causes = {name for name, _ in _shares(watch(change, codes=codes))}
    assert "sensor-reads-lean" not in causes


CROSSED: Change = {
    "ltft_b1_pct": lambda t: np.clip((t - 100) * 2, 0, 25),
    "ltft_b2_pct": lambda t: -np.clip((t - 100) * 2, 0, 25),
    "o2_b1s1_v": lambda t: np.where(t > 105, 0.08, 0.45 + 0.4 * np.sin(6 * t)),
    "o2_b2s1_v": lambda t: np.where(t > 105, 0.86, 0.45 + 0.4 * np.sin(6 * t)),
    "o2_b1s2_v": lambda t: np.where(t > 112, 0.88, 0.65),
    "o2_b2s2_v": lambda t: np.where(t > 112, 0.08, 0.65),
}
"""Trims at opposite ends within seconds, on the road; each rear denies its front."""


def test_crossed_plugs_show_without_a_long_race(watch: Watch) -> None:
    """Ends reached in 13 s and held, rears saying the reverse: crossed."""
    engine = watch(CROSSED, seconds=160)
    assert ("crossed-sensors", "engine") in {(f.id, f.about) for f in engine.flags}
    assert _first(engine) == ("sensors-crossed", "engine")


def test_crossed_plugs_show_in_open_loop_too(watch: Watch) -> None:
    """What was learned is added in open loop, and the rears deny it there as well."""
    change = CROSSED | {
        "fuel_status_b1": lambda t: np.where(t > 108, 1.0, 2.0),
        "fuel_status_b2": lambda t: np.where(t > 108, 1.0, 2.0),
        "ect_c": 40.0,
    }
    engine = watch(change, seconds=160)
    assert ("crossed-sensors", "engine") in {(f.id, f.about) for f in engine.flags}


def test_rears_that_agree_deny_crossed_plugs(watch: Watch) -> None:
    """A bank that is lean and one that is rich for real are no crossed plugs."""
    change = CROSSED | {
        "o2_b1s2_v": lambda t: np.where(t > 112, 0.08, 0.65),
        "o2_b2s2_v": lambda t: np.where(t > 112, 0.88, 0.65),
    }
    assert "crossed-sensors" not in {f.id for f in watch(change).flags}


def test_codes_that_call_the_banks_opposite_speak_for_crossed_plugs(
    watch: Watch,
) -> None:
    """Stuck lean on one bank and stuck rich on the other, by code alone."""
    codes = [CodeRead(20.0, "stored", ("P2195", "P2198"))]
    assert ("sensors-crossed", "engine") in _shares(watch({}, codes=codes))


def _slow_edges(idle_ms: float, road_ms: float) -> Callable[[Floats], Floats]:
    """A sensor at 0.8 Hz whose edges take so long between 0.3 and 0.6 V."""

    def wave(t: Floats) -> Floats:
        swing = np.arcsin(np.sin(2 * np.pi * 0.8 * t)) / (np.pi / 2)
        edge = np.where(t < 100, idle_ms, road_ms) / 1000
        # One pass of the triangle from 0 to 1 takes a quarter of a period.
        slope = 0.3 / edge * (1 / 0.8 / 4)
        level: Floats = 0.45 + np.clip(slope * swing, -0.38, 0.38)
        return level

    return wave


@pytest.mark.parametrize(
    ("idle_ms", "road_ms", "slow"),
    [(250.0, 60.0, False), (60.0, 250.0, True), (250.0, 250.0, True)],
)
def test_edges_are_judged_at_a_turning_engine(
    watch: Watch, idle_ms: float, road_ms: float, slow: bool
) -> None:
    """Slow edges count from 1000 to 3000 rpm, where the limits hold, not at idle."""
    engine = watch({"o2_b1s1_v": _slow_edges(idle_ms, road_ms)})
    assert ("slow-switching" in {flag.id for flag in engine.flags}) is slow


def test_a_wide_band_sensor_that_moves_around_one_is_awake(watch: Watch) -> None:
    """Close to λ 1 all the time, but never still: awake."""
    change: Change = {
        "rpm": lambda t: np.where(t < 6, 0.0, 750.0),
        "speed_kmh": 0.0,
        "o2_b1s1_v": None,
        "o2_b2s1_v": None,
        "lambda_b1s1": lambda t: np.where(t < 14, 1.0, 0.96),
        "lambda_b2s1": lambda t: np.where(t < 16, 1.0, 1 + 0.006 * np.sin(3 * t)),
    }
    engine = watch(change, seconds=120)
    assert engine.frame["wake_up_b2s1_s"][-1] == pytest.approx(10.0, abs=2.0)
    assert "late-wake-up" not in {flag.id for flag in engine.flags}
