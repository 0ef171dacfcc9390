"""The table of limits: complete, sourced, changeable with an answer for mistakes."""

from __future__ import annotations

import pytest

from bankwise.signals.severity import Severity
from bankwise.signals.thresholds import DEFAULTS, ThresholdError


def test_every_limit_has_a_source() -> None:
    """No limit stands without a document, "common practice" or a reason."""
    for name in DEFAULTS:
        row = DEFAULTS.row(name)
        assert row.source, name
        if row.source.startswith("our choice"):
            assert row.source.startswith("our choice, because "), name


def test_cited_values_are_the_documents_values() -> None:
    """The limits that a document prints are the printed ones."""
    assert (DEFAULTS["parked_low_v"], DEFAULTS["parked_high_v"]) == (0.391, 0.491)
    assert (DEFAULTS["asymmetry_min"], DEFAULTS["asymmetry_max"]) == (0.6, 2.8)
    assert DEFAULTS["thermostat_c"] == 71.0
    assert DEFAULTS["catalyst_hot_c"] == 950.0
    assert DEFAULTS["closed_loop_warm_s"] == 120.0


def test_a_change_is_in_force_and_remembered() -> None:
    """A person's value replaces the default, and the default stays known."""
    mine = DEFAULTS.with_changes({"trim_add_pct": 12})
    assert mine["trim_add_pct"] == 12.0
    assert [(r.name, r.changed_from) for r in mine.changed] == [("trim_add_pct", 10.0)]
    assert DEFAULTS["trim_add_pct"] == 10.0
    assert not DEFAULTS.changed


def test_changing_back_is_no_change() -> None:
    """Setting a limit to its shipped value leaves nothing to report."""
    mine = DEFAULTS.with_changes({"trim_add_pct": 12}).with_changes(
        {"trim_add_pct": 10}
    )
    assert mine.changed == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"trim_ad_pct": 1}, "no threshold is called 'trim_ad_pct'"),
        ({"trim_add_pct": "ten"}, "trim_add_pct must be a number"),
        ({"trim_add_pct": True}, "trim_add_pct must be a number"),
        ({"trim_add_pct": float("nan")}, "trim_add_pct must be a finite number"),
    ],
)
def test_a_mistake_is_named(changes: dict[str, object], words: str) -> None:
    """An unknown name or an unusable value is refused in one plain line."""
    with pytest.raises(ThresholdError, match=words):
        DEFAULTS.with_changes(changes)


def test_severities_sort_from_info_to_stop() -> None:
    """The four severities compare by urgency."""
    assert sorted([Severity.STOP, Severity.INFO, Severity.ACT, Severity.WATCH]) == [
        Severity.INFO,
        Severity.WATCH,
        Severity.ACT,
        Severity.STOP,
    ]
