"""The snapshot of a car of SAE J1979-2, which answers by identifier (OBDonUDS).

What services 01 to 0A say elsewhere is read here with services 22 and 19: current data
and counters F4xx, monitor status F501, test results F6xx, vehicle information F8xx,
codes with report types 42 and 55, freeze frames with 04.

Source: services and identifiers from memory of SAE J1979-2 and ISO 14229-1, record
layouts of service 19 as udsoncan reads them. Tried on the simulated unit only, never on
a car. That F501 holds the four bytes of PID 01 is our assumption: an answer of another
length is told as not understood.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from bankwise.adapters import code_reading, monitor_results, vehicle_info
from bankwise.adapters.code_reading import REPORTS
from bankwise.adapters.newest_answers import (
    NewestAnswers,
    again_words,
    numbers_named,
    unanswered,
)
from bankwise.adapters.pids import PIDS, Layout, decode_one
from bankwise.adapters.readiness import COUNTERS, monitor_status
from bankwise.signals.evidence import (
    CodeReading,
    FreezeFrame,
    MonitorResult,
    MonitorStatus,
    Snapshot,
    UnitCodes,
    UnitInfo,
)

STATUS, STATUS_THIS_DRIVE = "22F501", "22F441"
_DATA, _RESULTS, _INFO = 0xF4, 0xF6, 0xF8
_FIRST: Final = (STATUS, *REPORTS.values(), "22F800", "22F600")
_BITMAPS: Final = range(0x00, 0x100, 0x20)
_LAST: Final = 0xFF
"""The last number of a block."""
_INFORMATION: Final = (0x02, 0x04, 0x06, 0x08, 0x0A, 0x0B)
_HEAD: Final = 3
"""Bytes before the data of one identifier: 62 and two of the identifier."""
_CODE_AT, _STATUS_AT, _FRAMES_AT = 2, 5, 6
"""Places in an answer `59 04`: code, its status, first frame."""


def speaks(asked: NewestAnswers) -> bool:
    """True when a unit has answered by identifier, and none with service 01."""

    def told(start: str) -> bool:
        return any(asked.payloads(q) for q in asked.newest if q.startswith(start))

    return told("22F4") and not told("01")


def next_requests(asked: NewestAnswers) -> tuple[str, ...]:
    """What a snapshot still needs to ask."""
    wanted = list(_FIRST)
    data = _named(asked, _DATA)
    wanted += [_request(_DATA, n) for n in sorted(data & {0x41, *COUNTERS, 0x20, 0x40})]
    wanted += [f"1904{code}FF" for code in _codes_met(asked)]
    info = _named(asked, _INFO) & set(_INFORMATION)
    wanted += [_request(_INFO, n) for n in sorted(info)]
    wanted += [_request(_RESULTS, n) for n in sorted(_named(asked, _RESULTS))]
    return tuple(q for q in dict.fromkeys(wanted) if q not in asked.newest)


_NAMES: Final = {
    "1904": "freeze frame",
    "22F6": "test results",
    "22F8": "vehicle information",
    STATUS_THIS_DRIVE: "monitors of this drive",
    **{f"22F4{number:02X}": "since codes were cleared" for number in COUNTERS},
}


def snapshot(asked: NewestAnswers, layout: Layout) -> Snapshot:
    """Everything the answers say about codes and their history.

    Args:
        asked: the newest answer to each request.
        layout: which places the sensor PIDs of a freeze frame stand for.
    """
    since_clear, unclear = _statuses(asked, STATUS)
    frames, cut_short = _frames(asked, layout)
    met = _codes_met(asked)
    readable = {
        STATUS: "monitor status",
        **{request: f"{when} codes" for when, request in REPORTS.items()},
        **{f"1904{code}FF": f"freeze frame of {_name(code)}" for code in met},
    }
    unread = [
        f"{name}: {'; '.join(why)}"
        for request, name in readable.items()
        if (why := asked.trouble(request))
    ]
    unread += unanswered(asked, _NAMES, skip=readable)
    unread += again_words(asked, {**readable, **_NAMES})
    return Snapshot(
        {when: _reading(asked, when) for when in REPORTS},
        since_clear,
        _statuses(asked, STATUS_THIS_DRIVE)[0],
        frames,
        _results(asked),
        _units(asked),
        _counters(asked),
        (*unread, *unclear, *cut_short),
    )


def _name(digits: str) -> str:
    return code_reading.three_byte_name(bytes.fromhex(digits))


def _request(block: int, number: int) -> str:
    return f"22{block:02X}{number:02X}"


def _told(asked: NewestAnswers, request: str) -> Iterator[tuple[str, bytes]]:
    """Unit and data of every answer that repeats the identifier asked for."""
    head = b"\x62" + bytes.fromhex(request[2:])
    for unit, payloads in sorted(asked.payloads(request).items()):
        for payload in payloads:
            if payload.startswith(head):
                yield unit, payload[_HEAD:]


def _named(asked: NewestAnswers, block: int) -> set[int]:
    """Numbers of a block that its bitmaps name."""
    requests = [_request(block, start) for start in _BITMAPS]
    return {
        number
        for request in requests
        for payloads in asked.payloads(request).values()
        for payload in payloads
        for number in numbers_named(payload, 2, _HEAD)
        if number <= _LAST  # the last bitmap's last bit would name one past the block
    }


def _reading(asked: NewestAnswers, when: str) -> CodeReading:
    request = REPORTS[when]
    exchange = asked.newest.get(request)
    trouble = list(asked.trouble(request))
    units = []
    for unit, payloads in sorted(asked.payloads(request).items()):
        lists = [code_reading.codes_of_report(payload, when) for payload in payloads]
        if any(found is None for found in lists):
            trouble.append(f"{unit}: answer of a length that cannot be")
            continue
        codes = [code for found in lists for code in found or ()]
        units.append(
            UnitCodes(
                unit,
                tuple(code.code for code in codes),
                tuple(code.status for code in codes),
            )
        )
    return CodeReading(
        when, None if exchange is None else exchange.t, tuple(units), tuple(trouble)
    )


def _codes_met(asked: NewestAnswers) -> tuple[str, ...]:
    """Stored and pending codes as six digits, each once."""
    codes = [
        code for when in ("stored", "pending") for code in _reading(asked, when).codes
    ]
    return tuple(
        dict.fromkeys(code_reading.three_bytes_of(c).hex().upper() for c in codes)
    )


def _statuses(
    asked: NewestAnswers, request: str
) -> tuple[dict[str, MonitorStatus], list[str]]:
    found, unclear = {}, []
    for unit, data in _told(asked, request):
        status = monitor_status(data)
        if status is None:
            unclear.append(
                f"monitor status: {unit} answers {len(data)} bytes, of which the "
                f"layout is not known: {data.hex().upper()}"
            )
        else:
            found[unit] = status
    return found, unclear


def _frames(
    asked: NewestAnswers, layout: Layout
) -> tuple[tuple[FreezeFrame, ...], list[str]]:
    frames: list[FreezeFrame] = []
    cut_short: list[str] = []
    for request in asked.newest:
        if not request.startswith("1904"):
            continue
        for unit, payloads in sorted(asked.payloads(request).items()):
            for payload in payloads:
                if payload[:_CODE_AT] == b"\x59\x04" and len(payload) >= _FRAMES_AT:
                    found, whole = _unit_frames(unit, payload, layout)
                    frames += found
                    if not whole:
                        why = f"freeze frame: {unit} tells more than is understood"
                        cut_short.append(why)
    return tuple(frames), cut_short


def _unit_frames(
    unit: str, payload: bytes, layout: Layout
) -> tuple[list[FreezeFrame], bool]:
    """The frames of one answer, and whether all of it was understood.

    Each frame is a record number, a count of identifiers, and identifiers with data
    whose lengths only the table of PIDs knows: nothing after an unknown one is read.
    """
    code = code_reading.three_byte_name(payload[_CODE_AT:_STATUS_AT])
    frames: list[FreezeFrame] = []
    at = _FRAMES_AT
    while at + 2 <= len(payload):
        number, count = payload[at], payload[at + 1]
        at += 2
        values: dict[str, float] = {}
        frames.append(FreezeFrame(unit, number, code, values))
        for _ in range(count):
            head = payload[at : at + 2]
            pid = PIDS.get(head[1]) if len(head) == 2 and head[0] == _DATA else None
            if pid is None or at + 2 + pid.length > len(payload):
                return frames, False
            data = payload[at + 2 : at + 2 + pid.length]
            values |= decode_one(pid.number, data, layout)
            at += 2 + pid.length
    return frames, at == len(payload)


def _results(asked: NewestAnswers) -> tuple[MonitorResult, ...]:
    found: list[MonitorResult] = []
    for number in sorted(_named(asked, _RESULTS) - set(_BITMAPS)):
        for unit, data in _told(asked, _request(_RESULTS, number)):
            found += monitor_results.results_of(number, data, unit) or ()
    return tuple(found)


def _units(asked: NewestAnswers) -> tuple[UnitInfo, ...]:
    items: dict[str, dict[int, bytes]] = {}
    for number in _INFORMATION:
        for unit, data in _told(asked, _request(_INFO, number)):
            items.setdefault(unit, {})[number] = data
    return tuple(vehicle_info.unit_info(unit, items[unit]) for unit in sorted(items))


def _counters(asked: NewestAnswers) -> dict[str, float]:
    out: dict[str, float] = {}
    for number in COUNTERS:
        for _, data in _told(asked, _request(_DATA, number)):
            if len(data) == PIDS[number].length:
                out |= decode_one(number, data, Layout.TWO_BANKS)
    return out
