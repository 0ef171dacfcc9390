"""What is said of each pass of a switching sensor, against a plain loop."""

from __future__ import annotations

import numpy as np
import pytest

from bankwise.signals.columns import Column, Floats
from bankwise.signals.tracks import LEAN_V, NOISE_V, RICH_V, volts


def _column(seed: int, n: int = 400) -> Column:
    """A swinging sensor in steps of 50 mV, with noise, repeats and holes."""
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.choice([0.05, 0.1, 0.3, 5.0], n, p=[0.4, 0.4, 0.18, 0.02]))
    swing = 0.45 + 0.4 * np.sin(t * rng.uniform(0.5, 4))
    v = np.round(np.clip(swing + rng.normal(0, 0.05, n), 0, 1.2) / 0.05) * 0.05
    column = Column()
    column.extend(t, v, np.full(n, 0.02))
    return column


def _plain(column: Column, at: int) -> tuple[float, int, float]:
    """Whether a pass that ended here was clean, its repeats, and its low bound."""
    v, t, d = column.v, column.t, column.d
    start = at - 1
    while LEAN_V <= v[start] <= RICH_V:
        start -= 1
    way = 1.0 if v[at] > RICH_V else -1.0
    clean = all((v[i + 1] - v[i]) * way >= -NOISE_V for i in range(start, at))
    last, again = at - 1, 0
    for i in range(start + 1, at - 1):
        again += int(v[i + 1] == v[i])
    if again:
        last = start + 1
        for i in range(start + 1, at - 1):
            if v[i + 1] != v[i]:
                last = i + 1
    low = t[last] - t[start + 1] - (d[last] + d[start + 1]) / 2
    return float(clean), again, max(low, 0.0)


@pytest.mark.parametrize("seed", range(8))
def test_passes_are_those_of_a_plain_loop_however_the_samples_came(seed: int) -> None:
    """Clean, repeats and the low bound of every pass, whole and in two pieces."""
    column = _column(seed)
    n = len(column)
    whole = volts(column, 0, n, {})
    assert len(whole["pass_at"]) > 10
    assert 0 < whole["clean"].sum() < len(whole["clean"])
    found = zip(whole["clean"], whole["again"], whole["low_s"], strict=True)
    for at, told in zip(whole["pass_at"].astype(int), found, strict=True):
        assert told == _plain(column, at)
    carry: dict[str, float] = {}
    pieces: list[Floats] = []
    for lo, hi in ((0, n // 3), (n // 3, n)):
        pieces.append(volts(column, lo, hi, carry)["low_s"])
    np.testing.assert_array_equal(np.concatenate(pieces), whole["low_s"])


def test_a_repeat_on_the_way_ends_what_is_proven() -> None:
    """A value handed out again says nothing of later moments."""
    column = Column()
    v = np.array([0.1, 0.4, 0.5, 0.5, 0.5, 0.8])
    column.extend(np.arange(6) / 10, v, np.zeros(6))
    told = volts(column, 0, 6, {})
    assert told["again"].tolist() == [2.0]
    assert told["low_s"].tolist() == [pytest.approx(0.1)]
