"""The recorder: puts records in order of time into a session, once it has a header.

A header names protocol and VIN, so records wait in memory until a vehicle has answered;
`finish` writes a header without them rather than losing what was seen.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import msgspec

from bankwise.adapters.records import AdapterInfo, EndRecord, Header, Record
from bankwise.adapters.session_file import SessionWriter
from bankwise.adapters.source import Recording
from bankwise.adapters.startup import Found
from bankwise.adapters.untaken import untaken


def wall_clock() -> str:
    """Now, as a header's `started` has it: RFC 3339, UTC."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def new_header(
    started: str,
    found: Found,
    port: str | None = None,
    vehicle: Mapping[str, Any] | None = None,
    session_id: str | None = None,
) -> Header:
    """A header for a session.

    Args:
        started: wall clock at session time zero, as `wall_clock` gives it.
        found: what start-up learned; its VIN goes to the vehicle.
        port: how the adapter was reached.
        vehicle: what else is known of the vehicle.
        session_id: by default a new random one.
    """
    known = dict(vehicle or {})
    if found.vin is not None:
        known["vin"] = found.vin
    return Header(
        id=session_id or str(uuid.uuid4()),
        started=started,
        tool=f"bankwise {version('bankwise')}",
        adapter=AdapterInfo(name=found.name, protocol=found.protocol, port=port),
        vehicle=known,
    )


class Recorder:
    """Keeps records in order, writes them, and hands them on."""

    def __init__(
        self,
        path: Path | None,
        header_of: Callable[[Found], Header],
        emit: Callable[[Record], None],
        *,
        durable: bool = True,
    ) -> None:
        """Prepares; no file is made yet.

        Args:
            path: the session file, or None to write none.
            header_of: makes the header from what start-up learned.
            emit: gets every record once there is a header, in order.
            durable: as `SessionWriter`.
        """
        self.header: Header | None = None
        self._path = path
        self._header_of = header_of
        self._emit = emit
        self._durable = durable
        self._writer: SessionWriter | None = None
        self._held: list[Record] = []
        self._last_t = 0.0

    @property
    def recording(self) -> Recording:
        """The state of the session file."""
        writer = self._writer
        if writer is None:
            return Recording(self._path)
        return Recording(self._path, writer.size, writer.sealed_t, writer.error)

    def begin(self, found: Found) -> None:
        """Makes the header and the file; what waited comes first. Once only."""
        if self.header is not None:
            return
        header = self._header_of(found)
        if self._path is not None:
            self._path = untaken(self._path)
            self._writer = SessionWriter(self._path, header, durable=self._durable)
        self.header = header
        held, self._held = self._held, []
        for record in held:
            self._put(record)

    def keep(self, records: Sequence[Record]) -> None:
        """Takes records; a time before the last one becomes the last one's."""
        for record in sorted(records, key=lambda one: one.t):
            kept = record
            if record.t < self._last_t:
                kept = msgspec.structs.replace(record, t=self._last_t)
            self._last_t = kept.t
            if self.header is None:
                self._held.append(kept)
            else:
                self._put(kept)

    def finish(self, found: Found, t: float) -> None:
        """Ends the session in good order at session time `t`."""
        if self.header is None and self._held:
            self.begin(found)
        end = max(t, self._last_t)
        if self._writer is not None:
            self._writer.close(end)
        if self.header is not None:
            self._emit(EndRecord(end))

    def _put(self, record: Record) -> None:
        if self._writer is not None:
            self._writer.write(record)
        self._emit(record)
