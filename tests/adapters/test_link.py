"""Links: real ports of every kind, and every foreign error mapped to one of ours."""

from __future__ import annotations

import errno
import os
import select
import socket
import sys
import threading

import pytest
import serial

from bankwise.adapters import errors
from bankwise.adapters.errors import (
    AdapterError,
    LinkError,
    LinkLost,
    PortBusy,
    PortDenied,
    PortMissing,
)
from bankwise.adapters.gate import permit
from bankwise.adapters.link import PortLink, link_error

on_posix = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo terminals")


@on_posix
def test_pseudo_terminal_carries_bytes_both_ways() -> None:
    """What is permitted arrives with a carriage return, what comes is read whole."""
    ours, theirs = os.openpty()
    link = PortLink(os.ttyname(theirs))
    os.close(theirs)
    link.write(permit("010C"))
    assert os.read(ours, 100) == b"010C\r"
    os.write(ours, b"7E804410C1AF8\r\r>")
    assert link.read(60.0) == b"7E804410C1AF8\r\r>"
    began = link.now()
    assert link.read(0.05) == b""
    assert link.now() - began > 0.04
    link.close()
    link.close()
    os.close(ours)


@on_posix
def test_vanished_port_is_lost() -> None:
    """A port that goes away under a read is a lost link, said in words."""
    ours, theirs = os.openpty()
    name = os.ttyname(theirs)
    link = PortLink(name)
    os.close(theirs)
    os.close(ours)
    with pytest.raises(LinkLost, match=f"{name} went away"):
        link.read(0.2)
    link.close()
    with pytest.raises(LinkLost):
        link.read(0.0)


@on_posix
def test_port_in_use_is_busy() -> None:
    """A second program on the same port is told that it is in use."""
    ours, theirs = os.openpty()
    name = os.ttyname(theirs)
    link = PortLink(name)
    with pytest.raises(PortBusy, match="in use"):
        PortLink(name)
    link.close()
    os.close(theirs)
    os.close(ours)


def test_socket_carries_bytes_and_its_end_is_noticed() -> None:
    """A TCP adapter is read in one piece; its hanging up is a lost link at once."""
    server = socket.create_server(("127.0.0.1", 0))
    port = server.getsockname()[1]
    link = PortLink(f"socket://127.0.0.1:{port}")
    there, _ = server.accept()
    link.write(permit("0100"))
    assert there.recv(100) == b"0100\r"
    there.sendall(b"x" * 300 + b">")
    # Once the last byte is seen to wait, all 301 are there.
    inside = link._port._socket
    while select.select([inside], [], [], 60.0)[0]:
        if len(inside.recv(1000, socket.MSG_PEEK)) == 301:
            break
    assert len(link.read(60.0)) == 301
    assert link.baud is None
    closing = threading.Timer(0.1, there.close)
    closing.start()
    with pytest.raises(LinkLost):
        link.read(600.0)
    closing.join()
    link.close()
    server.close()


def test_nothing_listening_is_missing() -> None:
    """A refused connection says that nothing listens there."""
    server = socket.create_server(("127.0.0.1", 0))
    port = server.getsockname()[1]
    server.close()
    with pytest.raises(PortMissing, match="nothing listens"):
        PortLink(f"socket://127.0.0.1:{port}")


@pytest.mark.parametrize(
    "url",
    ["/dev/no-such-port", "COM777", "socket://", "socket://x", "nonsense://a", ""],
)
def test_bad_names_give_one_plain_line(url: str) -> None:
    """Whatever a person types as a port, the error is ours and one line long."""
    with pytest.raises(LinkError) as caught:
        PortLink(url)
    assert "\n" not in str(caught.value)
    assert caught.value.title


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("socket://127.0.0.1", "lacks its number: socket://127.0.0.1:35000, say"),
        ("socket://127.0.0.1:x", "is no socket://HOST:NUMBER"),
        ("socket://127.0.0.1:99999", "is no socket://HOST:NUMBER"),
        ("/", "is a folder, not a port"),
        ("/dev/null", "is no serial port"),
        ("foo://x", "no kind of port begins so"),
    ],
)
def test_a_mistyped_port_is_told_what_is_wrong_with_it(url: str, words: str) -> None:
    """No word of pyserial's or the system's inside reaches the person."""
    with pytest.raises(PortMissing, match=words):
        PortLink(url)


@pytest.mark.parametrize(
    ("foreign", "kind"),
    [
        (FileNotFoundError(errno.ENOENT, "x"), PortMissing),
        (PermissionError(errno.EACCES, "x"), PortDenied),
        (OSError(errno.EBUSY, "x"), PortBusy),
        (ConnectionRefusedError(errno.ECONNREFUSED, "x"), PortMissing),
        (OSError(errno.EHOSTUNREACH, "x"), PortMissing),
        (serial.SerialException(errno.EACCES, "denied"), PortDenied),
        (serial.SerialException("could not open port 'COM3': PermissionError(13, "
                                "'Access is denied.', None, 5)"), PortBusy),
        (serial.SerialException("could not open port 'COM9': FileNotFoundError(2, "
                                "'The system cannot find the file specified.')"),
         PortMissing),
        (serial.SerialException("Could not open port socket://a:1: timed out"),
         PortMissing),
        (ValueError("something else"), LinkError),
    ],
)  # fmt: skip
def test_foreign_errors_are_mapped(foreign: Exception, kind: type[LinkError]) -> None:
    """Each system and pyserial error becomes its kind; once open, all mean lost."""
    assert type(link_error(foreign, "the port", opened=False)) is kind
    assert type(link_error(foreign, "the port", opened=True)) is LinkLost
    assert "the port" in str(link_error(foreign, "the port", opened=False))


def test_denied_permission_names_the_remedy() -> None:
    """On Linux the group that opens serial ports is named."""
    error = link_error(PermissionError(errno.EACCES, "x"), "/dev/ttyUSB0", False)
    assert "dialout" in str(error)


def test_every_error_has_a_title_and_stands_in_the_tree() -> None:
    """The tree in the module's head lists every class, and each has its own title."""
    kinds = [
        kind for kind in vars(errors).values()
        if isinstance(kind, type) and issubclass(kind, AdapterError)
    ]  # fmt: skip
    assert len({kind.title for kind in kinds}) == len(kinds)
    assert all(kind.__name__ in (errors.__doc__ or "") for kind in kinds)
