"""The standard words for trouble codes, where the standard has words.

python-OBD's table gives the text. It names no bank, so P0171 and P0174 read the
same there: the bank is added from the code's number. Its own look-up misses keys
with letters because it writes hexadecimal in lower case; here the code is made
upper case first.
"""

from __future__ import annotations

from functools import cache

from bankwise.signals import trouble_codes

MAKER_SPECIFIC = "maker-specific, see service information"
NO_TEXT = "no standard text at hand, see service information"


@cache
def _texts() -> dict[str, str]:
    from obd.codes import DTC

    return {key.upper(): text for key, text in DTC.items()}


def description(code: str) -> str:
    """The standard's words for a code with its place, or where to look instead.

    Source: python-OBD's code table; places from `bankwise.signals.trouble_codes`.
    """
    name = trouble_codes.base(code)
    if not trouble_codes.is_standard(name):
        return MAKER_SPECIFIC
    text = _texts().get(name)
    if text is None:
        return NO_TEXT
    place = trouble_codes.about(name)
    return text if place == "engine" else f"{text} ({place})"
