"""The interval of a difference of medians against scipy's bootstrap.

Source: scipy.stats.bootstrap from the package registry, percentile method.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import bootstrap
from scipy.stats import t as student

from bankwise.signals import shared_cells
from bankwise.signals.shared_cells import median_difference


def test_independent_values_give_the_interval_scipy_gives() -> None:
    """Without dependence, blocks and single draws agree within a fifth of the width."""
    rng = np.random.default_rng(3)
    one, two = rng.normal(0, 2, 600), rng.normal(5, 2, 600)
    got = median_difference(one, two)
    assert got is not None
    low, high = got
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


def test_the_table_of_students_t_is_scipys() -> None:
    """Each quantile of the table is scipy's, to the table's last digit."""
    pairs = zip(shared_cells._FREEDOM, shared_cells._T, strict=True)
    for freedom, quantile in pairs:
        assert quantile == pytest.approx(student.ppf(0.975, freedom), abs=0.0006)
