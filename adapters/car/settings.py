"""The adapter's settings and the AT commands that change them, as one table.

Spaces and case do not matter. What is not in the table is answered with `?`. Commands
that would only show or change how an adapter sleeps, stores or monitors are accepted
where they have no effect on reading a car.

Source: from memory of adapter data sheets.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from bankwise.adapters.car.framing import PROTOCOLS, Protocol

TICK_S = 0.004096
"""Unit of the AT ST timeout. Unit: seconds. Source: adapter data sheets
(AT ST 08 is 32 ms)."""

DEFAULT_TIMEOUT = 0x32
"""The timeout after power-on, about 200 ms. Source: adapter data sheets."""

_UNKNOWN_PROTOCOL = {
    "0": "AUTO",
    "A": "SAE J1939 (CAN 29/250)",
    "B": "USER1 (CAN 11/125)",
}


@dataclass(frozen=True, slots=True)
class Settings:
    """What the AT commands set; the defaults are those after power-on."""

    echo: bool = True
    linefeeds: bool = False
    spaces: bool = True
    headers: bool = False
    adaptive: int = 1
    timeout: int = DEFAULT_TIMEOUT
    protocol: str = "0"
    auto: bool = True
    responses: bool = True
    formatting: bool = True
    long_messages: bool = False
    keep_alive: bool = True
    show_length: bool = False
    header: bytes | None = None
    priority: int = 0x18
    receive: str = ""
    description: str = ""
    id_text: str = ""

    @property
    def timeout_s(self) -> float:
        """Longest wait for another frame. Unit: seconds."""
        return max(self.timeout, 1) * TICK_S


@dataclass(frozen=True, slots=True)
class Step:
    """What one AT command leads to.

    Attributes:
        settings: from now on.
        say: the answer.
        close: the protocol in use is closed.
    """

    settings: Settings
    say: str = "OK"
    close: bool = False


Action = Callable[[Settings, re.Match[str]], Step]


def _set(name: str) -> Action:
    return lambda s, m: Step(replace(s, **{name: m[1] == "1"}))  # type: ignore[arg-type]


def _number(name: str, base: int) -> Action:
    return lambda s, m: Step(replace(s, **{name: int(m[1], base)}))  # type: ignore[arg-type]


def _always(**change: object) -> Action:
    return lambda s, _: Step(replace(s, **change))  # type: ignore[arg-type]


def _say(text: str) -> Action:
    return lambda s, _: Step(s, text)


def _protocol(s: Settings, m: re.Match[str]) -> Step:
    auto = bool(m[1]) or m[2] in {"", "0"}
    number = m[2] or "0"
    return Step(replace(s, protocol=number, auto=auto, header=None), close=True)


def _header(s: Settings, m: re.Match[str]) -> Step:
    digits = m[1]
    if len(digits) == 3:
        return Step(replace(s, header=int(digits, 16).to_bytes(4, "big")))
    return Step(replace(s, header=bytes.fromhex(digits)))


def _priority(s: Settings, m: re.Match[str]) -> Step:
    return Step(replace(s, priority=int(m[1], 16) & 0x1F))


def _receive(s: Settings, m: re.Match[str]) -> Step:
    return Step(replace(s, receive=m[1]))


_H2 = "([0-9A-F]{2})"

COMMANDS: tuple[tuple[str, Action], ...] = (
    ("E([01])", _set("echo")),
    ("L([01])", _set("linefeeds")),
    ("S([01])", _set("spaces")),
    ("H([01])", _set("headers")),
    ("R([01])", _set("responses")),
    ("CAF([01])", _set("formatting")),
    ("D([01])", _set("show_length")),
    ("AL", _always(long_messages=True)),
    ("NL", _always(long_messages=False)),
    ("AT([012])", _number("adaptive", 10)),
    (f"ST{_H2}", _number("timeout", 16)),
    ("(?:S|T)P(A?)([0-9A-C])", _protocol),
    ("(?:S|T)P([0-9A-C])A()", lambda s, m: Step(
        replace(s, protocol=m[1], auto=True, header=None), close=True
    )),
    ("SP00()()", _protocol),
    ("SH([0-9A-F]{3}|[0-9A-F]{6}|[0-9A-F]{8})", _header),
    (f"CP{_H2}", _priority),
    ("CRA()", _receive),
    ("CRA([0-9A-FX]{3}|[0-9A-FX]{8})", _receive),
    ("AR", _always(receive="")),
    ("SR[0-9A-F]{2}", _say("OK")),
    ("RA[0-9A-F]{2}", _say("OK")),
    ("C[FM](?:[0-9A-F]{3}|[0-9A-F]{8})", _say("OK")),
    ("CFC[01]", _say("OK")),
    ("CSM[01]", _say("OK")),
    ("CEA(?:[0-9A-F]{2})?", _say("OK")),
    ("FCSH(?:[0-9A-F]{3}|[0-9A-F]{8})", _say("OK")),
    ("FCSD(?:[0-9A-F]{2}){1,5}", _say("OK")),
    ("FCSM[012]", _say("OK")),
    ("V[01]", _say("OK")),
    ("KW[01]", _say("OK")),
    ("IFR[012HS]", _say("OK")),
    ("IB(?:10|12|15|48|96)", _say("OK")),
    ("IIA[0-9A-F]{2}", _say("OK")),
    ("SW00", _always(keep_alive=False)),
    ("SW[0-9A-F]{2}", _always(keep_alive=True)),
    ("WM(?:[0-9A-F]{2}){1,6}", _say("OK")),
    ("M[01]", _say("OK")),
    ("BD", _say("00 00 00 00 00 00 00 00 00 00 00 00 00")),
    ("CS", _say("T:00 R:00")),
    ("CV[0-9]{4}", _say("OK")),
    ("FE", _say("OK")),
    ("IGN", _say("ON")),
    ("JE", _say("OK")),
    ("JHF[01]", _say("OK")),
    ("JS", _say("OK")),
    ("JTM[15]", _say("OK")),
    ("KW", _say("1:08 2:08")),
    ("RD", _say("00")),
    ("SD[0-9A-F]{2}", _say("OK")),
    ("SS", _say("OK")),
    ("TA[0-9A-F]{2}", _say("OK")),
    ("PC", lambda s, _: Step(s, close=True)),
)  # fmt: skip
"""Commands as (pattern after AT, what it does). Those that need the adapter itself
(Z, WS, D, I, @1, RV, DP, DPN, MA and the like, LP, BRD) are in `dialect`."""

_TABLE = tuple((re.compile(pattern), action) for pattern, action in COMMANDS)


def command(settings: Settings, text: str) -> Step | None:
    """Carries out one AT command, without `AT`; None when it is not in the table."""
    for pattern, action in _TABLE:
        match = pattern.fullmatch(text)
        if match:
            return action(settings, match)
    return None


def describe(settings: Settings, found: Protocol | None) -> str:
    """The answer to AT DP."""
    name = found.name if found else _name(settings.protocol)
    if not settings.auto:
        return name
    return f"AUTO, {name}" if found or settings.protocol != "0" else "AUTO"


def number(settings: Settings, found: Protocol | None) -> str:
    """The answer to AT DPN."""
    digit = found.number if found else settings.protocol
    return f"A{digit}" if settings.auto else digit


def _name(digit: str) -> str:
    known = PROTOCOLS.get(digit)
    return known.name if known else _UNKNOWN_PROTOCOL.get(digit, "USER2 (CAN 11/50)")


def request_header(settings: Settings, protocol: Protocol) -> bytes:
    """The header a request goes out with."""
    chosen = settings.header
    if chosen is None:
        return protocol.header
    if not protocol.can:
        return chosen[-3:]
    if protocol.id_bits == 11:
        return (int.from_bytes(chosen, "big") & 0x7FF).to_bytes(4, "big")
    if len(chosen) == 3:
        return bytes((settings.priority,)) + chosen
    return chosen
