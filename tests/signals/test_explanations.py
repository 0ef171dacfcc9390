"""Explanations: what a drive supports, what speaks against it, and the next check."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Floats, Mark
from bankwise.signals.engine import Engine
from bankwise.signals.explanations import Explanation, unseen

Wave = Callable[[Floats], Floats] | float | None
Watch = Callable[..., Engine]
Change = dict[str, Wave]


def _square(hz: float, low: float = 0.1, high: float = 0.85) -> Callable[..., Floats]:
    return lambda t: np.where(np.sin(2 * np.pi * hz * t) > 0, high, low)


def _in_cut(inside: float, outside: Wave) -> Callable[[Floats], Floats]:
    """One value from 220 to 228 s, another wave before and after."""

    def wave(t: Floats) -> Floats:
        rest: Floats = outside(t) if callable(outside) else np.full(len(t), outside)
        return np.where((t >= 220) & (t < 228), inside, rest)

    return wave


def _leg(idle: float, driven: float) -> Callable[[Floats], Floats]:
    return lambda t: np.where(t < 100, idle, driven)


WHOLE: Change = {
    "rpm": _in_cut(2000, _leg(750, 2000)),
    "throttle_pct": _in_cut(12, _leg(12, 24)),
    "load_pct": _in_cut(8, _leg(20, 35)),
    "fuel_status_b1": _in_cut(4, 2.0),
    "fuel_status_b2": _in_cut(4, 2.0),
    "o2_b1s1_v": _in_cut(0.05, _square(1.0)),
    "o2_b2s1_v": _in_cut(0.05, _square(1.1)),
    "o2_b1s2_v": _in_cut(0.06, 0.66),
    "o2_b2s2_v": _in_cut(0.06, 0.64),
}
"""A warm healthy drive with idle, cruise and one fuel cut."""

LYING: Change = WHOLE | {
    "stft_b2_pct": 9.0,
    "ltft_b2_pct": lambda t: np.clip((t - 100) / 4, 0, 14),
    "o2_b2s1_v": 0.06,
    "o2_b2s2_v": _in_cut(0.06, 0.88),
}
"""Bank 2's front says lean, its trim adds, its rear says rich."""


def _found(engine: Engine, id_: str, about: str) -> Explanation:
    return next(e for e in engine.explanations() if (e.id, e.about) == (id_, about))


def test_a_whole_healthy_drive_shows_no_fault(watch: Watch) -> None:
    """Warm, closed loop, idle, cruise and a fuel cut seen: no fault seen."""
    first = watch(WHOLE).explanations()[0]
    assert (first.id, first.about) == ("no-fault-seen", "engine")
    assert first.next.startswith("Nothing to check")


@pytest.mark.parametrize(
    ("change", "missing"),
    [
        ({}, "a fuel cut"),
        (WHOLE | {"ect_c": 40.0}, "a warm engine"),
        (WHOLE | {"fuel_status_b2": 1.0}, "closed loop on B2"),
    ],
)
def test_without_enough_seen_it_cannot_tell(
    watch: Watch, change: Change, missing: str
) -> None:
    """What a verdict lacks is named, and no fault is not claimed."""
    engine = watch(change)
    assert missing in unseen(engine.frame)
    assert "no-fault-seen" not in {e.id for e in engine.explanations()}


def test_nothing_seen_gives_cannot_tell_alone(watch: Watch) -> None:
    """Ten seconds of idle support no explanation at all."""
    (only,) = watch(seconds=10).explanations()
    assert (only.id, only.share) == ("cannot-tell", 1.0)
    assert "a warm engine" in only.next


def test_a_trim_out_of_range_is_not_called_healthy(watch: Watch) -> None:
    """A far trim that fits no pattern is named, and the drive is not called good."""
    odd: Change = WHOLE | {"ltft_b1_pct": _leg(0.0, 12.0), "ltft_b2_pct": _leg(0, -3)}
    first = watch(odd).explanations()[0]
    assert first.id != "no-fault-seen"


