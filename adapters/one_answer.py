"""One exchange, read frame by frame: what it gives, and why it gives no more."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Final

from bankwise.adapters.asked import Asked, asked, walk
from bankwise.adapters.code_reading import (
    REPORTS,
    SERVICES,
    codes_in,
    codes_of_report,
)
from bankwise.adapters.definitions import NONE, Definitions
from bankwise.adapters.frames import (
    Answer,
    BusFault,
    Data,
    Malformed,
    Negative,
    Silent,
    answers,
)
from bankwise.adapters.misfire_counts import is_misfire_request, misfire_counts
from bankwise.adapters.records import Exchange
from bankwise.adapters.vehicle_info import VIN, item, text

_VIN_REQUEST: Final = f"09{VIN:02X}"
_VIN_BY_IDENTIFIER: Final = "22F802"
"""Source: SAE J1979-2, from memory: F8xx as information type xx."""
_REPORT_SETS: Final = {request: when for when, request in REPORTS.items()}
_VIN_LENGTH: Final = 17
_VOLTAGE: Final = re.compile(r"(\d{1,2}(?:\.\d{1,3})?)V?")


@dataclass(slots=True)
class OneAnswer:
    """What one exchange gives.

    Attributes:
        pids: PIDs of current data asked for.
        data: their bytes by control unit and PID.
        volts: supply voltage as the adapter measures it. Unit: V.
        values: maker-specific values and misfire counts by signal name.
        vin: vehicle identification number that a unit told.
        when, codes: which set of trouble codes was read, and the codes.
        rejects: why messages gave nothing, an entry a message.
    """

    pids: tuple[int, ...] = ()
    data: dict[str, dict[int, bytes]] = field(default_factory=dict)
    volts: float | None = None
    values: dict[str, float] = field(default_factory=dict)
    vin: str = ""
    when: str = ""
    codes: tuple[str, ...] = ()
    rejects: list[str] = field(default_factory=list)


def one_answer(
    exchange: Exchange, protocol: str, maker: Definitions = NONE
) -> OneAnswer:
    """Reads one exchange.

    Args:
        exchange: the exchange.
        protocol: the adapter's protocol number.
        maker: maker-specific values that the session describes.
    """
    request = asked(exchange.q)
    if request is None:
        return _adapter(exchange)
    told = answers(exchange, protocol)
    out = OneAnswer(request.pids, rejects=[w for a in told if (w := _why(a))])
    good = [answer for answer in told if isinstance(answer, Data)]
    if request.pids:
        _current(good, request, out)
    elif request.text in SERVICES:
        _codes(good, SERVICES[request.text], out)
    elif request.text in _REPORT_SETS:
        _reported(good, _REPORT_SETS[request.text], out)
    elif request.text in maker.by_request:
        payloads = [(answer.ecu, answer.payload) for answer in good]
        out.values = maker.values(request.text, payloads)
        if good and not out.values:
            out.rejects.append("not as described, or outside its sane range")
    elif is_misfire_request(request.text):
        payloads = [(answer.ecu, answer.payload) for answer in good]
        out.values = misfire_counts(request.text, payloads)
    elif request.text == _VIN_REQUEST:
        _vin(good, out)
    elif request.text == _VIN_BY_IDENTIFIER:
        _vin_by_identifier(good, out)
    return out


def _why(answer: Answer) -> str:
    match answer:
        case Negative(_, _, nrc):
            return f"refused with {nrc:02X}"
        case Malformed(why):
            return why
        case BusFault(word):
            return word
        case Silent():
            return "no answer"
    return ""


def _adapter(exchange: Exchange) -> OneAnswer:
    out = OneAnswer()
    if exchange.q.upper().replace(" ", "") == "ATRV" and not exchange.e:
        for line in exchange.a:
            match = _VOLTAGE.fullmatch(line.upper().replace(" ", ""))
            if match:
                out.volts = float(match[1])
    return out


def _current(good: list[Data], request: Asked, out: OneAnswer) -> None:
    """Data bytes by unit; a unit that tells a PID twice tells nothing."""
    for answer in good:
        mine = out.data.setdefault(answer.ecu, {})
        pieces = walk(answer.payload, request)
        if pieces is None:
            out.rejects.append("not what was asked, or of wrong length")
            continue
        for piece in pieces:
            if piece.pid in mine:
                out.rejects.append("told twice")
                out.data[answer.ecu] = mine = {}
                break
            data = answer.payload[piece.start : piece.start + piece.length]
            mine[piece.pid] = data
    out.data = {unit: data for unit, data in out.data.items() if data}


def _codes(good: list[Data], when: str, out: OneAnswer) -> None:
    found: dict[str, None] = {}
    read = False
    for answer in good:
        service = answer.payload[0] ^ 0x40
        can = len(answer.ecu) > 2
        codes = codes_in(answer.payload, counted=can)
        if codes is None or SERVICES.get(f"{service:02X}") != when:
            out.rejects.append("not what was asked, or of wrong length")
            continue
        read = True
        found |= dict.fromkeys(codes)
    if read:
        out.when, out.codes = when, tuple(found)


def _reported(good: list[Data], when: str, out: OneAnswer) -> None:
    """Codes of SAE J1979-2, with their failure type."""
    found: dict[str, None] = {}
    for answer in good:
        codes = codes_of_report(answer.payload, when)
        if codes is None:
            out.rejects.append("not what was asked, or of wrong length")
            continue
        out.when = when
        found |= dict.fromkeys(code.code for code in codes)
    out.codes = tuple(found)


def _vin_by_identifier(good: list[Data], out: OneAnswer) -> None:
    head = b"\x62" + bytes.fromhex(_VIN_BY_IDENTIFIER[2:])
    for answer in sorted(good, key=lambda one: one.ecu):
        if answer.payload.startswith(head):
            _keep_vin(text(answer.payload[len(head) :]), out)
        if out.vin:
            return


def _keep_vin(vin: str, out: OneAnswer) -> None:
    if len(vin) == _VIN_LENGTH and vin.isalnum() and vin.isascii():
        out.vin = vin


def _vin(good: list[Data], out: OneAnswer) -> None:
    by_unit: dict[str, list[bytes]] = {}
    for answer in good:
        by_unit.setdefault(answer.ecu, []).append(answer.payload)
    for unit in sorted(by_unit):
        found = item(by_unit[unit], counted=len(unit) > 2)
        if found is None or found[0] != VIN:
            continue
        _keep_vin(text(found[1]), out)
        if out.vin:
            return
