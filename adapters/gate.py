"""The gate: the only place that says what may be sent towards a vehicle.

A link writes nothing but a `Permitted`, and only this module makes one. What may pass
is a table: read services with their arguments, and adapter commands that change nothing
beyond the adapter's own working memory. No programmable parameter, no stored protocol,
no calibration, no raw frame. Clearing codes passes only with a token, once.

Before the bytes leave, `wire` checks them against the same table again, so one made by
force carries nothing either. A bare carriage return cannot be expressed: it
would repeat the adapter's last command, whatever that was.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final, NoReturn, final

from bankwise.adapters.errors import GateRefused

_KEY: Final = object()
_RESYNC_TEXT: Final = " "

_DIGIT = "[1-9A-F]?"
"""The number of frames to expect, which an adapter accepts after a request."""

READ_REQUESTS: Final[tuple[tuple[str, str], ...]] = (
    (f"01(?:[0-9A-F]{{2}}){{1,6}}{_DIGIT}", "current data, one to six PIDs"),
    (f"02(?:[0-9A-F]{{4}}){{1,3}}{_DIGIT}", "freeze frame: PID and frame number"),
    (f"03{_DIGIT}", "stored codes"),
    (f"06(?:[0-9A-F]{{2}}){{1,6}}{_DIGIT}", "on-board test results"),
    (f"07{_DIGIT}", "pending codes"),
    (f"09(?:[0-9A-F]{{2}}){{1,6}}{_DIGIT}", "vehicle information"),
    (f"0A{_DIGIT}", "permanent codes"),
    (f"22(?:F[4-8][0-9A-F]{{2}}){{1,3}}{_DIGIT}", "data by standard identifier"),
    (f"19(?:02|42|04|06|1A|55|56)(?:[0-9A-F]{{2}}){{0,4}}{_DIGIT}", "codes, J1979-2"),
)
"""Requests to a vehicle, as (pattern, what it reads). Source: SAE J1979 service
definitions and ISO 14229-1 services 19 and 22, from memory; all of them read only."""

ADAPTER_COMMANDS: Final[tuple[tuple[str, str], ...]] = (
    ("ATI", "names itself"),
    ("AT@1", "describes its hardware"),
    ("ATZ", "restarts"),
    ("ATWS", "restarts without the lamp test"),
    ("ATD", "back to defaults"),
    ("ATE[01]", "echo"),
    ("ATL[01]", "line feeds"),
    ("ATS[01]", "spaces"),
    ("ATH1", "headers in answers"),
    ("ATM0", "forget the protocol at power-off"),
    ("ATCAF1", "format CAN answers"),
    ("ATNL", "normal message length"),
    ("ATAL", "long messages"),
    ("ATAT[012]", "adaptive timing"),
    ("ATST[0-9A-F]{2}", "longest wait for an answer"),
    ("ATTP(?:0|A?[1-9A])", "try a protocol, not stored"),
    ("ATDP", "names the protocol"),
    ("ATDPN", "numbers the protocol"),
    ("ATPC", "closes the protocol"),
    ("ATFE", "forgets events"),
    ("ATRV", "supply voltage"),
    ("ATIGN", "ignition input"),
    ("ATSH7DF", "header: functional, CAN 11-bit"),
    ("ATSH7E[0-7]", "header: one unit, CAN 11-bit"),
    ("ATSH18DB33F1", "header: functional, CAN 29-bit"),
    ("ATSH18DA[0-9A-F]{2}F1", "header: one unit, CAN 29-bit"),
    ("ATSHDB33F1", "header: functional, CAN 29-bit, three bytes"),
    ("ATSHDA[0-9A-F]{2}F1", "header: one unit, CAN 29-bit, three bytes"),
    ("ATSH(?:686AF1|616AF1|C[0-9A-F]33F1)", "header: functional, older protocols"),
    ("ATSH8[0-9A-F][0-9A-F]{2}F1", "header: one unit, older protocols"),
    ("ATAR", "receive addresses automatically"),
    ("ATCRA", "no receive filter"),
    ("ATQQ", "means nothing: an honest adapter answers `?`"),
)
"""Commands to the adapter itself, as (pattern, what it does)."""

_READ = re.compile("|".join(pattern for pattern, _ in READ_REQUESTS))
_COMMAND = re.compile("|".join(pattern for pattern, _ in ADAPTER_COMMANDS))
_CLEAR: Final = {"04", "14FFFF33"}
_LISTED_READ = re.compile(f"(21[0-9A-F]{{2}}|22(?:[0-9A-F]{{4}}){{1,3}}?){_DIGIT}")

LONGEST = 15
"""Hexadecimal digits of the longest request: seven bytes and a frame digit."""


@final
class ClearToken:
    """Leave to clear codes once; handed out by `clear_token` and by nothing else."""

    __slots__ = ("_spent",)

    def __init__(self, key: object) -> None:
        if key is not _KEY:
            raise GateRefused("only the gate hands out leave to clear codes")
        self._spent = False

    def _spend(self) -> None:
        if self._spent:
            raise GateRefused("this leave to clear codes has been used")
        self._spent = True


@final
class Permitted:
    """A request that may be sent. Made by `permit`, `permit_clear` and `RESYNC` only.

    Attributes:
        text: the request without its carriage return.
    """

    __slots__ = ("_listed", "_token", "text")
    text: str
    _token: ClearToken | None
    _listed: Listed | None

    def __init__(
        self,
        text: str,
        key: object,
        token: ClearToken | None = None,
        listed: Listed | None = None,
    ) -> None:
        if key is not _KEY:
            raise GateRefused("only the gate permits a request")
        object.__setattr__(self, "text", text)
        object.__setattr__(self, "_token", token)
        object.__setattr__(self, "_listed", listed)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise AttributeError("a permitted request does not change")

    def __repr__(self) -> str:
        return f"Permitted({self.text!r})"


@dataclass(frozen=True, slots=True)
class Listed:
    """Maker-specific reads that a definition file names, beside the standard ones.

    Attributes:
        dids: two-byte identifiers for service 22.
        lids: one-byte identifiers for service 21.
    """

    dids: frozenset[int] = field(default_factory=frozenset)
    lids: frozenset[int] = field(default_factory=frozenset)

    def allows(self, text: str) -> bool:
        """Whether a request asks for nothing but what is listed."""
        match = _LISTED_READ.fullmatch(text)
        if not match:
            return False
        body = match.group(1)
        if body.startswith("21"):
            return int(body[2:], 16) in self.lids
        asked = {int(body[i : i + 4], 16) for i in range(2, len(body), 4)}
        return asked <= self.dids


def _refusal(text: str) -> str:
    shown = text if len(text) <= LONGEST + 5 else text[: LONGEST + 5] + "…"
    return f"{shown!r} may not be sent: bankwise only reads"


def permit(text: str, listed: Listed | None = None) -> Permitted:
    """Permits a read or a harmless adapter command, in capitals and without spaces.

    Args:
        text: the request, such as `010C0D` or `ATRV`, without carriage return.
        listed: maker-specific reads allowed as well.

    Raises:
        GateRefused: for anything else; nothing is sent.
    """
    if not _passes(text, listed):
        raise GateRefused(_refusal(text))
    return Permitted(text, _KEY, listed=listed)


def _passes(text: str, listed: Listed | None) -> bool:
    return bool(
        _READ.fullmatch(text)
        or _COMMAND.fullmatch(text)
        or (listed is not None and listed.allows(text))
    )


RESYNC: Final = Permitted(_RESYNC_TEXT, _KEY)
"""A space without a carriage return: aborts what runs, does nothing at rest."""


@dataclass(frozen=True, slots=True)
class ClearConditions:
    """What must hold before codes may be cleared.

    Attributes:
        engine_rpm: engine speed just read; 0 with the engine off. None: not known.
        snapshot_saved: the evidence has been written and read back.
        confirmed: the person typed the confirmation asked for.
    """

    engine_rpm: float | None
    snapshot_saved: bool
    confirmed: bool


def clear_token(conditions: ClearConditions) -> ClearToken:
    """Gives leave to clear codes once.

    Raises:
        GateRefused: when a condition does not hold; says which.
    """
    for holds, sentence in (
        (conditions.engine_rpm is not None, "engine speed is not known"),
        (conditions.engine_rpm == 0, "the engine is running"),
        (conditions.snapshot_saved, "the snapshot is not saved"),
        (conditions.confirmed, "it was not confirmed"),
    ):
        if not holds:
            raise GateRefused(f"codes are not cleared: {sentence}")
    return ClearToken(_KEY)


def permit_clear(token: ClearToken, request: str = "04") -> Permitted:
    """Permits one clearing of codes: `04`, or `14FFFF33` for J1979-2.

    Raises:
        GateRefused: for another request, or a token that is none.
    """
    if type(token) is not ClearToken or request not in _CLEAR:
        raise GateRefused(_refusal(request))
    return Permitted(request, _KEY, token=token)


def wire(request: Permitted) -> bytes:
    """The bytes of a permitted request, checked once more before they leave.

    A clearing request spends its token: its bytes are handed out once.

    Raises:
        GateRefused: when the request did not come through this gate.
    """
    if type(request) is not Permitted:
        raise GateRefused("only a permitted request can be sent")
    text = request.text
    if request is RESYNC and text == _RESYNC_TEXT:
        return b" "
    if text in _CLEAR:
        token = request._token  # this module's own record
        if type(token) is not ClearToken:
            raise GateRefused(_refusal(text))
        token._spend()
    elif not _passes(text, request._listed):
        raise GateRefused(_refusal(text))
    return text.encode("ascii") + b"\r"


def all_permitted(texts: Iterable[str]) -> tuple[Permitted, ...]:
    """Permits several requests or none. Raises GateRefused as `permit`."""
    return tuple(permit(text) for text in texts)