def test_a_lying_front_sensor_is_first_with_its_figures(watch: Watch) -> None:
    """The disagreement of two sensors names the front, in words with figures."""
    first, second = watch(LYING).explanations()[:2]
    assert (first.id, first.about) == ("sensor-reads-lean", "B2S1")
    assert first.share > 1.5 * second.share
    assert any("the rear sensor says rich, 0.88 V" in fact for fact in first.for_)


def test_a_forced_test_turns_the_verdict(watch: Watch) -> None:
    """A sensor that followed the forced mixture is cleared of lying."""
    tag = "test:force-rich-lean:{}:B2S1"
    good = watch(LYING, marks=[Mark(280.0, "", tag.format("answers-forcing"))])
    bad = watch(LYING, marks=[Mark(280.0, "", tag.format("ignores-forcing"))])
    plain = _found(watch(LYING), "sensor-reads-lean", "B2S1").share
    assert _found(bad, "sensor-reads-lean", "B2S1").share > plain
    assert ("sensor-reads-lean", "B2S1") not in {
        (e.id, e.about) for e in good.explanations()
    }
    assert good.explanations()[0].id == "exhaust-leak"


def test_a_code_is_evidence(watch: Watch) -> None:
    """A cam code on a bank speaks for a bank that breathes less there."""
    codes = [CodeRead(1.0, "pending", ("P0018",))]
    found = _found(watch(WHOLE, codes=codes), "bank-breathes-less", "B2")
    assert found.for_ == ("Code P0018 is pending: the unit doubts the cam",)


def test_a_code_that_the_data_contradicts_is_contradicted(watch: Watch) -> None:
    """A heater code for a sensor that woke in time is met by that fact."""
    start: Change = WHOLE | {
        "rpm": lambda t: np.where(t < 3, 0.0, np.where(t < 100, 750.0, 2000.0)),
        "run_s": lambda t: np.maximum(t - 3, 0),
        "ect_c": lambda t: np.minimum(20 + t, 90.0),
        "o2_b1s1_v": lambda t: np.where(t < 14, 0.45, _square(1.0)(t)),
        "o2_b2s1_v": lambda t: np.where(t < 14, 0.45, _square(1.1)(t)),
    }
    codes = [CodeRead(1.0, "stored", ("P0135",))]
    engine = watch(start, codes=codes)
    said = _found(engine, "sensor-heater", "B1S1")
    assert said.share < 0.05
    assert said.for_ == ("Code P0135 is stored: the unit found its heater bad",)
    assert said.against[0].startswith("B1S1 woke 11 s after the start")
    assert engine.explanations()[0].id == "cannot-tell"


def test_two_faults_are_both_named(watch: Watch) -> None:
    """A bank that breathes less and a worn catalyst on the other are both told."""
    change: Change = WHOLE | {
        "ltft_b1_pct": _leg(8.0, 12.0),
        "ltft_b2_pct": _leg(-8.0, -12.0),
        "o2_b1s2_v": _square(1.0, 0.15, 0.8),
    }
    named = {(e.id, e.about) for e in watch(change, seconds=360).explanations()}
    assert {("bank-breathes-less", "B2"), ("catalyst-worn", "B1")} <= named


def test_the_next_check_tells_the_first_two_apart(watch: Watch) -> None:
    """The check names both causes and what each would show."""
    first, second = watch(LYING).explanations()[:2]
    assert "No: front sensor reading lean; yes: exhaust leak." in first.next
    assert (first.id, second.id) == ("sensor-reads-lean", "exhaust-leak")


def test_the_strongest_contrary_fact_is_told(watch: Watch) -> None:
    """A coolant that once got hot stands against the open thermostat."""
    change: Change = WHOLE | {
        "run_s": lambda t: t + 1,
        "ect_c": lambda t: np.where(t < 200, 84.0, 66.0),
    }
    found = _found(watch(change, seconds=1400), "thermostat-open", "engine")
    assert found.share > 0.2
    assert found.against == ("The coolant reached 84 °C: the coolant got warm",)


def test_what_was_seen_too_shortly_says_how_long(watch: Watch) -> None:
    """Half a minute of warm driving is not "not seen", but not long enough."""
    short: Change = WHOLE | {"ect_c": lambda t: np.where(t < 265, 60.0, 90.0)}
    missing = unseen(watch(short).frame)
    assert missing == ("a warm engine long enough (35 of 60 s)",)


