"""Ports are found under the names of every system, the likely ones first."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from bankwise.adapters.errors import PortMissing
from bankwise.adapters.ports import FoundPort, found_ports, only_port


def listed(*names: str, hwid: str = "USB VID:PID=1A86:7523") -> list[SimpleNamespace]:
    """Entries as pyserial gives them."""
    return [
        SimpleNamespace(device=name, description="n/a", hwid=hwid, vid=None)
        for name in names
    ]


def find(*names: str, hwid: str = "x", denied: str = "") -> tuple[FoundPort, ...]:
    """The ports found when the system lists these names."""
    return found_ports(lambda: listed(*names, hwid=hwid), lambda _: denied)


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["/dev/ttyUSB10", "/dev/ttyUSB2", "/dev/rfcomm0"],
         ["/dev/rfcomm0", "/dev/ttyUSB2", "/dev/ttyUSB10"]),
        (["/dev/ttyS0", "/dev/ttyACM0"], ["/dev/ttyACM0", "/dev/ttyS0"]),
        (["/dev/cu.usbserial-110", "/dev/tty.usbserial-110",
          "/dev/cu.Bluetooth-Incoming-Port", "/dev/cu.OBD-Port"],
         ["/dev/cu.OBD-Port", "/dev/cu.usbserial-110"]),
        (["COM12", "COM3"], ["COM3", "COM12"]),
    ],
)  # fmt: skip
def test_names_of_every_system(names: list[str], expected: list[str]) -> None:
    """Linux, macOS and Windows ports come in a person's order, without doubles."""
    assert [port.url for port in find(*names)] == expected


def test_sockets_that_are_not_fitted_are_left_out() -> None:
    """Linux lists serial ports that no board has; they are not shown."""
    assert find("/dev/ttyS0", "/dev/ttyS1", hwid="n/a") == ()


def test_missing_permission_is_said_beforehand() -> None:
    """A port that may not be opened carries the reason."""
    (port,) = find("/dev/ttyUSB0", denied="no permission")
    assert port.trouble == "no permission"
    assert port.likely


def test_what_the_system_calls_it_is_shown() -> None:
    """The description goes beside the kind."""
    entry = SimpleNamespace(
        device="/dev/ttyUSB0", description="USB Serial", hwid="x", vid=0x1A86
    )
    (port,) = found_ports(lambda: [entry], lambda _: "")
    assert port.what == "USB serial: USB Serial"


def test_only_one_likely_port_is_taken_by_itself() -> None:
    """One likely port is the adapter's; none or several are asked about."""
    assert only_port(find("/dev/ttyS0", "/dev/ttyUSB0")) == "/dev/ttyUSB0"
    with pytest.raises(PortMissing, match="no adapter found"):
        only_port(find("/dev/ttyS0"))
    with pytest.raises(PortMissing, match="COM3, COM4"):
        only_port(find("COM4", "COM3"))


def test_this_machine_can_be_asked() -> None:
    """The real list of this machine comes without an error."""
    assert isinstance(found_ports(), tuple)
