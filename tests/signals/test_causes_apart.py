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


def test_codes_read_late_without_a_cam_code_bring_the_injectors_closer(
    watch: Watch,
) -> None:
    """By pressure, alike at every flow: without a cam code the two lie close."""
    plain, late, cam = (
        _shares(watch(ALIKE, seconds=340, codes=codes))
        for codes in ([CodeRead(5.0, "pending", ())], _late(), _late("P0016"))
    )
    less, rich = ("bank-breathes-less", "B1"), ("bank-injectors-rich", "B1")
    assert plain[less] > plain[rich] > 0
    assert 0 < late[less] - late[rich] < plain[less] - plain[rich]
    assert cam[less] - cam[rich] > plain[less] - plain[rich]


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


def _pull(change: Change) -> Change:
    """The warm drive with a full-throttle pull from 250 to 258 s."""
    pulled: Change = {
        "throttle_pct": _in_pull(85.0, _legs(12, 20, 30)),
        "load_pct": _in_pull(92.0, _legs(20, 28, 45)),
    }
    return pulled | change


def _in_pull(inside: float, outside: Callable[[Floats], Floats]) -> Wave:
    return lambda t: np.where((t > 250) & (t < 258), inside, outside(t))


def _switching(t: Floats) -> Floats:
    level: Floats = 0.45 + 0.38 * np.tanh(6 * np.sin(2 * np.pi * t))
    return level


def test_switching_at_full_throttle_is_no_starvation(watch: Watch) -> None:
    """A unit that stays at λ 1 with the throttle open goes on switching there."""
    silent: Change = {"fuel_status_b1": None, "fuel_status_b2": None}
    for change in (_pull({}), _pull(silent)):
        change |= {"o2_b1s1_v": _switching, "o2_b2s1_v": _switching}
        flags = {flag.id for flag in watch(change, seconds=300).flags}
        assert "full-throttle-not-rich" not in flags


@pytest.mark.parametrize(
    ("volts", "status", "raised"),
    [(0.1, 2.0, True), (0.6, 4.0, True), (0.6, 2.0, False), (0.88, 4.0, False)],
)
def test_full_throttle_is_judged_by_what_is_asked(
    watch: Watch, volts: float, status: float, raised: bool
) -> None:
    """Lean all the time is starvation; merely not rich only where more is asked."""
    change = _pull({
        "o2_b1s1_v": _in_pull(volts, _switching),
        "o2_b1s2_v": 0.2,
        "fuel_status_b1": _in_pull(status, lambda t: np.full(len(t), 2.0)),
        "fuel_status_b2": _in_pull(status, lambda t: np.full(len(t), 2.0)),
    })  # fmt: skip
    flags = {(f.id, f.about) for f in watch(change, seconds=300).flags}
    assert (("full-throttle-not-rich", "B1S1") in flags) is raised


def _cold_start(rear: Wave) -> Change:
    return {
        "rpm": lambda t: np.where(t < 4, 0.0, _legs(750, 1800, 2300)(t - 40)),
        "run_s": lambda t: np.maximum(t - 4, 0),
        "ect_c": lambda t: np.minimum(-10 + t / 2, 90.0),
        "o2_b1s2_v": rear,
        "o2_b2s2_v": rear,
    }


def test_a_rear_waits_for_a_dry_pipe(watch: Watch) -> None:
    """Two minutes at bias after a frosty start condemn no rear sensor."""
    late = _cold_start(lambda t: np.where(t < 165, 0.45, 0.65 + 0.2 * np.sin(t / 9)))
    engine = watch(late, seconds=400)
    rears = {flag.about for flag in engine.flags if flag.id != "trims-still-learning"}
    assert not rears & {"B1S2", "B2S2"}
    assert "rear-sensor-faulty" not in {cause for cause, _ in _shares(engine)}


def test_a_rear_that_moves_later_was_only_cold(watch: Watch) -> None:
    """Parked for four minutes and lively ever after: not a dead sensor."""
    late = lambda t: np.where(t < 300, 0.45, 0.45 + 0.35 * np.sin(t / 5))  # noqa: E731
    engine = watch({"o2_b1s2_v": late}, seconds=600)
    assert ("parked-at-bias", "B1S2") in {(f.id, f.about) for f in engine.flags}
    assert ("rear-sensor-faulty", "B1S2") not in _shares(engine)