def test_one_code_alone_says_little_until_the_drive_was_seen(watch: Watch) -> None:
    """A stored misfire code: cannot tell at first, a likely cause after the drive."""
    codes = [CodeRead(1.0, "stored", ("P0300",))]
    early, late = (watch(WHOLE, seconds=s, codes=codes) for s in (8, 300))
    first = early.explanations()[0]
    assert first.id == "cannot-tell"
    assert any(fact.startswith("Not seen yet") for fact in first.for_)
    said = _found(early, "misfire", "engine")
    assert said.share < 0.35
    assert said.for_ == ("Code P0300 is stored: the unit counted misfires",)
    assert _found(late, "misfire", "engine").share > said.share + 0.2


@pytest.mark.parametrize(
    ("hz", "share", "words"),
    [
        (4.0, 0.67, "too few to judge switching or response"),
        (12.5, 0.78, "too few to call an edge good"),
        (25.0, 0.80, ""),
    ],
)
def test_no_fault_says_what_was_sampled_too_slowly(
    watch: Watch, hz: float, share: float, words: str
) -> None:
    """What could not be judged lowers the share and stands beside it in words."""
    first, doubt = watch(WHOLE, hz=hz).explanations()[:2]
    assert (first.id, doubt.id) == ("no-fault-seen", "cannot-tell")
    assert first.share == pytest.approx(share, abs=0.01)
    assert any(words in fact for fact in first.against) or not words
    assert any("fresh values" in fact for fact in doubt.for_) is bool(words)


def test_wide_band_fronts_are_not_said_to_switch(watch: Watch) -> None:
    """A car with wide-band fronts has no switching to sample."""
    wide: Change = WHOLE | {
        "o2_b1s1_v": None,
        "o2_b2s1_v": None,
        "lambda_b1s1": _in_cut(1.9, lambda t: 1 + 0.01 * np.sin(t)),
        "lambda_b2s1": _in_cut(1.9, lambda t: 1 + 0.01 * np.sin(t)),
    }
    engine = watch(wide, hz=4.0)
    first = engine.explanations()[0]
    assert first.id == "no-fault-seen"
    assert not any("fresh values" in fact for fact in first.against)
    assert "B1S1 and B2S1: the speed of a wide-band sensor is not judged" in (
        first.against
    )
    said = {(c.about, c.what): c.why for c in engine.cannot_tell()}
    assert said["B1S1", "response time"] == "judged on switching sensors only"


def test_without_trims_no_fault_is_half_a_claim(watch: Watch) -> None:
    """A car that tells no trim: its mixture was not judged, and that is said."""
    names = ("stft_b1_pct", "ltft_b1_pct", "stft_b2_pct", "ltft_b2_pct")
    first = watch(WHOLE | dict.fromkeys(names), hz=25.0).explanations()[0]
    assert (first.id, first.share) == ("no-fault-seen", 0.5)
    assert any("the mixture was not judged" in fact for fact in first.against)


def test_a_car_that_tells_no_status_is_not_said_to_be_in_open_loop(
    watch: Watch,
) -> None:
    """Without a fuel status closed loop cannot be seen, and the words say why."""
    silent: Change = WHOLE | {"fuel_status_b1": None, "fuel_status_b2": None}
    missing = unseen(watch(silent).frame)
    assert "closed loop on B1 (the car does not tell)" in missing


def test_on_one_bank_nothing_is_said_of_a_second(watch: Watch) -> None:
    """One bank's unit sends zero as bank 2's status; nobody speaks of a bank 2."""
    one: Change = WHOLE | {
        "stft_b2_pct": None,
        "ltft_b2_pct": None,
        "o2_b2s1_v": None,
        "o2_b2s2_v": None,
        "fuel_status_b2": 0.0,
    }
    engine = watch(one)
    said = [fact for e in engine.explanations() for fact in (*e.for_, *e.against)]
    said += [f"{c.about} {c.what}" for c in engine.cannot_tell()]
    said += [name for name in engine.figures() if "b2" in name]
    assert not [words for words in said if "B2" in words or "b2" in words]
