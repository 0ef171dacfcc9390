"""When a bank's evidence speaks of the whole engine, and how strongly hints speak."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Floats
from bankwise.signals.engine import Engine

Wave = Callable[[Floats], Floats] | float | None
Watch = Callable[..., Engine]
Change = dict[str, Wave]

ONE_BANK: Change = {
    "stft_b2_pct": None,
    "ltft_b2_pct": None,
    "o2_b2s1_v": None,
    "o2_b2s2_v": None,
    "fuel_status_b2": 0.0,
}
"""An engine with one bank."""


def _legs(idle: float, easy: float, loaded: float) -> Callable[[Floats], Floats]:
    """Idle for 100 s, easy driving for 80 s, brisk driving from then on."""
    return lambda t: np.select([t < 100, t < 180], [idle, easy], loaded)


def _switching(t: Floats) -> Floats:
    """A switching sensor in good health."""
    volts: Floats = 0.475 + 0.375 * np.tanh(6 * np.sin(6 * t))
    return volts


def _shares(engine: Engine) -> Mapping[tuple[str, str], float]:
    return {(e.id, e.about): e.share for e in engine.explanations()}


def _best(engine: Engine) -> tuple[str, str]:
    """The first cause, "cannot tell" left aside."""
    shares = {k: v for k, v in _shares(engine).items() if k[0] != "cannot-tell"}
    return max(shares, key=lambda key: shares[key])


@pytest.mark.parametrize(
    ("code", "other", "cause"),
    [
        ("P0171", 5.0, ("fuel-supply-weak", "engine")),
        ("P0174", 5.0, ("fuel-supply-weak", "engine")),
        ("P0171", -2.0, ("bank-unmetered-air", "B1")),
        ("P0172", 5.0, ("common-rich-source", "engine")),
        ("P0172", -2.0, ("bank-injectors-rich", "B1")),
    ],
)
def test_a_banks_code_is_the_engines_where_the_banks_are_alike(
    watch: Watch, code: str, other: float, cause: tuple[str, str]
) -> None:
    """A code is set by whichever bank crosses first; a bank's own fault sets it off."""
    trims: Change = {"ltft_b1_pct": 5.0, "ltft_b2_pct": other}
    codes = [CodeRead(20.0, "stored", (code,))]
    assert _best(watch(trims, seconds=320, codes=codes)) == cause


def test_on_one_bank_a_code_speaks_of_bank_and_engine(watch: Watch) -> None:
    """The only bank's cylinders are the engine's."""
    codes = [CodeRead(20.0, "stored", ("P0172",))]
    shares = _shares(watch(ONE_BANK, seconds=320, codes=codes))
    whole, bank = ("common-rich-source", "engine"), ("bank-injectors-rich", "B1")
    assert shares[whole] >= shares[bank] > 0


def test_on_one_bank_rich_everywhere_is_the_whole_engine_first(watch: Watch) -> None:
    """All cylinders alike too rich is likelier than one that is far too rich."""
    change = ONE_BANK | {"ltft_b1_pct": -14.0}
    shares = _shares(watch(change, seconds=320))
    assert shares["common-rich-source", "engine"] > shares["bank-injectors-rich", "B1"]


def test_on_one_bank_a_trim_at_its_end_speaks_of_the_whole_engine(
    watch: Watch,
) -> None:
    """Vapour that fades stays first though trim and sensor stand at their ends."""
    change: Change = ONE_BANK | {
        "stft_b1_pct": _legs(-20, -6, -6),
        "ltft_b1_pct": _legs(-15, -6, -6),
        "o2_b1s1_v": lambda t: np.where(t < 100, 0.86, 0.45 + 0.3 * np.sin(5 * t)),
    }
    engine = watch(change, seconds=320)
    assert "stuck-rich" in {flag.id for flag in engine.flags}
    shares = _shares(engine)
    assert shares["common-rich-source", "engine"] > shares["bank-injectors-rich", "B1"]


def test_a_lead_that_fades_is_read_over_all_airflow(watch: Watch) -> None:
    """Seconds of hard pulling with idle's trim do not make a leak an injector."""

    def legs(*values: float) -> Callable[[Floats], Floats]:
        at = (100, 140, 200)
        return lambda t: np.select([t < end for end in at], values[:3], values[3])

    change: Change = {
        "ltft_b1_pct": legs(28, 16, 11, 5),
        "ltft_b2_pct": legs(6, 3, 5, 4),
        "rpm": legs(750, 3800, 1800, 2300),
        "load_pct": legs(20, 60, 28, 45),
        "speed_kmh": legs(0, 90, 55, 85),
        "throttle_pct": legs(12, 45, 20, 30),
        "maf_gps": legs(3.5, 60, 12, 25),
    }
    engine = watch(change, seconds=320)
    assert {f.id for f in engine.flags} >= {"one-bank-lean-fades"}
    assert _best(engine) == ("bank-unmetered-air", "B1")