def test_plain_air_on_both_banks_is_a_cut_not_a_mixture(watch: Watch) -> None:
    """λ 2 on both banks without a fuel status is overrun; on one bank it is not."""
    wide: Change = {
        "fuel_status_b1": None,
        "fuel_status_b2": None,
        "o2_b1s1_v": None,
        "o2_b2s1_v": None,
        "lambda_cmd": 1.0,
        "throttle_pct": _legs(12, 20, 17.5),
        "lambda_b1s1": lambda t: np.where((t > 230) & (t < 260), 2.0, 1.0),
    }
    steady = lambda t: 1.0 + 0.004 * np.sin(t)  # noqa: E731
    both, one = wide | {"lambda_b2s1": wide["lambda_b1s1"]}, wide | {
        "lambda_b2s1": steady
    }  # fmt: skip
    assert "lambda-off-command" not in {f.id for f in watch(both).flags}
    assert "lambda-off-command" in {f.id for f in watch(one).flags}


@pytest.mark.parametrize(
    ("code", "cause"),
    [("P0153", "sensor-aged"), ("P0154", "sensor-open-circuit")],
)
def test_a_code_says_slow_or_silent(watch: Watch, code: str, cause: str) -> None:
    """A slow sensor's code speaks of age, a silent one's of an open circuit."""
    still: Change = {"o2_b2s1_v": 0.45} if code == "P0154" else {}
    codes = [CodeRead(20.0, "stored", (code,))]
    engine = watch(still, seconds=400, hz=4.0, codes=codes)
    assert _first(engine) == (cause, "B2S1")


def test_a_sensor_that_swings_is_not_open(watch: Watch) -> None:
    """The unit doubts a front that the data shows at both ends: not its circuit."""
    shares = _shares(watch({}, codes=[CodeRead(20.0, "stored", ("P0150",))]))
    assert shares.get(("sensor-open-circuit", "B2S1"), 0.0) == 0.0


@pytest.mark.parametrize("code", ["P0174", "P0455"])
def test_a_known_code_leaves_no_clean_bill(watch: Watch, code: str) -> None:
    """Whatever the code is about, "no fault seen" is not said beside it."""
    engine = watch({}, seconds=400, codes=[CodeRead(20.0, "permanent", (code,))])
    said = engine.explanations()
    assert "no-fault-seen" not in {found.id for found in said}
    facts = [fact for found in said for fact in found.for_]
    assert any(f"Code {code} is permanent" in fact for fact in facts)


def test_a_lead_that_fades_on_top_of_a_common_offset(watch: Watch) -> None:
    """Both banks share 7 %, and one bank's lead fades with flow: a leak on it."""
    change: Change = {
        "ltft_b1_pct": 7.0,
        "ltft_b2_pct": _legs(35, 20, 13),
    }
    engine = watch(change)
    assert _first(engine) == ("bank-unmetered-air", "B2")


def test_the_pattern_seen_over_more_airflow_stands(watch: Watch) -> None:
    """Lean everywhere at first, fading once the road was seen: a leak."""
    engine = watch(_both(_legs(30, 17, 4)), seconds=320)
    flags = {flag.id: flag.active for flag in engine.flags}
    assert flags.get("both-lean-fades")
    assert _first(engine) == ("common-unmetered-air", "engine")


def test_unalike_banks_at_opposite_ends_are_not_crossed(watch: Watch) -> None:
    """A severe mirror whose fronts are satisfied is a bank short of air."""
    mirror: Change = {
        "ltft_b1_pct": 24.0,
        "ltft_b2_pct": -24.0,
        "stft_b1_pct": 1.0,
        "stft_b2_pct": -1.0,
    }
    assert _first(watch(mirror)) == ("bank-breathes-less", "B2")


