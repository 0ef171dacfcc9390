"""Ports that may hold an adapter, on Linux, macOS and Windows.

pyserial lists what the system knows; this adds what a person needs: the likely ones
first, the duplicates of macOS left out, and missing permission said before it hurts.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from serial.tools.list_ports import comports

from bankwise.adapters.errors import PortMissing

_KINDS: Final[tuple[tuple[str, str, bool], ...]] = (
    (r"/dev/rfcomm\d+", "Bluetooth serial", True),
    (r"/dev/ttyUSB\d+", "USB serial", True),
    (r"/dev/ttyACM\d+", "USB serial", True),
    (r"/dev/cu\.(usb|wchusb|SLAB).*", "USB serial", True),
    (r"/dev/cu\.(Bluetooth-Incoming-Port|debug-console|wlan-debug)", "system", False),
    (r"/dev/cu\..*", "Bluetooth serial", True),
    (r"/dev/tty\..*", "", False),
    (r"/dev/tty(S|AMA)\d+", "built-in serial", False),
    (r"COM\d+", "serial", True),
)
"""Name pattern, what it is, whether an adapter is likely there. An empty kind is left
out: macOS lists each port twice, and `tty.` waits for a carrier that never comes."""


@dataclass(frozen=True, slots=True)
class FoundPort:
    """One port that exists now.

    Attributes:
        url: what to give as `--port`.
        what: what kind of port it is, and what the system calls it.
        likely: an adapter may well be there.
        trouble: why it cannot be opened, in words, or empty.
    """

    url: str
    what: str
    likely: bool
    trouble: str = ""


def _denied(url: str) -> str:
    if sys.platform == "win32" or not os.path.exists(url):
        return ""
    if os.access(url, os.R_OK | os.W_OK):
        return ""
    return "no permission: join the group that owns it, often dialout, and log in again"


def _number(url: str) -> tuple[str, int]:
    digits = re.search(r"\d+$", url)
    return (url.rstrip("0123456789"), int(digits[0]) if digits else -1)


def found_ports(
    listed: Callable[[], Iterable[Any]] = comports,
    denied: Callable[[str], str] = _denied,
) -> tuple[FoundPort, ...]:
    """Every port worth showing, the likely ones first.

    Args:
        listed: gives entries with `device`, `description`, `hwid` and `vid`.
        denied: says why a port cannot be opened, or an empty string.
    """
    found: list[FoundPort] = []
    for port in listed():
        url = str(port.device)
        kind, likely = "serial", True
        for pattern, known, is_likely in _KINDS:
            if re.fullmatch(pattern, url):
                kind, likely = known, is_likely
                break
        if not kind or kind == "system":
            continue
        if port.vid is None and port.hwid in ("n/a", "") and kind == "built-in serial":
            continue  # the system lists sockets that are not fitted
        described = (
            port.description if port.description not in ("n/a", "", None) else ""
        )
        what = f"{kind}: {described}" if described and described != url else kind
        found.append(FoundPort(url, what, likely, denied(url)))
    return tuple(sorted(found, key=lambda one: (not one.likely, *_number(one.url))))


def only_port(ports: Iterable[FoundPort] | None = None) -> str:
    """The one port where an adapter is likely.

    Raises:
        PortMissing: when there is none, or more than one to choose from.
    """
    likely = [
        one.url for one in (found_ports() if ports is None else ports) if one.likely
    ]
    if len(likely) == 1:
        return likely[0]
    if likely:
        raise PortMissing(f"more than one port: {', '.join(likely)}; say which")
    raise PortMissing(
        "no adapter found: plug it in, pair it, or give its address, "
        "such as socket://192.168.0.10:35000"
    )
