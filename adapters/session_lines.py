"""Lines of a session file into records: quick when all is well, patient when not.

Strict about what a record means, lenient about how it is written: unknown kinds are
kept, unknown keys skipped, and an exchange without its optional parts still counts.
A line that is not a record is counted, never guessed at.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import msgspec

from bankwise.adapters.errors import NoHeader, SessionError
from bankwise.adapters.records import (
    FORMAT,
    AdapterInfo,
    ClearedRecord,
    CodesRecord,
    EndRecord,
    Exchange,
    FlagRecord,
    Header,
    LinkRecord,
    MarkRecord,
    Other,
    Record,
    SealRecord,
)

_Known = (
    Exchange
    | MarkRecord
    | LinkRecord
    | CodesRecord
    | FlagRecord
    | ClearedRecord
    | SealRecord
    | EndRecord
)

_DECODER: msgspec.json.Decoder[_Known] = msgspec.json.Decoder(_Known)
_LEAP_S = 86_400.0
"""A step ahead longer than this is a clock gone wrong, not a drive.

Unit: seconds. Source: our choice, because no drive lasts a day between two records.
"""

_NO_TIME = 1e15
"""Stands for the time of a record that has none, and bounds those that have one."""

_KINDS: dict[str, type[_Known]] = {
    "x": Exchange,
    "mark": MarkRecord,
    "link": LinkRecord,
    "codes": CodesRecord,
    "flag": FlagRecord,
    "cleared": ClearedRecord,
    "seal": SealRecord,
    "end": EndRecord,
}

BOM = b"\xef\xbb\xbf"
"""Some editors put it at the start of a text file. Source: Unicode, section 23.8."""

_HEADER_KEYS = ("format", "id", "started", "tool")

_BLOCK = 1 << 18
"""Bytes decoded at a stroke; a broken line costs patience for its block only."""

_MOST_RESTARTS = 1000
"""A file whose clock begins anew more often is out of order: moved on, its drive would
seem to last for weeks. Our choice."""
_RESTART_S = 2.0
"""A step back longer than this is a clock that began anew, a shorter one is jitter.