def test_a_lean_rear_agrees_with_a_lean_front(watch: Watch) -> None:
    """A bank that adds while its rear is leaner than its neighbour is lean."""
    change: Change = {
        "ltft_b1_pct": 15.0,
        "o2_b1s2_v": 0.12,
        "o2_b2s2_v": 0.66,
    }
    shares = _shares(watch(change))
    assert ("bank-injectors-lean", "B1") in shares
    assert ("sensor-reads-lean", "B1S1") not in shares


def _lean_pull(load: float, maf_gps: float) -> Change:
    """Both banks add 22 %; a pull at 3000 rpm with this load and metered air."""
    change: Change = _both(_legs(22, 22, 22)) | {
        "throttle_pct": _in_pull(90.0, _legs(12, 20, 30)),
        "load_pct": _in_pull(load, _legs(20, 28, 45)),
        "rpm": _in_pull(3000.0, _legs(750, 1800, 2300)),
        "maf_gps": _in_pull(maf_gps, _legs(3.5, 12, 25)),
        "o2_b1s1_v": _in_pull(0.88, _switching),
        "o2_b2s1_v": _in_pull(0.88, _switching),
        "baro_kpa": 100.0,
    }
    return change


@pytest.mark.parametrize(
    ("load", "maf_gps", "cause"),
    [
        (70.0, 55.0, "airflow-under-read"),
        (70.0, 66.0, "airflow-under-read"),
        (92.0, 66.0, "fuel-supply-weak"),
        (92.0, 50.0, "airflow-under-read"),
    ],
)
def test_a_meter_is_blamed_by_what_it_says_at_full_throttle(
    watch: Watch, load: float, maf_gps: float, cause: str
) -> None:
    """Load that never nears its end blames the meter; load and air as usual, fuel."""
    engine = watch(_lean_pull(load, maf_gps), seconds=320, litres=3.0)
    assert _first(engine) == (cause, "engine")


def test_a_supply_short_at_idle_already_does_not_grow(watch: Watch) -> None:
    """+26 % at idle and +32 % loaded is lean everywhere, not a pump that gives up."""
    flags = {f.id for f in watch(_both(_legs(26, 29, 32)), seconds=320).flags}
    assert "both-lean" in flags
    assert "both-lean-grows" not in flags


def test_extra_fuel_alike_at_every_load_may_be_the_meter(watch: Watch) -> None:
    """Vapour fades with flow: rich by the same share everywhere names the meter too."""
    shares = _shares(watch(_both(_legs(-17, -17, -17)), seconds=320))
    cause, meter = ("common-rich-source", "engine"), ("airflow-over-read", "engine")
    assert shares[meter] > 0.75 * shares[cause]


def test_a_pressure_read_too_high_is_rich_at_idle_most(watch: Watch) -> None:
    """By pressure, an offset weighs most at low pressure, as a purge line does."""
    change = BY_PRESSURE | _both(_legs(-26, -18, -12))
    shares = _shares(watch(change, seconds=320))
    assert shares["airflow-over-read", "engine"] > 0.1


def test_plain_air_at_key_on_is_no_sleeping_sensor(watch: Watch) -> None:
    """A wide-band sensor at the end of its scale may be awake in air: unknown."""
    change: Change = {
        "rpm": lambda t: np.where(t < 20, 0.0, 750.0),
        "speed_kmh": 0.0,
        "o2_b1s1_v": None,
        "o2_b2s1_v": None,
        "lambda_b1s1": 1.99,
        "lambda_b2s1": 1.99,
    }
    engine = watch(change, seconds=150)
    assert "late-wake-up" not in {flag.id for flag in engine.flags}


def test_a_trim_at_its_end_was_not_steered_by_a_cold_sensor(watch: Watch) -> None:
    """A late sensor whose bank's trim went to its end is no dead heater."""
    codes = [CodeRead(20.0, "stored", ("P0135",))]
    plain = _shares(watch({}, codes=codes))["sensor-heater", "B1S1"]
    pegged: Change = {"stft_b1_pct": -25.0, "ltft_b1_pct": -10.0, "o2_b1s1_v": 0.55}
    shares = _shares(watch(pegged, codes=codes))
    assert shares.get(("sensor-heater", "B1S1"), 0.0) < plain / 2


