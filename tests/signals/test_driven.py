"""Which kinds of driving two drives share, told with both lengths."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from bankwise.signals import driven
from bankwise.signals.engine import Engine


def _told(
    monkeypatch: pytest.MonkeyPatch,
    before: Mapping[str, float],
    after: Mapping[str, float],
) -> list[str]:
    one, two = Engine(), Engine()
    lengths = {id(one): before, id(two): after}
    monkeypatch.setattr(driven, "driven", lambda engine: lengths[id(engine)])
    return list(driven.not_shared(one, two))


@pytest.mark.parametrize(
    ("name", "before", "after", "told"),
    [
        ("wide-open", 8.9, 10.0, []),
        ("wide-open", 0.0, 9.0, ["wide-open was driven after only (9.0 s)"]),
        ("idle", 40.0, 0.0, ["idle was driven before only (40.0 s)"]),
        (
            "idle",
            8.9,
            30.0,
            ["idle: 8.9 s before, 30.0 s after, and both must hold 10 s"],
        ),
        ("idle", 3.0, 4.0, []),
    ],
)
def test_a_phase_is_told_by_its_own_need_and_both_lengths(
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    before: float,
    after: float,
    told: list[str],
) -> None:
    """Seconds at wide open are enough; a short idle is never called none."""
    assert _told(monkeypatch, {name: before}, {name: after}) == told
