"""What to do about an adapter that cannot be reached, beside what is wrong with it."""

from __future__ import annotations

from bankwise.adapters.errors import (
    AdapterError,
    LinkLost,
    NoAdapter,
    NoVehicle,
    PortBusy,
    PortMissing,
)
from bankwise.tui.address import meant


def with_advice(error: AdapterError) -> str:
    """The error's sentence, and after it what can be done."""
    text = str(error)
    advice = _advice(error, text)
    return f"{text}; {advice}" if advice else text


def _advice(error: AdapterError, text: str) -> str:
    if isinstance(error, PortMissing):
        named = next(filter(None, map(meant, text.split())), "")
        if named:
            return f"an adapter on the network is named {named}"
        if text.startswith(("nothing listens", "there is no host")):
            return (
                "is the adapter powered, and this computer in its network? "
                "The address and port are in its papers"
            )
        if text.startswith("there is no "):
            return "plug it in or pair it; `bankwise ports` lists what is there"
        return ""
    if isinstance(error, PortBusy):
        return "close the other program, or end what still runs in the background"
    if isinstance(error, LinkLost):
        return "check the plug and the adapter's supply"
    if isinstance(error, NoAdapter):
        return "is it the right port? `bankwise ports` lists what is there"
    if isinstance(error, NoVehicle):
        return "" if "ignition" in text else "is the ignition on?"
    return ""
