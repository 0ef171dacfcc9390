"""Every limit has words for a person, and none is a name with blanks in it."""

from __future__ import annotations

from bankwise.signals.limit_words import WORDS
from bankwise.signals.thresholds import DEFAULTS


def test_every_limit_has_words_and_no_words_are_left_over() -> None:
    """The table covers exactly the limits there are."""
    assert set(WORDS) == set(DEFAULTS)


def test_no_limit_is_said_by_its_name() -> None:
    """Words are not the name with its underscores taken out."""
    for name, words in WORDS.items():
        assert words != name.rsplit("_", 1)[0].replace("_", " ")
