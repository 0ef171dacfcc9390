"""The server: TCP, pseudo terminal, one client at a time, and its console."""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest
import serial

from bankwise.adapters.car.ports import TcpPort, split_address
from bankwise.adapters.car.server import ProcessServer, Service, ThreadServer
from bankwise.adapters.errors import LinkError, PortBusy

Build = Callable[..., Any]


def ask(port: Any, text: str) -> bytes:
    """Sends a request through pyserial and reads up to the prompt."""
    port.write(text.encode() + b"\r")
    return bytes(port.read_until(b">"))


def open_url(address: str) -> Any:
    """A pyserial port with patience for one answer."""
    return serial.serial_for_url(address, baudrate=115_200, timeout=60)


def wait_for(condition: Callable[[], bool], seconds: float = 60.0) -> None:
    """Waits until something holds, and fails when it never does."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it never came true"
        time.sleep(0.01)


def test_a_session_over_tcp(bench: Build) -> None:
    """A socket URL of pyserial gets the adapter's bytes."""
    with (
        ThreadServer(bench().adapter, faster=10) as server,
        open_url(server.address) as port,
    ):
        assert ask(port, "ATZ") == b"ATZ\r\r\rSIMOBD v1.0\r\r>"
        assert ask(port, "ATE0") == b"ATE0\rOK\r\r>"
        assert ask(port, "0105") == b"SEARCHING...\r41 05 7B \r\r>"


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo terminals")
def test_a_session_over_a_pseudo_terminal(bench: Build) -> None:
    """A terminal's path opens like a serial port."""
    with (
        ThreadServer(bench().adapter, faster=10, pty=True) as server,
        open_url(server.address) as port,
    ):
        assert ask(port, "ATE0") == b"ATE0\rOK\r\r>"
        assert ask(port, "0105") == b"SEARCHING...\r41 05 7B \r\r>"


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo terminals")
def test_a_strict_terminal_hears_only_its_own_speed(bench: Build) -> None:
    """At 38400 nothing comes back from an adapter at 115200."""
    adapter = bench().adapter
    with (
        ThreadServer(adapter, faster=10, pty=True, strict_baud=True) as server,
        open_url(server.address) as port,
    ):
        port.baudrate = 38_400
        port.write(b"ATI\r")
        # Bytes that came have been looked at: a terminal counts as connected by them.
        wait_for(lambda: server.service.connected)
        port.timeout = 0.3
        assert port.read_until(b">") == b""
        port.baudrate = 115_200
        port.timeout = 60
        assert ask(port, "ATI") == b"ATI\rSIMOBD v1.0\r\r>"


def test_a_second_client_is_refused_politely(bench: Build) -> None:
    """It is told and hung up on; the first one is not disturbed."""
    with (
        ThreadServer(bench().adapter, faster=10) as server,
        open_url(server.address) as port,
    ):
        ask(port, "ATE0")
        host, number = split_address(server.address.removeprefix("socket://"))
        with socket.create_connection((host, number), timeout=60) as second:
            assert second.recv(100) == b"IN USE\r"
            assert second.recv(100) == b""
        assert ask(port, "ATI") == b"SIMOBD v1.0\r\r>"


def test_it_survives_reconnecting(bench: Build) -> None:
    """Settings stay, as in an adapter that kept its power; old bytes do not."""
    with ThreadServer(bench().adapter, faster=10) as server:
        with open_url(server.address) as port:
            ask(port, "ATE0")
            port.write(b"0105\r")
        wait_for(lambda: not server.service.connected)
        with open_url(server.address) as port:
            assert ask(port, "ATI") == b"SIMOBD v1.0\r\r>"


def test_faster_shrinks_every_delay(bench: Build) -> None:
    """A reset of 0.6 s takes a twentieth of it at 20 times the speed."""
    real = [100.0]
    tcp = TcpPort("127.0.0.1:0")
    b = bench()
    service = Service(b.adapter, tcp, faster=20, clock=lambda: real[0])

    def asked() -> bool:
        service.step()
        return b.adapter.next_due is not None

    try:
        with open_url(tcp.address) as port:
            port.write(b"ATZ\r")
            wait_for(asked)
            while b.adapter.next_due is not None:
                real[0] += 0.001
                service.step()
            assert 0.028 < real[0] - 100.0 < 0.04
            assert port.read_until(b">") == b"ATZ\r\r\rSIMOBD v1.0\r\r>"
    finally:
        tcp.close()


def test_the_drive_begins_with_the_first_connection(bench: Build) -> None:
    """Before it the car stands still; afterwards it moves by itself."""
    b = bench()
    with ThreadServer(b.adapter, faster=10) as server:
        time.sleep(0.1)
        assert b.car.t == 0.0
        with open_url(server.address) as port:
            ask(port, "ATE0")
            wait_for(lambda: b.car.t > 1.0)
        wait_for(lambda: not server.service.connected)
        moved = b.car.t
        wait_for(lambda: b.car.t > moved)


