"""The ledger's table is complete, and its shares behave."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.clues import KINDS, Clue
from bankwise.signals.code_marks import OUTCOMES
from bankwise.signals.explanations import seen_from, weigh
from bankwise.signals.ledger import CONSEQUENCES, EXPLANATIONS, Where
from bankwise.signals.next_check import CHECKS, confirming, separating, words_for
from bankwise.signals.rules import BY_ID, RULES
from bankwise.signals.severity import Severity
from bankwise.signals.weights import WEIGHTS

IDS = [
    "sensor-reads-lean",
    "sensor-reads-rich",
    "sensor-open-circuit",
    "sensor-aged",
    "sensor-heater",
    "rear-sensor-faulty",
    "bank-breathes-less",
    "bank-unmetered-air",
    "common-unmetered-air",
    "fuel-supply-weak",
    "airflow-under-read",
    "airflow-over-read",
    "common-rich-source",
    "bank-injectors-lean",
    "bank-injectors-rich",
    "exhaust-leak",
    "misfire",
    "catalyst-worn",
    "thermostat-open",
    "sensors-crossed",
    "no-fault-seen",
    "cannot-tell",
]
"""Every explanation the program promises."""

CAUSES = [name for name in IDS if name not in ("no-fault-seen", "cannot-tell")]

SPLIT = {
    "parked-at-bias",
    "ignores-forcing",
    "trim-at-limit",
    "lambda-off-command",
    "low-airflow",
}
"""Flags that reach the ledger under a more exact name."""

MUTE = {"open-loop-fault", "closed-loop-fault"}
"""Flags that only say what the control unit did, not why."""


def test_the_explanations_are_exactly_the_promised_ones() -> None:
    """No promised explanation is missing and none is extra."""
    assert list(EXPLANATIONS) == IDS


def test_every_row_names_a_known_cause_and_a_reason() -> None:
    """Each weight is about a known cause, is not zero, and says why."""
    for row in WEIGHTS:
        assert row.explanation in CAUSES
        assert row.weight != 0
        assert row.reason


def test_no_row_is_there_twice() -> None:
    """One kind of evidence weighs once for one cause at one place."""
    keys = [(row.evidence, row.explanation, row.where) for row in WEIGHTS]
    assert len(keys) == len(set(keys))


def test_every_cause_has_evidence_for_it() -> None:
    """Each cause can be spoken for by two kinds of evidence at least."""
    for cause in CAUSES:
        kinds = {r.evidence for r in WEIGHTS if r.explanation == cause and r.weight > 0}
        assert len(kinds) >= 2, cause


def test_every_urgent_flag_is_evidence() -> None:
    """A watch, act or stop flag reaches the ledger, unless it says nothing of why."""
    for rule in RULES:
        if rule.severity > Severity.INFO and rule.id not in SPLIT | MUTE:
            assert rule.id in KINDS, rule.id


def test_every_test_outcome_but_undecided_ones_is_evidence() -> None:
    """A finished guided test reaches the ledger."""
    silent = {"not-done", "done", "forced-one-way", "ignores-forcing"}
    assert set(OUTCOMES) - silent <= KINDS


def test_a_forced_test_outweighs_any_single_flag() -> None:
    """No flag weighs as much as a forced test: only that condemns a part."""
    tests = {"circuit-bad", "leak-found", "exhaust-leak-found", "pressure-low"}
    tested = min(row.weight for row in WEIGHTS if row.evidence in tests)
    assert tested > max(row.weight for row in WEIGHTS if row.evidence in BY_ID)


def test_consequences_name_known_causes() -> None:
    """Each consequence links two known causes and takes only a part."""
    for row in CONSEQUENCES:
        assert row.root in CAUSES
        assert row.follows in CAUSES
        assert 0 < row.share < 1
        assert row.reason


def test_checks_name_known_causes_and_cautions() -> None:
    """Each check speaks of known causes, and warns of known dangers."""
    for check in CHECKS:
        assert set(check.results) <= set(CAUSES)
        assert check.caution == "" or check.caution in CAUTIONS


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_has_a_check_that_shows_it(cause: str) -> None:
    """For each cause there is a check whose result is not the usual one."""
    assert confirming(cause) is not None
    assert words_for(cause, None)


@pytest.mark.parametrize(
    ("first", "second", "check"),
    [
        ("sensor-reads-lean", "bank-injectors-lean", "force-front"),
        ("fuel-supply-weak", "airflow-under-read", "full-throttle-filling"),
        ("bank-unmetered-air", "exhaust-leak", "smoke-exhaust"),
        ("bank-breathes-less", "bank-injectors-rich", "backpressure"),
        ("sensor-open-circuit", "sensor-heater", "watch-cold-start"),
        ("rear-sensor-faulty", "catalyst-worn", "force-rear"),
    ],
)
def test_the_check_between_two_causes_separates_them(
    first: str, second: str, check: str
) -> None:
    """The first check whose results differ is the one named."""
    found = separating(first, second)
    assert found is not None
    assert found.id == check
    assert found.results[first] != found.results[second]


_KINDS = st.sampled_from(sorted(KINDS))
_PLACES = st.sampled_from(["B1", "B2", "B1S1", "B2S1", "B1S2", "B2S2", "engine"])
_CLUES = st.lists(st.builds(Clue, _KINDS, _PLACES, st.just("seen")), max_size=12)


@given(_CLUES)
def test_shares_are_shares(clues: list[Clue]) -> None:
    """Every share lies between 0 and 1, and together they leave room for doubt."""
    shares = [s for at in weigh(clues).values() for s in at.values()]
    assert all(0 <= share <= 1 for share in shares)
    assert sum(shares) < 1


@given(_CLUES, _KINDS, _PLACES)
def test_evidence_never_raises_a_rival(
    clues: list[Clue], kind: str, about: str
) -> None:
    """More evidence lifts only causes it speaks for.

    Unless it speaks against a root: what the root explained away may return then.
    """
    before, after = weigh(clues), weigh([*clues, Clue(kind, about, "seen")])
    rows = [row for row in WEIGHTS if row.evidence == kind]
    lifted = {
        (seen_from(about, row.where), row.explanation) for row in rows if row.weight > 0
    }
    refuted = {row.explanation for row in rows if row.weight < 0}
    freed = {link.follows for link in CONSEQUENCES if link.root in refuted}
    for place, causes in before.items():
        for cause, share in causes.items():
            if (place, cause) not in lifted and cause not in freed:
                assert after[place][cause] <= share + 1e-12


@given(_CLUES, _KINDS, _PLACES)
def test_evidence_for_a_cause_never_lowers_it(
    clues: list[Clue], kind: str, about: str
) -> None:
    """Evidence that speaks for one cause alone does not lower that cause."""
    rows = [row for row in WEIGHTS if row.evidence == kind]
    if len(rows) != 1 or rows[0].weight < 0:
        return
    place, cause = seen_from(about, rows[0].where), rows[0].explanation
    before = weigh(clues).get(place, {}).get(cause, 0.0)
    after = weigh([*clues, Clue(kind, about, "seen")])[place][cause]
    assert after >= before - 1e-12


def test_a_lying_front_sensor_explains_the_misfire_it_causes() -> None:
    """A root takes part of the weight of what it brings about, and both are named."""
    misfire = Clue("code-misfire", "B1", "P0302 is stored")
    counted = [misfire, Clue("misfire-false-lean", "B1", "counts rise")]
    alone = weigh(counted)["B1"]["misfire"]
    lying = [
        Clue("front-lean-rear-rich", "B1", "front lean, rear rich"),
        Clue("stuck-lean", "B1S1", "stays lean"),
        Clue("limit-lean", "B1", "at its end"),
    ]
    both = weigh([*counted, *lying])
    assert both["B1S1"]["sensor-reads-lean"] > both["B1"]["misfire"] > 0
    assert both["B1"]["misfire"] < alone / 2


@pytest.mark.parametrize(
    ("about", "where", "there"),
    [
        ("B2S2", Where.FRONT, "B2S1"),
        ("B2S1", Where.BANK, "B2"),
        ("B1", Where.OTHER, "B2"),
        ("B2", Where.REAR, "B2S2"),
        ("B2", Where.ENGINE, "engine"),
        ("B1S1", Where.SAME, "B1S1"),
    ],
)
def test_places_are_seen_from_where_the_evidence_lies(
    about: str, where: Where, there: str
) -> None:
    """A row's place is found from the evidence's place."""
    assert seen_from(about, where) == there
