"""The table of derived signals is whole: names, inputs, sources, honest rates."""

from __future__ import annotations

import re

import pytest

from bankwise.signals import registry
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.claims import CLAIMS
from bankwise.signals.derived import Derived, entries
from bankwise.signals.registry import DERIVED, ROOTS, ROWS
from bankwise.signals.thresholds import DEFAULTS


def test_every_row_has_words_and_a_source() -> None:
    """No derived signal is without a title and a source."""
    assert [row.name for row in ROWS if not row.title or not row.source] == []


def test_every_input_is_a_known_signal() -> None:
    """Inputs are catalogue signals or derived ones."""
    unknown = {
        name: source
        for name, entry in DERIVED.items()
        for source in entry.inputs
        if source not in SIGNALS and source not in DERIVED
    }
    assert unknown == {}


def test_every_root_is_measured() -> None:
    """Followed to the end, inputs are signals of the catalogue."""
    assert {root for roots in ROOTS.values() for root in roots} <= set(SIGNALS)


def test_honest_rates_name_a_threshold_or_a_number() -> None:
    """A least rate is a positive number or a row of the thresholds."""
    for row in ROWS:
        if isinstance(row.min_hz, str):
            assert row.min_hz in DEFAULTS
        if row.min_hz:
            assert row.rate_of


def test_claims_rest_on_signals_that_exist() -> None:
    """What may be reported as not judged names a derived or measured signal."""
    for claim in CLAIMS:
        for place in claim.places:
            name = place.fill(claim.signal)
            assert name in DERIVED or name in SIGNALS


def test_a_name_is_defined_once() -> None:
    """Two rows with one name are refused."""
    row = ROWS[0]
    with pytest.raises(ValueError, match="defined twice"):
        entries((row, row))


def test_names_carry_quantity_place_and_unit() -> None:
    """Names are lower case, digits and underscores only."""
    assert all(re.fullmatch(r"[a-z0-9_]+", name) for name in DERIVED)
    assert isinstance(registry.ROWS[0], Derived)
