"""What can go wrong between this program, a port, an adapter and a file.

    AdapterError
    ├── GateRefused        a request that may not be sent to a vehicle
    ├── LinkError          the way to the adapter
    │   ├── PortMissing    no such port, host or device
    │   ├── PortDenied     the port exists, the user may not open it
    │   ├── PortBusy       another program holds the port
    │   └── LinkLost       the open link went away
    ├── NoAdapter          something is there, but it does not speak as an adapter
    ├── NoVehicle          the adapter answers, the vehicle does not
    ├── SessionError       a session file that cannot be read or written
    │   └── NoHeader       its first line is no header of a session
    └── ImportFault        a table or its map that cannot become a session

Each carries one plain sentence, and a short human title as `title`. What a car answers
is never an error: bad replies, refusals and silence are values.
"""

from __future__ import annotations

from typing import ClassVar


class AdapterError(Exception):
    """Anything this folder raises on purpose."""

    title: ClassVar[str] = "Adapter"


class GateRefused(AdapterError):
    """A request that may not be sent to a vehicle; nothing was sent."""

    title: ClassVar[str] = "Not allowed"


class LinkError(AdapterError):
    """The way to the adapter cannot be used."""

    title: ClassVar[str] = "Connection"


class PortMissing(LinkError):
    """There is no such port, host or device."""

    title: ClassVar[str] = "Port not found"


class PortDenied(LinkError):
    """The port exists, but this user may not open it."""

    title: ClassVar[str] = "No permission"


class PortBusy(LinkError):
    """Another program holds the port."""

    title: ClassVar[str] = "Port busy"


class LinkLost(LinkError):
    """The link was open and went away."""

    title: ClassVar[str] = "Connection lost"


class NoAdapter(AdapterError):
    """Something is there, but it does not answer as an adapter does."""

    title: ClassVar[str] = "No adapter"


class NoVehicle(AdapterError):
    """The adapter answers, the vehicle does not."""

    title: ClassVar[str] = "No vehicle"


class SessionError(AdapterError):
    """A session file that cannot be read or written."""

    title: ClassVar[str] = "Session file"


class NoHeader(SessionError):
    """The first line of a file is no header of a session."""

    title: ClassVar[str] = "No header"


class ImportFault(AdapterError):
    """A table or its map that cannot become a session."""

    title: ClassVar[str] = "Import"