Unit: seconds. Source: our choice, because one exchange lasts well below a second.
"""


def parse_header(line: bytes, name: str) -> tuple[Header, list[str]]:
    """The header of a session, and warnings about what it lacks.

    Args:
        line: the first line of the file.
        name: the file's name, for the message.

    Raises:
        NoHeader: when the line is not the header of a session.
        SessionError: when the session is of another format.
    """
    try:
        raw = _printable(json.loads(line.removeprefix(BOM)))
    except (ValueError, RecursionError):
        raise NoHeader(f"{name} is not a session file") from None
    if not isinstance(raw, dict) or raw.get("k") != "session":
        raise NoHeader(f"{name} is not a session file: no session header")
    number = raw.get("format", FORMAT)
    if isinstance(number, str):
        number = number.partition(".")[0]
        number = int(number) if number.isdecimal() else None
    if not isinstance(number, int | float) or not FORMAT <= number < FORMAT + 1:
        raise SessionError(
            f"{name} is of session format {raw.get('format')}; "
            f"this version reads format {FORMAT}"
        )
    lacking = [key for key in _HEADER_KEYS if not _text(raw.get(key))]
    adapter = raw.get("adapter")
    if not isinstance(adapter, dict):
        lacking.append("adapter")
        adapter = {}
    vehicle = raw.get("vehicle")
    header = Header(
        id=_text(raw.get("id")),
        started=_text(raw.get("started")),
        tool=_text(raw.get("tool")),
        adapter=AdapterInfo(
            name=_text(adapter.get("name")),
            protocol=_text(adapter.get("protocol")),
            port=_text(adapter.get("port")) or None,
        ),
        vehicle=vehicle if isinstance(vehicle, dict) else {},
        format=FORMAT,
        sealing=1 if raw.get("sealing") == 1 else 0,
    )
    return header, [f"the header lacks {', '.join(lacking)}"] if lacking else []


def _printable(value: Any) -> Any:
    """The same value; half a surrogate pair, which no terminal takes, becomes `?`."""
    match value:
        case str():
            return value.encode("utf-8", "replace").decode()
        case list():
            return [_printable(item) for item in value]
        case dict():
            return {_printable(key): _printable(item) for key, item in value.items()}
    return value


def _text(value: Any) -> str:
    return str(value) if isinstance(value, str | int | float) else ""


@dataclass(slots=True)
class LineReader:
    """Turns bytes of whole lines into records whose time never goes back.

    Attributes:
        dropped: lines that were no records.
        restarts: times the clock began anew or leapt; later records were moved on.
        jitter: records a little earlier than the one before; moved up to it.
        name: of the file, for messages.
    """

    dropped: int = 0
    restarts: int = 0
    jitter: int = 0
    name: str = ""
    _last: float = field(default=0.0)
    _shift: float = field(default=0.0)

    def read(self, data: bytes) -> list[Record]:
        """The records in some whole lines. Fast where every line is a record.

        Raises:
            SessionError: when the records are in no order of time.
        """
        records: list[Record] = []
        start = 0
        while start < len(data):
            stop = data.find(b"\n", start + _BLOCK) + 1 or len(data)
            block = data[start:stop]
            try:
                records.extend(_DECODER.decode_lines(block))
            except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
                records.extend(self._read_patiently(block))
            start = stop
        return self._straighten(records)

    def _read_patiently(self, block: bytes) -> Iterator[Record]:
        for line in block.split(b"\n"):
            if not line.strip():
                continue
            record = _one(line)
            if record is None:
                self.dropped += 1
            else:
                yield record

    def _straighten(self, records: list[Record]) -> list[Record]:
        """Moves records so that time never goes back; nearly always a no-op."""
        last, shift = self._last, self._shift
        for i, record in enumerate(records):
            t = record.t + shift
            if last <= t <= last + _LEAP_S:
                last = t
                if not shift:
                    continue
            elif last - _RESTART_S <= t < last:
                self.jitter += 1
                t = last
            elif isinstance(record, Other) and record.t == _NO_TIME:
                t = last
            else:
                self.restarts += 1
                if abs(t) < _NO_TIME:
                    shift += last - t
                t = last
            records[i] = msgspec.structs.replace(record, t=t)
        self._last, self._shift = last, shift
        if self.restarts > _MOST_RESTARTS:
            raise SessionError(
                f"{self.name or 'the file'}: time leaps more than {_MOST_RESTARTS} "
                "times: its records are in no order"
            )
        return records

    def warnings(self) -> list[str]:
        """What was odd, a sentence each."""
        out = []
        if self.restarts:
            out.append(
                f"time leaps {_times(self.restarts)}: the clock began anew, "
                "what follows was moved on"
            )
        if self.jitter:
            out.append(
                f"time goes back a little {_times(self.jitter)}: "
                "such records count at the moment before them"
            )
        return out


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _one(line: bytes) -> Record | None:
    """One line as a record, None when it is none."""
    try:
        return _DECODER.decode(line)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        pass
    try:  # a remark typed in another encoding still counts
        raw = msgspec.json.decode(line.decode("utf-8", "replace"))
    except (msgspec.MsgspecError, RecursionError):
        return None
    if not isinstance(raw, dict) or not isinstance(raw.get("k"), str):
        return None
    kind = _KINDS.get(raw["k"])
    if kind is None:
        return Other(_moment(raw.get("t")), line.strip())
    try:
        return msgspec.convert(_mended(kind, raw), kind, strict=False)
    except (msgspec.MsgspecError, OverflowError):
        return None


def _moment(t: Any) -> float:
    return float(t) if isinstance(t, int | float) else _NO_TIME


def _mended(kind: type[_Known], raw: dict[str, Any]) -> dict[str, Any]:
    """The same object with optional parts of an exchange filled in."""
    if kind is Exchange:
        answer = raw.get("a")
        if answer is None:
            raw["a"] = []
        elif isinstance(answer, str):
            raw["a"] = answer.split()
        if raw.get("d") is None:
            raw["d"] = 0.0
    return raw
