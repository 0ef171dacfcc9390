"""The table of rules is complete: ids, inputs, limits, cautions, sources, words."""

from __future__ import annotations

import string

import numpy as np
import pytest

from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.next_check import words_for
from bankwise.signals.rules import BY_ID, RULES, TRIM_VOIDS, Kind, Rule
from bankwise.signals.thresholds import DEFAULTS
from bankwise.signals.words import figure, fill

FLAGS = [
    "front-lean-rear-rich",
    "front-rich-rear-lean",
    "parked-at-bias",
    "wideband-frozen",
    "sensor-not-switching",
    "stuck-lean",
    "stuck-rich",
    "answers-forcing",
    "ignores-forcing",
    "slow-switching",
    "slow-one-way",
    "small-swing",
    "rear-flat",
    "late-wake-up",
    "lambda-off-command",
    "trim-at-limit",
    "open-loop-fault",
    "closed-loop-fault",
    "one-bank-open-loop",
    "mirror-trims",
    "crossed-sensors",
    "one-bank-subtracting",
    "one-bank-lean-fades",
    "one-bank-lean",
    "both-lean-fades",
    "both-lean-grows",
    "both-lean",
    "both-rich",
    "exhaust-leak-pattern",
    "misfire-false-lean",
    "decel-not-lean",
    "full-throttle-not-rich",
    "rear-rich-in-decel",
    "rear-copies-front",
    "low-airflow",
    "cam-off-target",
    "catalyst-too-hot",
    "thermostat-low",
    "late-closed-loop",
    "low-fuel",
    "voltage-out-of-range",
    "second-trip-pending",
    "recently-cleared",
    "trims-still-learning",
    "too-slow-to-tell",
    "link-lost",
    "repair-not-proven",
]
"""Every flag id the program promises, in the order of the domain notes."""


def test_the_flags_are_exactly_the_promised_ones() -> None:
    """No promised flag is missing, none is there twice, none is extra."""
    assert sorted(rule.id for rule in RULES) == sorted(FLAGS)


def test_rules_that_void_trims_stand_before_those_they_void() -> None:
    """The engine tries rules in order, so the voiding ones come first."""
    order = [rule.id for rule in RULES]
    patterns = [order.index(rule.id) for rule in RULES if rule.trim_pattern]
    assert max(order.index(name) for name in TRIM_VOIDS) < min(patterns)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_every_rule_is_whole(rule: Rule) -> None:
    """Each rule has its words, known limits, a known caution and a source."""
    words = (rule.text, rule.does_not_prove, *rule.causes, rule.next, rule.source)
    assert all(words)
    assert rule.causes
    assert all(name in DEFAULTS for name in (rule.hold, *rule.limits))
    assert rule.caution == "" or rule.caution in CAUTIONS
    assert rule.clear_s >= 0


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_every_placeholder_of_a_sentence_has_a_figure(rule: Rule) -> None:
    """A sentence shows only figures the rule names, and every figure is shown."""
    used = {name for _, name, _, _ in string.Formatter().parse(rule.text) if name}
    assert used - {"place", "other"} == set(rule.figures)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_sentences_are_short_and_cautious(rule: Rule) -> None:
    """A sentence reads in a glance, and its limits are said in one breath."""
    assert len(rule.text) < 140
    assert len(rule.does_not_prove) < 80
    assert rule.text.endswith(".")
    assert rule.does_not_prove.endswith(".")


def test_no_rule_but_a_forced_test_names_a_bad_sensor() -> None:
    """A sentence never condemns a sensor: that takes a forced test."""
    for rule in RULES:
        assert "bad sensor" not in rule.text
        assert "faulty" not in rule.text


def test_stop_is_kept_for_damage_under_way() -> None:
    """Only two flags tell the driver to lift off at once."""
    stops = [rule.id for rule in RULES if rule.severity.value == "stop"]
    assert sorted(stops) == ["catalyst-too-hot", "full-throttle-not-rich"]


def test_the_registry_by_id_holds_every_rule() -> None:
    """Looking a rule up by id finds that rule."""
    assert all(BY_ID[rule.id] is rule for rule in RULES)
    assert {rule.kind for rule in RULES} == set(Kind)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_a_figure_that_is_not_known_is_left_out(rule: Rule) -> None:
    """Without any figure the sentence is still one, and never says "unknown"."""
    nothing = {word: figure("rpm", np.nan) for word in rule.figures}
    text = fill(rule.text, "B1", "B2", nothing)
    assert "unknown" not in text
    assert text.endswith(".")
    assert not [odd for odd in ("[", "]", "  ", " .", " ,") if odd in text]
    known = {word: figure("rpm", 7.0) for word in rule.figures}
    assert fill(rule.text, "B1", "B2", known).count("7") >= len(rule.figures)


def test_a_worn_catalyst_is_checked_in_one_way() -> None:
    """The flag asks for the same check as the explanation that it speaks for."""
    rule = next(rule for rule in RULES if rule.id == "rear-copies-front")
    assert words_for("catalyst-worn", None).startswith(rule.next)


def test_answers_that_cannot_be_read_are_not_called_missing() -> None:
    """A session without headers has answers: the words must be true of it too."""
    rule = next(rule for rule in RULES if rule.id == "link-lost")
    assert "that can be read" in rule.text
    assert any("headers" in cause for cause in rule.causes)