def _edges(ms: float) -> Callable[[Floats], Floats]:
    """A sensor of 0.9 Hz that takes so long between 300 and 600 mV."""
    slope = 300.0 / (ms / 1000.0)

    def wave(t: Floats) -> Floats:
        phase = (t * 0.9) % 1.0 / 0.9
        rise = 100.0 + slope * phase
        fall = 850.0 - slope * (phase - 0.5 / 0.9)
        volts: Floats = np.clip(np.where(phase < 0.5 / 0.9, rise, fall), 100, 850)
        return volts / 1000.0

    return wave


@pytest.mark.parametrize(("ms", "aged"), [(125.0, False), (200.0, True)])
def test_an_edge_a_hair_too_slow_does_not_hide_a_lean_engine(
    watch: Watch, ms: float, *, aged: bool
) -> None:
    """Both banks far lean come before a sensor that is hardly slow, not a bad one."""
    change: Change = {
        "ltft_b1_pct": 22.0,
        "ltft_b2_pct": 22.0,
        "o2_b1s1_v": _edges(ms),
    }
    engine = watch(change, seconds=320, hz=50.0)
    assert "slow-switching" in {flag.id for flag in engine.flags}
    assert (_best(engine)[0] == "sensor-aged") is aged


def test_a_rear_lean_at_full_throttle_agrees_with_its_front(watch: Watch) -> None:
    """No trim rules at full throttle: a bank lean at both sensors there is lean."""

    def pull(off: Wave, on: float) -> Callable[[Floats], Floats]:
        def wave(t: Floats) -> Floats:
            base = off(t) if callable(off) else np.full(len(t), off)
            inside = (t > 250) & (t < 262)
            values: Floats = np.where(inside, on, base)
            return values

        return wave

    def lean_pull(rear: float) -> Change:
        return {
            "ltft_b2_pct": 18.0,
            "throttle_pct": pull(_legs(12, 20, 30), 90),
            "load_pct": pull(_legs(20, 28, 45), 95),
            "rpm": pull(_legs(750, 1800, 2300), 3500),
            "fuel_status_b1": pull(2.0, 4),
            "fuel_status_b2": pull(2.0, 4),
            "o2_b1s1_v": pull(_switching, 0.88),
            "o2_b2s1_v": 0.12,
            "o2_b1s2_v": pull(0.65, 0.85),
            "o2_b2s2_v": pull(0.65, rear),
        }

    lean = _shares(watch(lean_pull(0.1), seconds=320))
    rich = _shares(watch(lean_pull(0.85), seconds=320))
    key = ("bank-injectors-lean", "B2")
    lie = ("sensor-reads-lean", "B2S1")
    assert lean[key] > lean.get(lie, 0.0)
    assert rich.get(lie, 0.0) > lean.get(lie, 0.0)


def test_one_bank_off_beside_a_usual_one_names_sensor_and_injectors(
    watch: Watch,
) -> None:
    """Without a rear to tell, a lie and too much fuel are near equal, both named."""
    change: Change = {
        "ltft_b1_pct": -16.0,
        "ltft_b2_pct": 4.0,
        "o2_b1s1_v": None,
        "o2_b2s1_v": None,
        "lambda_b1s1": lambda t: 1 + 0.01 * np.sin(6 * t),
        "lambda_b2s1": lambda t: 1 + 0.01 * np.sin(6 * t),
        "o2_b1s2_v": None,
        "o2_b2s2_v": None,
    }
    shares = _shares(watch(change, seconds=320))
    sensor, fuel = ("sensor-reads-rich", "B1S1"), ("bank-injectors-rich", "B1")
    assert shares[sensor] > 0.5 * shares[fuel]


def _idling(b1: float, b2: float | None) -> Change:
    """A car that idles in a workshop, with these trims."""
    change: Change = {
        "rpm": 750.0,
        "speed_kmh": 0.0,
        "load_pct": 20.0,
        "throttle_pct": 12.0,
        "maf_gps": 3.5,
        "ltft_b1_pct": b1,
    }
    return change | (ONE_BANK if b2 is None else {"ltft_b2_pct": b2})


