"""Flags about trims and the loop: one hand-written drive raises each, one is quiet."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Floats, Mark
from bankwise.signals.engine import Engine

Wave = Callable[[Floats], Floats] | float | None
Raised = Callable[..., tuple[str, ...]]
Watch = Callable[..., Engine]
Change = dict[str, Wave]


def _legs(idle: float, low: float, mid: float) -> Callable[[Floats], Floats]:
    """A trim at idle up to 100 s, in easy driving up to 180 s, brisk from then on."""
    return lambda t: np.select([t < 100, t < 180], [idle, low], mid)


def _both(idle: float, low: float, mid: float) -> Change:
    wave = _legs(idle, low, mid)
    return {"ltft_b1_pct": wave, "ltft_b2_pct": wave}


STEADY: Change = {"stft_b1_pct": 0.0, "stft_b2_pct": 0.0}
"""Trims without their ripple."""

MIRROR: Change = {
    "ltft_b1_pct": _legs(6, 11, 16),
    "ltft_b2_pct": _legs(-6, -11, -16),
}
"""A bank that breathes less on one airflow meter: the more air, the farther apart."""

LEAK: Change = {
    "ltft_b1_pct": 14.0,
    "o2_b1s2_v": 0.85,
}

RAISES: list[tuple[str, Change]] = [
    ("mirror-trims B2", {**MIRROR}),
    ("one-bank-subtracting B2", {"ltft_b2_pct": _legs(-14, -13, -12)}),
    ("one-bank-lean-fades B1", {"ltft_b1_pct": _legs(14, 4, 1)}),
    ("one-bank-lean B1", {"ltft_b1_pct": _legs(13, 14, 13)}),
    ("both-lean-fades engine", _both(15, 4, 2)),
    ("both-lean-grows engine", _both(2, 8, 17)),
    ("both-lean engine", _both(14, 15, 14)),
    ("both-rich engine", _both(-14, -13, -12)),
    ("trim-at-limit B1", STEADY | {"stft_b1_pct": 25.0}),
    ("trims-still-learning B2", {
        "ltft_b2_pct": lambda t: np.clip(t / 12 - 9, 0, 9),
        "stft_b2_pct": lambda t: 9 - np.clip(t / 12 - 9, 0, 9),
    }),
    ("crossed-sensors engine", STEADY | {
        "rpm": 750, "speed_kmh": 0, "throttle_pct": 12, "load_pct": 20,
        "ltft_b1_pct": lambda t: np.clip((t - 100) / 5, 0, 25),
        "ltft_b2_pct": lambda t: -np.clip((t - 100) / 5, 0, 25),
    }),
    ("open-loop-fault B1", {"fuel_status_b1": 8.0}),
    ("closed-loop-fault B2", {"fuel_status_b2": 16.0}),
    ("one-bank-open-loop B2", {"fuel_status_b2": 1.0}),
]  # fmt: skip

QUIET: list[tuple[str, Change]] = [
    ("mirror-trims B2", {"ltft_b1_pct": 6.0, "ltft_b2_pct": -6.0}),
    ("mirror-trims B2", {"ltft_b1_pct": 20.0, "ltft_b2_pct": 2.0}),
    ("mirror-trims B2", {
        **MIRROR,
        "maf_gps": None, "map_kpa": _legs(32, 45, 70),
    }),
    ("one-bank-subtracting B2", {"ltft_b2_pct": _legs(-14, -2, -1)}),
    ("one-bank-lean-fades B1", _both(14, 4, 1)),
    ("one-bank-lean B1", {"ltft_b1_pct": _legs(14, 4, 1)}),
    ("one-bank-lean B1", _both(14, 14, 14)),
    ("both-lean-fades engine", {"ltft_b1_pct": _legs(15, 4, 2)}),
    ("both-lean-grows engine", _both(14, 14, 14)),
    ("both-lean engine", _both(2, 8, 17)),
    ("both-rich engine", _both(-14, -3, -2)),
    ("trim-at-limit B1", STEADY | {"stft_b1_pct": 9.0}),
    ("trim-at-limit B1", {"stft_b1_pct": lambda t: 20 + 5 * np.sin(t / 4)}),
    ("trims-still-learning B2", {"ltft_b2_pct": 9.0}),
    ("trims-still-learning B2", {"ltft_b2_pct": lambda t: np.clip(t / 12 - 9, 0, 9)}),
    ("crossed-sensors engine", STEADY | {
        "rpm": 750, "speed_kmh": 0, "throttle_pct": 12, "load_pct": 20,
        "ltft_b1_pct": 12.0, "ltft_b2_pct": -12.0,
    }),
    ("open-loop-fault B1", {"fuel_status_b1": 4.0}),
    ("closed-loop-fault B2", {"fuel_status_b2": 2.0}),
    ("one-bank-open-loop B2", {"fuel_status_b1": 1.0, "fuel_status_b2": 1.0}),
]  # fmt: skip


@pytest.mark.parametrize(("flag", "change"), RAISES)
def test_trims_like_these_raise_their_flag(
    raised: Raised, flag: str, change: Change
) -> None:
    """A hand-written drive with the pattern raises its flag at its place."""
    assert flag in raised(change)


@pytest.mark.parametrize(("flag", "change"), QUIET)
def test_trims_like_those_stay_quiet(raised: Raised, flag: str, change: Change) -> None:
    """A drive that lacks one part of the pattern does not raise the flag."""
    assert flag not in raised(change)


def test_a_pattern_needs_more_than_one_kind_of_driving(raised: Raised) -> None:
    """From idle alone no pattern over airflow is claimed."""
    flags = raised({"ltft_b2_pct": -14.0}, seconds=95)
    assert not [f for f in flags if f.startswith(("one-bank", "mirror", "both"))]


@pytest.mark.parametrize("voided", ["open loop", "limit"])
def test_void_trims_show_no_pattern(raised: Raised, voided: str) -> None:
    """While trims are frozen by a fault or at their end, no pattern is claimed."""
    change: Change = STEADY | {"stft_b1_pct": 25.0}
    if voided == "open loop":
        change["fuel_status_b1"] = 8.0
    flags = raised(change)
    assert {"open-loop-fault B1", "trim-at-limit B1"} & set(flags)
    assert "one-bank-lean B1" not in flags


def test_a_misfire_code_explains_a_lean_bank(raised: Raised) -> None:
    """With a misfire code the lean bank is called false lean, and no pattern."""
    change: Change = {"ltft_b1_pct": _legs(13, 14, 13)}
    codes = [CodeRead(1.0, "stored", ("P0302",))]
    flags = raised(change, codes=codes)
    assert "misfire-false-lean B1" in flags
    assert "one-bank-lean B1" not in flags
    assert "misfire-false-lean B1" not in raised(change)
    cleared = [*codes, CodeRead(2.0, "stored", ())]
    assert "misfire-false-lean B1" not in raised(change, codes=cleared)


def test_an_exhaust_leak_needs_a_sensor_that_was_tested(raised: Raised) -> None:
    """Lean at idle with a rich rear is a leak only on a sensor that answered."""
    flag = "exhaust-leak-pattern B1"
    mark = Mark(2.0, "forced", "test:force-rich-lean:answers-forcing:B1S1")
    idle: Change = LEAK | {
        "rpm": 750, "speed_kmh": 0, "throttle_pct": 12, "load_pct": 20,
    }  # fmt: skip
    assert flag in raised(idle, marks=[mark])
    assert flag not in raised(idle)
    assert flag not in raised(idle | {"o2_b1s2_v": 0.6}, marks=[mark])


def test_a_late_closed_loop_is_judged_by_the_start_temperature(
    raised: Raised,
) -> None:
    """Warm, 120 s is the limit; at −15 °C it is 600 s."""

    def cold(start: float) -> Change:
        return {
            "rpm": lambda t: np.where(t < 3, 0, 900),
            "speed_kmh": 0.0,
            "run_s": lambda t: np.maximum(t - 3, 0),
            "ect_c": lambda t: start + t / 10,
            "fuel_status_b1": lambda t: np.where(t < 200, 1.0, 2.0),
            "fuel_status_b2": lambda t: np.where(t < 200, 1.0, 2.0),
        }

    assert "late-closed-loop B1" in raised(cold(20.0))
    assert "late-closed-loop B1" not in raised(cold(-15.0))


def test_a_changed_threshold_changes_the_verdict(watch: Watch) -> None:
    """A user's limit is the one in force."""
    change: Change = {"ltft_b1_pct": _legs(13, 14, 13)}
    mine = watch().thresholds.with_changes({"trim_add_pct": 20})
    assert "one-bank-lean" in {f.id for f in watch(change).flags}
    assert "one-bank-lean" not in {f.id for f in watch(change, thresholds=mine).flags}


def test_a_flag_says_its_figures(watch: Watch) -> None:
    """The sentence carries place and figures, with a true minus."""
    engine = watch({"ltft_b2_pct": _legs(-14, -13, -12)})
    flag = next(f for f in engine.flags if f.id == "one-bank-subtracting")
    assert flag.text.startswith("B2 subtracts fuel (−1")
    assert flag.rule.does_not_prove.startswith("Not too much fuel")
