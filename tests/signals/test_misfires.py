"""Misfires: the code, the unit's own counts, and the bank they are named for."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from bankwise.signals.columns import CodeRead, Columns, Floats
from bankwise.signals.engine import Engine
from bankwise.signals.misfires import counting, counts

Wave = Callable[[Floats], Floats] | float | None
Watch = Callable[..., Engine]
Change = dict[str, Wave]

CODE = [CodeRead(1.0, "stored", ("P0300",))]


def _shares(engine: Engine) -> Mapping[tuple[str, str], float]:
    return {(e.id, e.about): e.share for e in engine.explanations()}


def _legs(idle: float, low: float, mid: float) -> Callable[[Floats], Floats]:
    return lambda t: np.select([t < 100, t < 180], [idle, low], mid)


ONE_BANK: Change = {
    "stft_b2_pct": None,
    "ltft_b2_pct": None,
    "o2_b2s1_v": None,
    "o2_b2s2_v": None,
    "fuel_status_b2": 0.0,
}


def _counted(per_s: float, seconds: float, every: float = 30.0) -> Columns:
    columns = Columns()
    t = np.arange(1.0, seconds, every)
    for cylinder, share in ((1, 0.0), (2, 1.0), (3, 0.1)):
        values = np.round(per_s * share * t)
        columns.extend(f"misfire_count_c{cylinder}", t, values, np.full(len(t), 0.05))
    return columns


def test_a_random_misfire_code_names_the_engine(watch: Watch) -> None:
    """Two banks, neither leaner: the code speaks of a misfire, of no bank."""
    shares = _shares(watch({}, codes=CODE))
    assert ("misfire", "engine") in shares
    assert not {about for name, about in shares if name == "misfire"} - {"engine"}


def test_on_the_only_bank_it_names_the_bank(watch: Watch) -> None:
    """An engine with one bank has its misfires there."""
    assert ("misfire", "B1") in _shares(watch(ONE_BANK, codes=CODE))


def test_the_leaner_bank_holds_the_misfire(watch: Watch) -> None:
    """Six percent more than the other bank in every driving, with the code."""
    engine = watch({"ltft_b2_pct": 7.0}, codes=CODE)
    first = engine.explanations()[0]
    assert (first.id, first.about) == ("misfire", "B2")
    assert ("misfire-false-lean", "B2") in {(f.id, f.about) for f in engine.flags}


def test_beside_a_bank_that_is_off_being_leaner_proves_nothing(watch: Watch) -> None:
    """The other bank is pulled far down, so this one only looks lean beside it."""
    change: Change = {"ltft_b1_pct": -24.0, "ltft_b2_pct": 5.0}
    engine = watch(change, codes=CODE)
    assert "misfire-false-lean" not in {flag.id for flag in engine.flags}
    assert ("misfire", "B2") not in _shares(engine)


def test_counts_become_a_rate_for_the_worst_cylinder() -> None:
    """Cylinder 2 counts one misfire in two seconds, cylinder 3 a tenth of it."""
    worst = counts(_counted(0.5, 301.0))[0]
    assert worst.cylinder == 2
    assert worst.per_s == pytest.approx(0.5, rel=0.05)


def test_counting_needs_two_readings_and_fresh_ones() -> None:
    """No rate before the second reading, none long after the last."""
    columns = _counted(0.5, 62.0)
    said = counting(columns, np.arange(0.0, 400.0, 10.0))
    assert not said[:4].any()
    assert said[5:15].all()
    assert not said[25:].any()


@pytest.mark.parametrize(("per_s", "speaks"), [(0.5, True), (0.05, False)])
def test_counts_speak_for_a_misfire_without_any_code(
    watch: Watch, per_s: float, speaks: bool
) -> None:
    """Half a misfire a second is a misfire; one in twenty seconds is chance."""
    engine = watch({"misfire_count_c2": lambda t: np.round(per_s * t)}, hz=5.0)
    assert (("misfire", "engine") in _shares(engine)) is speaks


def test_no_counts_for_long_contradict_the_code(watch: Watch) -> None:
    """The unit counts nothing in five minutes: the stored code is about another day."""
    said = next(
        e
        for e in watch({"misfire_count_c2": 0.0}, codes=CODE).explanations()
        if e.id == "misfire"
    )
    assert said.share == 0
    assert any("No cylinder counted" in words for words in said.against)


def test_counts_and_a_positive_bank_are_a_false_lean(watch: Watch) -> None:
    """Counts rising and the bank that adds: the misfire comes first."""
    change: Change = {
        "misfire_count_c4": lambda t: np.round(0.5 * t),
        "ltft_b1_pct": _legs(12, 12, 12),
    }
    flags = {(flag.id, flag.about) for flag in watch(change, hz=5.0).flags}
    assert ("misfire-false-lean", "B1") in flags
    assert ("one-bank-lean", "B1") not in flags