@pytest.mark.parametrize(
    ("b1", "b2", "cause"),
    [
        (-16.0, -17.0, ("common-rich-source", "engine")),
        (18.0, 17.0, ("common-unmetered-air", "engine")),
        (-16.0, None, ("common-rich-source", "engine")),
        (18.0, None, ("common-unmetered-air", "engine")),
        (1.0, -14.0, ("bank-injectors-rich", "B2")),
        (16.0, 1.0, ("bank-unmetered-air", "B1")),
    ],
)
def test_where_only_idle_was_seen_the_side_is_named(
    watch: Watch, b1: float, b2: float | None, cause: tuple[str, str]
) -> None:
    """Trims far off at idle name causes, and driving stays missing."""
    engine = watch(_idling(b1, b2), seconds=200)
    assert _best(engine) == cause
    shares = _shares(engine)
    assert shares["cannot-tell", "engine"] >= 0.2


@pytest.mark.parametrize(("b1", "b2"), [(9.0, 8.0), (8.0, -1.0), (-8.0, None)])
def test_idle_within_what_is_usual_names_nothing(
    watch: Watch, b1: float, b2: float | None
) -> None:
    """Ethanol and tolerance are no causes."""
    (said,) = watch(_idling(b1, b2), seconds=200).explanations()
    assert said.id == "cannot-tell"


@pytest.mark.parametrize(
    ("b1", "b2", "blocked"),
    [
        ((-3, -5, -10), (0, 2, 8), True),
        ((9, 5, 2), (9, 11, 13), True),
        ((-3, -3, -3), (8, 8, 8), False),
        ((0, -3, -10), (1, 1, 1), False),
        ((25, 10, 2), (-6, -2, 0), False),
    ],
)
def test_banks_that_part_as_the_air_grows_share_it_unevenly(
    watch: Watch,
    b1: tuple[float, float, float],
    b2: tuple[float, float, float],
    *,
    blocked: bool,
) -> None:
    """With one meter, what a blocked bank does not get goes into the other."""
    change: Change = {"ltft_b1_pct": _legs(*b1), "ltft_b2_pct": _legs(*b2)}
    said = watch(change, seconds=320).explanations()[0]
    assert ((said.id, said.about) == ("bank-breathes-less", "B1")) is blocked


def _rear(low: float, high: float) -> Callable[[Floats], Floats]:
    """A rear sensor that comes down to `low` for a third of the time."""
    return lambda t: np.where(t % 9.0 < 3.0, low, high)


@pytest.mark.parametrize(
    ("trims", "own", "other", "first"),
    [
        # Held at its end while the other bank's rear moves: the front lies.
        ((14, 14, 14), (0.84, 0.84), (0.6, 0.8), "sensor-reads-lean"),
        # The same, and the trim fades: air is drawn into the exhaust.
        ((24, 12, 4), (0.84, 0.84), (0.6, 0.8), "exhaust-leak"),
        # It moves as the other does: the bank is really lean.
        ((24, 12, 4), (0.57, 0.82), (0.55, 0.7), "bank-unmetered-air"),
        ((14, 14, 14), (0.57, 0.82), (0.55, 0.7), "bank-injectors-lean"),
    ],
)
def test_only_a_rear_that_is_held_rich_got_the_added_fuel(
    watch: Watch,
    trims: tuple[float, float, float],
    own: tuple[float, float],
    other: tuple[float, float],
    first: str,
) -> None:
    """A catalyst that regulates lets its rear come down again and again."""
    change: Change = {
        "ltft_b1_pct": _legs(*trims),
        "o2_b1s2_v": _rear(*own),
        "o2_b2s2_v": _rear(*other),
    }
    said = watch(change, seconds=320).explanations()[0]
    assert said.id == first
    assert said.about.startswith("B1")


@pytest.mark.parametrize(("b1", "mirrors"), [(7.0, True), (4.0, False)])
def test_a_bank_that_does_add_is_not_said_not_to(
    watch: Watch, b1: float, *, mirrors: bool
) -> None:
    """A mirror off its centre: both readings are near equal, and no fact is false."""
    change: Change = {"ltft_b1_pct": b1, "ltft_b2_pct": -14.0}
    engine = watch(change, seconds=320)
    facts = [w for one in engine.explanations() for w in one.against]
    assert any("makes the other one add" in words for words in facts) is not mirrors
    if mirrors:
        shares = _shares(engine)
        fuel, air = ("bank-injectors-rich", "B2"), ("bank-breathes-less", "B2")
        assert shares[air] > 0.7 * shares[fuel]
