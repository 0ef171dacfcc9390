"""How an adapter on the network is named, and what was meant by something like it."""

from __future__ import annotations

import re

NETWORK = "socket://"
_HOST_AND_PORT = re.compile(r"(?:[A-Za-z0-9.\-]+|\[[0-9a-fA-F:]+\]):(\d{1,5})")
_LAST_PORT = 65535


def meant(url: str) -> str:
    """The address that was meant when its scheme was left out; else empty.

    `127.0.0.1:35000` is a host and a port, never the name of a serial port.
    """
    found = _HOST_AND_PORT.fullmatch(url.strip())
    if found is None or not 1 <= int(found[1]) <= _LAST_PORT:
        return ""
    return NETWORK + url.strip()
