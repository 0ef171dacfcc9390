"""The interval of a difference of medians against scipy's bootstrap.

Source: scipy.stats.bootstrap from the package registry, percentile method.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import bootstrap

from bankwise.signals.shared_cells import median_difference


def test_independent_values_give_the_interval_scipy_gives() -> None:
    """Without dependence, blocks and single draws agree within a fifth of the width."""
    rng = np.random.default_rng(3)
    one, two = rng.normal(0, 2, 600), rng.normal(5, 2, 600)
    low, high = median_difference(one, two)
    theirs = bootstrap(
        (two, one),
        lambda a, b, axis: np.median(a, axis=axis) - np.median(b, axis=axis),
        n_resamples=2000,
        method="percentile",
        rng=np.random.default_rng(1),
    ).confidence_interval
    width = theirs.high - theirs.low
    assert low == pytest.approx(theirs.low, abs=0.2 * width)
    assert high == pytest.approx(theirs.high, abs=0.2 * width)
