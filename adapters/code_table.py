"""The standard words for trouble codes, where the standard has words.

python-OBD's table gives the text. It names no bank, so P0171 and P0174 read the
same there: the bank is added from the code's number. Its own look-up misses keys
with letters because it writes hexadecimal in lower case; here the code is made
upper case first. Six of its texts say "OBDResponse"; here they say "Response".
"""

from __future__ import annotations

from functools import cache

from bankwise.signals import trouble_codes

MAKER_SPECIFIC = "maker-specific, see service information"
NO_TEXT = "no standard text at hand, see service information"

FAILURE_TYPES = {
    0x01: "general electrical failure",
    0x02: "general signal failure",
    0x07: "mechanical failure",
    0x11: "circuit short to ground",
    0x12: "circuit short to battery",
    0x13: "circuit open",
    0x14: "circuit short to ground or open",
    0x15: "circuit short to battery or open",
    0x16: "circuit voltage below threshold",
    0x17: "circuit voltage above threshold",
    0x18: "circuit current below threshold",
    0x19: "circuit current above threshold",
    0x1A: "circuit resistance below threshold",
    0x1B: "circuit resistance above threshold",
    0x1C: "circuit voltage out of range",
    0x21: "signal amplitude too small",
    0x22: "signal amplitude too large",
    0x23: "signal stuck low",
    0x24: "signal stuck high",
    0x29: "signal invalid",
    0x31: "no signal",
    0x62: "signals do not agree",
    0x64: "signal not plausible",
    0x71: "actuator stuck",
    0x87: "missing message",
    0x96: "internal failure of the component",
}
"""What the third byte of a code says: a selection.

Source: SAE J2012-DA, from memory."""


def failure_type(code: str) -> str:
    """The failure type of a three-byte code in words; empty when it has none."""
    _, _, suffix = code.partition("-")
    if not suffix:
        return ""
    return FAILURE_TYPES.get(
        int(suffix, 16), f"failure type {suffix}, see service information"
    )


@cache
def _texts() -> dict[str, str]:
    from obd.codes import DTC

    # A word of that table's own name stands in six texts for "Response".
    return {
        k.upper(): text.replace("OBDResponse", "Response") for k, text in DTC.items()
    }


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
