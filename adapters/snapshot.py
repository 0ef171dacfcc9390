"""The snapshot of codes and their history: what to ask, and what the answers say.

Both are pure functions of the exchanges so far. `next_requests` names what is still to
be asked; ask it, and call again until nothing is left. `snapshot` reads the newest
answer to each request. So a recorded session gives the same snapshot as the car did.
A car that answers by identifier (SAE J1979-2) is read by `identifier_snapshot`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from bankwise.adapters import (
    code_reading,
    freeze_frame,
    identifier_snapshot,
    monitor_results,
    vehicle_info,
)
from bankwise.adapters.decode import Decoder
from bankwise.adapters.frames import answers
from bankwise.adapters.newest_answers import (
    CLEARING,
    NewestAnswers,
    again_words,
    is_cleared,
    newest_answers,
    numbers_named,
    plain,
    unanswered,
)
from bankwise.adapters.pids import PIDS, Layout, decode_one
from bankwise.adapters.readiness import COUNTERS, monitor_status
from bankwise.adapters.records import Exchange, Record
from bankwise.adapters.session_file import Session
from bankwise.signals.evidence import (
    CodeReading,
    FreezeFrame,
    MonitorResult,
    MonitorStatus,
    Snapshot,
    UnitCodes,
    UnitInfo,
)

_INFORMATION: Final = (0x02, 0x04, 0x06, 0x08, 0x0A, 0x0B)
_FIRST: Final = ("0101", "03", "07", "0A", "020000", "0900")
_BITMAPS: Final = range(0x00, 0x100, 0x20)
"""Numbers whose answer says which of the next 32 numbers exist."""
_SUPPORT: Final = ("0100", "0120", "0140")


def _read_here(request: str) -> bool:
    return request[:2] != "01" or request in _STATUS_REQUESTS


def _asked(records: Iterable[Record], protocol: str) -> NewestAnswers:
    return newest_answers(records, protocol, _read_here)


_STATUS_REQUESTS: Final = {
    "0101",
    "0141",
    *_SUPPORT,
    *(f"01{number:02X}" for number in COUNTERS),
}


def _supported(asked: NewestAnswers, requests: Iterable[str], width: int) -> set[int]:
    return {
        number
        for request in requests
        for payloads in asked.payloads(request).values()
        for payload in payloads
        for number in numbers_named(payload, 1, width)
    }


def next_requests(records: Sequence[Record], protocol: str) -> tuple[str, ...]:
    """What a snapshot still needs to ask, given what was asked since it began.

    Args:
        records: the records since the snapshot began.
        protocol: the adapter's protocol number.
    """
    asked = _asked(records, protocol)
    if identifier_snapshot.speaks(asked):
        return identifier_snapshot.next_requests(asked)
    wanted = list(_FIRST)
    wanted += [f"01{number:02X}" for number in _status_pids(asked)]
    frame_bitmaps = [f"02{start:02X}00" for start in _BITMAPS]
    frame = _supported(asked, frame_bitmaps, 3)
    wanted += [f"02{n:02X}00" for n in sorted(frame | {0x02}) if n in PIDS]
    info = _supported(asked, ["0900"], 2 if asked.on_can else 3)
    wanted += [f"09{n:02X}" for n in sorted(info & set(_INFORMATION))]
    starts = [f"06{start:02X}" for start in _BITMAPS]
    monitors = _supported(asked, starts, 2 if asked.on_can else 3)
    wanted += ["0600", *(f"06{n:02X}" for n in sorted(monitors))]
    return tuple(q for q in dict.fromkeys(wanted) if q not in asked.newest)


def _status_pids(asked: NewestAnswers) -> list[int]:
    known = _supported(asked, _SUPPORT, 2)
    if not known:
        return []
    return sorted(known & {0x41, *COUNTERS}) + sorted(known & {0x20, 0x40})


def _reading(asked: NewestAnswers, service: str, when: str) -> CodeReading:
    exchange = asked.newest.get(service)
    trouble = list(asked.trouble(service))
    units = []
    for unit, payloads in sorted(asked.payloads(service).items()):
        lists = [code_reading.codes_in(p, counted=asked.on_can) for p in payloads]
        if any(found is None for found in lists):
            trouble.append(f"{unit}: answer shorter than it says")
            continue
        units.append(UnitCodes(unit, tuple(c for found in lists for c in found or ())))
    return CodeReading(
        when, None if exchange is None else exchange.t, tuple(units), tuple(trouble)
    )


def _statuses(asked: NewestAnswers, request: str) -> dict[str, MonitorStatus]:
    out = {}
    for unit, payloads in sorted(asked.payloads(request).items()):
        status = monitor_status(payloads[-1][2:6])
        if status is not None:
            out[unit] = status
    return out


def _frames(asked: NewestAnswers, layout: Layout) -> tuple[FreezeFrame, ...]:
    triples: dict[str, list[tuple[int, int, bytes]]] = {}
    for request in asked.newest:
        if request[:2] != "02":
            continue
        for unit, payloads in asked.payloads(request).items():
            for payload in payloads:
                triples.setdefault(unit, []).extend(freeze_frame.pieces(payload) or ())
    return tuple(
        frame
        for unit in sorted(triples)
        for frame in freeze_frame.freeze_frames(unit, triples[unit], layout)
    )


def _results(asked: NewestAnswers) -> tuple[MonitorResult, ...]:
    found: list[MonitorResult] = []
    for request in sorted(asked.newest):
        if request[:2] != "06" or int(request[2:4] or "0", 16) in _BITMAPS:
            continue
        for unit, payloads in sorted(asked.payloads(request).items()):
            for payload in payloads:
                if asked.on_can:
                    found += monitor_results.results_in(payload, unit) or ()
                elif result := monitor_results.older_result(payload, unit):
                    found.append(result)
    return tuple(found)


def _units(asked: NewestAnswers) -> tuple[UnitInfo, ...]:
    items: dict[str, dict[int, bytes]] = {}
    for request in asked.newest:
        if request[:2] != "09" or request == "0900":
            continue
        for unit, payloads in asked.payloads(request).items():
            found = vehicle_info.item(payloads, counted=asked.on_can)
            if found is not None:
                items.setdefault(unit, {})[found[0]] = found[1]
    return tuple(vehicle_info.unit_info(unit, items[unit]) for unit in sorted(items))


def _counters(asked: NewestAnswers) -> dict[str, float]:
    out: dict[str, float] = {}
    for number in COUNTERS:
        for payloads in asked.payloads(f"01{number:02X}").values():
            out |= decode_one(number, payloads[-1][2:], Layout.TWO_BANKS)
    return out


_READABLE: Final = {
    "0101": "monitor status",
    "03": "stored codes",
    "07": "pending codes",
    "0A": "permanent codes",
    "020200": "freeze frame",
}
_NAMES: Final = {
    **_READABLE,
    "02": "freeze frame",
    "06": "test results",
    "09": "vehicle information",
    "0141": "monitors of this drive",
    **{f"01{number:02X}": "since codes were cleared" for number in COUNTERS},
}
"""What a request reads, by how it begins."""


def snapshot(
    records: Iterable[Record], protocol: str, layout: Layout = Layout.TWO_BANKS
) -> Snapshot:
    """Everything the records say about codes and their history.

    Args:
        records: exchanges in order; other records are passed over.
        protocol: the adapter's protocol number.
        layout: which places the sensor PIDs of a freeze frame stand for.
    """
    asked = _asked(records, protocol)
    if identifier_snapshot.speaks(asked):
        return identifier_snapshot.snapshot(asked, layout)
    unread = [
        f"{name}: {'; '.join(why)}"
        for request, name in _READABLE.items()
        if (why := asked.trouble(request))
    ]
    unread += unanswered(asked, _NAMES, skip=_READABLE)
    unread += again_words(asked, _NAMES)
    return Snapshot(
        {
            when: _reading(asked, service, when)
            for service, when in code_reading.SERVICES.items()
        },
        _statuses(asked, "0101"),
        _statuses(asked, "0141"),
        _frames(asked, layout),
        _results(asked),
        _units(asked),
        _counters(asked),
        tuple(unread),
    )


def session_snapshot(session: Session) -> Snapshot:
    """What a recorded session says about codes and their history."""
    decoder = Decoder(session.header)
    decoder.feed(session.records)
    protocol = session.header.adapter.protocol
    return snapshot(session.records, protocol, decoder.units.layout)


def before_clearing(session: Session) -> Snapshot | None:
    """The evidence as it stood when codes were last cleared; None when they were not.

    Clearing wipes it in the car, never in the session.
    """
    at = _clearings(session)
    if not at:
        return None
    return session_snapshot(replace(session, records=session.records[: at[-1]]))


def cleared_at(session: Session) -> tuple[float, ...]:
    """The moments at which the car took an order to clear its codes. Unit: seconds."""
    return tuple(session.records[i].t for i in _clearings(session))


def _clearings(session: Session) -> list[int]:
    """Indices of the exchanges that cleared codes."""
    protocol = session.header.adapter.protocol
    return [
        i
        for i, record in enumerate(session.records)
        if isinstance(record, Exchange)
        and plain(record.q) in CLEARING
        and is_cleared(answers(record, protocol))
    ]