def _road(idle: float = 750.0) -> Callable[[Floats], Floats]:
    """Idle and two speeds of driving by turns, so that driving is mixed."""
    return lambda t: np.select([t % 60 < 20, t % 60 < 40], [idle, 1800.0], 2300.0)


MIXED: Change = {
    "rpm": _road(),
    "speed_kmh": lambda t: np.select([t % 60 < 20, t % 60 < 40], [0.0, 55.0], 85.0),
    "throttle_pct": lambda t: np.select(
        [t % 60 < 20, t % 60 < 40], [12.0, 20.0], 30.0
    ),
}  # fmt: skip


@pytest.mark.parametrize(
    ("rear", "raised"),
    [
        (lambda t: 0.60 + 0.02 * np.sin(t / 7), False),
        (lambda t: 0.46 + 0.005 * np.sin(t / 7), True),
        (lambda t: np.where(t < 40, 0.45, 0.02), True),
        (lambda t: np.where(t < 260, 0.45, 0.45 + 0.35 * np.sin(t / 5)), False),
    ],
    ids=["calm", "resting", "pinned", "once lively"],
)
def test_a_calm_rear_is_a_good_catalyst(
    watch: Watch, rear: Callable[[Floats], Floats], raised: bool
) -> None:
    """Still at 0.6 V is a good catalyst; at rest or in plain air for minutes is not."""
    engine = watch(MIXED | {"o2_b1s2_v": rear}, seconds=600)
    active = {(f.id, f.about) for f in engine.flags if f.active}
    assert (("rear-flat", "B1S2") in active) is raised


def test_a_rear_that_is_doubted_is_no_witness(watch: Watch) -> None:
    """Both banks take as much away, and one rear has its own code: no lying front."""
    change = _both(_legs(-12, -12, -12)) | {"o2_b1s2_v": 0.02}
    codes = [CodeRead(20.0, "stored", ("P0140",))]
    for given in ([], codes):
        shares = _shares(watch(change, seconds=320, codes=given))
        assert ("sensor-reads-rich", "B1S1") not in shares


def test_alive_when_hot_and_asleep_when_not_is_a_heater(watch: Watch) -> None:
    """A front parked for long that swings later is cold, not open."""
    waking: Wave = lambda t: np.where(t < 230, 0.45, _switching(t))  # noqa: E731
    awake, never = (
        _shares(watch(MIXED | {"o2_b1s1_v": volts}, seconds=320))
        for volts in (waking, 0.45)
    )
    heater, open_ = ("sensor-heater", "B1S1"), ("sensor-open-circuit", "B1S1")
    assert awake[heater] > awake.get(open_, 0.0)
    assert never[open_] > never.get(heater, 0.0)


def test_a_slow_front_excuses_its_catalyst(watch: Watch) -> None:
    """With the code of a slow front, a rear that copies says less of the catalyst."""
    copies: Change = {"o2_b1s2_v": lambda t: 0.45 + 0.35 * np.sign(np.sin(5.6 * t))}
    cause = ("catalyst-worn", "B1")
    plain = _shares(watch(copies, seconds=400))
    coded = _shares(
        watch(copies, seconds=400, codes=[CodeRead(20.0, "stored", ("P0133",))])
    )
    assert coded[cause] < plain[cause] - 0.2


def test_a_front_that_woke_late_and_sleeps_again_is_cold(watch: Watch) -> None:
    """Awake from 75 to 130 s and parked ever after: no heat, not a broken wire."""
    volts: Wave = lambda t: np.where((t > 75) & (t < 130), _switching(t), 0.45)  # noqa: E731
    start: Change = {
        "rpm": lambda t: np.where(t < 4, 0.0, _road()(t)),
        "run_s": lambda t: np.maximum(t - 4, 0),
        "o2_b1s1_v": volts,
    }
    shares = _shares(watch(MIXED | start, seconds=400))
    heater, open_ = ("sensor-heater", "B1S1"), ("sensor-open-circuit", "B1S1")
    assert shares[heater] > shares.get(open_, 0.0)
