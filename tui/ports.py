"""Which port to use when the person named none."""

from __future__ import annotations

from bankwise.tui.errors import CommandError


def only_adapter() -> str:
    """The one port found.

    Raises:
        CommandError: when there is none, or more than one.
    """
    from serial.tools.list_ports import comports

    found = [port.device for port in comports() if port.hwid != "n/a"]
    if not found:
        raise CommandError("no adapter found; name its port with --port")
    if len(found) > 1:
        names = ", ".join(sorted(found))
        raise CommandError(f"more than one port: {names}; name one with --port")
    return str(found[0])