def test_the_drive_stands_still_while_the_process_does(bench: Build) -> None:
    """An hour of sleep is not driven afterwards."""
    real = [100.0]
    port = TcpPort("127.0.0.1:0")
    b = bench()
    service = Service(b.adapter, port, faster=10, clock=lambda: real[0])
    try:
        with open_url(port.address):
            service.step()
            service.step()
            for pause in (1.0, 3600.0, 1.0):
                real[0] += pause
                service.step()
            assert service.now == pytest.approx(20.0)
            assert b.car.t == pytest.approx(20.0)
    finally:
        port.close()


def test_a_dropped_connection_comes_back(bench: Build) -> None:
    """`drop` loses the client and the port; later the same address answers again."""
    ahead = [0.0]
    tcp = TcpPort("127.0.0.1:0")
    service = Service(
        bench().adapter, tcp, faster=10, clock=lambda: time.monotonic() + ahead[0]
    )
    thread = threading.Thread(target=service.run, daemon=True)
    thread.start()
    answers: list[str] = []
    ports: list[Any] = []

    def opens() -> bool:
        with contextlib.suppress(serial.SerialException):
            ports.append(open_url(tcp.address))
        return bool(ports)

    try:
        with open_url(tcp.address) as port:
            ask(port, "ATE0")
            service.say("drop 3000", answers.append)
            wait_for(lambda: answers == ["connection lost for 3000 s"])
        with pytest.raises(serial.SerialException):
            open_url(tcp.address)
        ahead[0] = 3000.0
        wait_for(opens)
        with ports[0] as port:
            assert ask(port, "ATI") == b"SIMOBD v1.0\r\r>"
    finally:
        service.stop()
        thread.join(60.0)


def test_the_console_answers_every_line(bench: Build) -> None:
    """Its own words, the car's, and a plain sentence for what nobody knows."""
    touched: list[str] = []

    def touch(line: str) -> str:
        touched.append(line)
        if line != "unplug B2S1":
            raise ValueError(line)
        return "B2S1 is unplugged"

    with ThreadServer(bench().adapter, faster=10, touch=touch) as server:
        assert server.say("unplug B2S1") == "B2S1 is unplugged"
        assert server.say("fly") == "not understood: fly"
        assert "rpm=775" in server.say("show")
        assert server.say("mishap nonsense").startswith("no such mishap; there are:")
        assert server.say("mishap can error") == "next request: CAN ERROR"
        assert server.say("drop much") == "not a number of seconds: much"
        assert server.say("help").startswith("lines:")
        with open_url(server.address) as port:
            ask(port, "ATE0")
            assert ask(port, "0105") == b"CAN ERROR\r\r>"
    assert touched == ["unplug B2S1", "fly"]


def test_addresses_that_cannot_be_used_are_plain_errors() -> None:
    """A taken port, a strange host and a missing port number each give one line."""
    with pytest.raises(LinkError, match="HOST:PORT"):
        TcpPort("localhost")
    with pytest.raises(LinkError, match="cannot listen"):
        TcpPort("203.0.113.7:0")
    first = TcpPort("127.0.0.1:0")
    try:
        taken = first.address.removeprefix("socket://")
        with pytest.raises(PortBusy, match="in use"):
            TcpPort(taken)
    finally:
        first.close()


def test_a_speed_must_be_positive(bench: Build) -> None:
    """Zero times as fast is refused."""
    port = TcpPort("127.0.0.1:0")
    try:
        with pytest.raises(LinkError, match="faster"):
            Service(bench().adapter, port, faster=0)
    finally:
        port.close()


def test_a_story_runs_in_a_process_of_its_own() -> None:
    """It answers, takes console lines, and is gone afterwards."""
    with ProcessServer("demo", "--faster", "20") as server:
        with open_url(server.address) as port:
            assert ask(port, "ATE0") == b"ATE0\rOK\r\r>"
            assert b"41 00" in ask(port, "0100")
            assert "rpm=" in server.say("show")
        address = server.address
    with pytest.raises(serial.SerialException):
        open_url(address)
    with pytest.raises(LinkError, match="not running"):
        server.say("show")


def test_a_story_may_speak_another_protocol() -> None:
    """The demonstration car on a K-line, with a second unit."""
    with (
        ProcessServer(
            "demo", "--faster", "20", "--protocol", "5", "--transmission"
        ) as server,
        open_url(server.address) as port,
    ):
        ask(port, "ATE0")
        ask(port, "ATTP5")
        ask(port, "ATH1")
        said = ask(port, "0100")
        assert said.startswith(b"BUS INIT: OK\r86 F1 1")
        assert said.count(b"\r86 F1") == 2


def test_j1979_2_without_can_is_one_plain_line() -> None:
    """It does not start, and says why."""
    with pytest.raises(LinkError, match="needs CAN"):
        ProcessServer("demo", "--protocol", "5", "--uds").__enter__()


def test_a_process_that_cannot_start_says_why() -> None:
    """The last line of what it complained about becomes the error."""
    with pytest.raises(LinkError, match="invalid choice"):
        ProcessServer("no-such-story").__enter__()
