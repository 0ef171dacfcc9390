"""The live source over TCP and a pseudo terminal: threads, files, losses, closing."""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import serial
from serial.rfc2217 import PortManager

from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.framing import PROTOCOLS
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.quirks import Mishap
from bankwise.adapters.car.server import ThreadServer
from bankwise.adapters.car.timing import LINKS
from bankwise.adapters.car.unit import ControlUnit
from bankwise.adapters.errors import GateRefused
from bankwise.adapters.live import Live
from bankwise.adapters.recorder import new_header
from bankwise.adapters.records import (
    EndRecord,
    Exchange,
    FlagRecord,
    Header,
    LinkRecord,
    MarkRecord,
    Record,
)
from bankwise.adapters.seals import State, verify
from bankwise.adapters.session_file import read_session
from bankwise.adapters.source import LinkState, Source

VIN = "1M8GDM9AXKP042788"
READINGS = {
    "rpm": 775.0, "ect_c": 83.0, "o2_b1s1_v": 0.45, "o2_b2s1_v": 0.1,
    "stft_b1_pct": 0.0, "stft_b2_pct": 25.0, "fuel_status_b1": 2.0, "module_v": 14.1,
}  # fmt: skip


class StillCar:
    """A car that stands with its engine idling."""

    readings = READINGS
    key_on = True
    engine_running = True

    def advance(self, t: float) -> None:
        """Time changes nothing."""


def device() -> SimulatedAdapter:
    """A good adapter on a CAN car."""
    unit = ControlUnit(StillCar(), UnitNames(vin=VIN))
    bus = CarBus(StillCar(), [unit], PROTOCOLS["6"], seed=1)
    return SimulatedAdapter(bus, LINKS["usb-500000"])


def wait_for(condition: Callable[[], bool], seconds: float = 60.0) -> None:
    """Waits until something holds, and fails when it never does."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it never came true"
        time.sleep(0.01)


@pytest.fixture(name="path")
def _path(tmp_path: Path) -> Path:
    """Where a session file may be made."""
    return tmp_path / "drive.jsonl"


@pytest.fixture(name="pty", params=[False, True], ids=["tcp", "pty"])
def _pty(request: pytest.FixtureRequest) -> bool:
    """Both ways to reach the simulated adapter."""
    if request.param and sys.platform == "win32":
        pytest.skip("no pseudo terminals here")
    return bool(request.param)


@pytest.fixture(autouse=True)
def _switch_interval() -> Iterator[None]:
    """Puts the interpreter's switch interval back."""
    before = sys.getswitchinterval()
    yield
    sys.setswitchinterval(before)


def test_drive_is_recorded_whole(path: Path, pty: bool) -> None:
    """What the screen drained is what the file holds: in order, sealed, complete."""
    drained: list[Record] = []
    with ThreadServer(device(), pty=pty) as server:
        live: Source = Live(server.address, path, note="a test")
        live.start()
        wait_for(lambda: live.state is LinkState.UP)
        live.mark("cold start", "step")
        live.note(FlagRecord(0.0, "thermostat-low", "raised", "engine", "plateau low"))
        live.ask("0902", "03")

        def asked_again() -> bool:
            drained.extend(live.drain())
            vins = [r for r in drained if isinstance(r, Exchange) and r.q == "0902"]
            return len(vins) > 1 and live.now() > 2.0

        wait_for(asked_again)
        live.stop()
        drained += live.drain()
    session = read_session(path)
    assert live.header is not None
    assert session.header.id == live.header.id
    assert session.header.vehicle == {"note": "a test", "vin": VIN}
    assert session.header.adapter.protocol == "6"
    assert session.dropped_lines == 0
    assert live.state is LinkState.CLOSED
    assert live.recording.error is None
    kept = [r for r in session.records if not type(r).__name__.startswith("Seal")]
    assert len(kept) == len(drained)
    assert [type(r) for r in kept] == [type(r) for r in drained]
    times = [r.t for r in kept]
    assert times == sorted(times)
    first = next(r for r in kept if isinstance(r, Exchange))
    assert first.q in ("ATI", "ATWS")
    assert [r.text for r in kept if isinstance(r, MarkRecord)] == ["cold start"]
    assert sum(isinstance(r, FlagRecord) for r in kept) == 1
    assert sum(isinstance(r, Exchange) and r.q == "0902" for r in kept) >= 2
    assert isinstance(kept[-1], EndRecord)
    assert verify(path).state is State.WHOLE


class Drained:
    """Everything a source has given out so far."""

    def __init__(self, live: Live) -> None:
        self.live = live
        self.records: list[Record] = []

    def look(self) -> list[Record]:
        """What there is, with what is new."""
        self.records += self.live.drain()
        return self.records

    def states(self) -> list[str]:
        """The link's states in order, also those that were soon over."""
        return [r.state for r in self.look() if isinstance(r, LinkRecord)]

    def answered_after(self, trouble: str) -> bool:
        """Whether a read was answered after an exchange that ended so."""
        ends = [r.e for r in self.look() if isinstance(r, Exchange) and r.q[:2] != "AT"]
        return trouble in ends and None in ends[ends.index(trouble) :]


def test_dropped_tcp_link_comes_back(path: Path) -> None:
    """A connection cut in mid-drive is a hole with words on both sides."""
    with ThreadServer(device()) as server:
        live = Live(server.address, path)
        drained = Drained(live)
        live.start()
        wait_for(lambda: drained.states() == ["up"])
        server.say("drop 0.5")
        wait_for(lambda: drained.states() == ["up", "lost", "back"])
        live.stop()
    links = [r for r in read_session(path).records if isinstance(r, LinkRecord)]
    assert [link.state for link in links] == ["up", "lost", "back", "closed"]
    assert "went away" in str(links[1].why)


def test_silent_adapter_is_noticed(path: Path, pty: bool) -> None:
    """An adapter that stops talking is lost within seconds, and found again."""
    simulated = device()
    with ThreadServer(simulated, pty=pty) as server:
        live = Live(server.address, path)
        drained = Drained(live)
        live.start()
        wait_for(lambda: drained.states() == ["up"])
        simulated.inject(Mishap.SILENCE)
        wait_for(lambda: drained.answered_after("no prompt"))
        live.stop()
    assert live.word_counts["no prompt"] > 0


def test_stop_is_obeyed_at_once_even_in_a_search(path: Path) -> None:
    """Closing while the adapter searches does not wait for the search to end."""

    class DeadCar(StillCar):
        key_on = False

    unit = ControlUnit(DeadCar(), UnitNames())
    bus = CarBus(DeadCar(), [unit], PROTOCOLS["6"], seed=1)
    before = set(threading.enumerate())
    with ThreadServer(SimulatedAdapter(bus, LINKS["usb-500000"])) as server:
        live = Live(server.address, path)
        live.start()
        wait_for(lambda: "looking for" in live.status)
        live.stop()
    assert live.state is LinkState.CLOSED
    assert not {t for t in threading.enumerate() if t.name == "bankwise-link"} - before
    # No vehicle answered, and what the adapter said is kept all the same.
    assert read_session(path).records


def test_whoever_sees_the_link_up_finds_the_header(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However long the header takes to make, it is there before the link is up."""

    def slow(*given: Any) -> Header:
        time.sleep(0.3)
        return new_header(*given)

    monkeypatch.setattr("bankwise.adapters.live.new_header", slow)
    with ThreadServer(device()) as server:
        live = Live(server.address, path)
        live.start()
        wait_for(lambda: live.state is LinkState.UP)
        found = live.header
        live.stop()
    assert found is not None


def test_missing_port_is_said_in_words(path: Path) -> None:
    """With nothing at the port, the status says so and no file is made."""
    live = Live("/dev/there-is-no-such-port", path)
    live.start()
    wait_for(lambda: live.error is not None)
    assert live.status == "there is no /dev/there-is-no-such-port"
    assert live.state is LinkState.CONNECTING
    live.stop()
    live.stop()
    assert not path.exists()
    assert live.drain() == []


def test_full_disk_ends_the_recording_not_the_drive(tmp_path: Path) -> None:
    """When the file cannot be made, the drive goes on and says why."""
    with ThreadServer(device()) as server:
        live = Live(server.address, tmp_path / "missing" / "drive.jsonl")
        live.start()
        wait_for(lambda: live.state is LinkState.UP)
        wait_for(lambda: len(live.drain()) > 0)
        assert live.recording.error
        live.stop()


def test_a_harmful_question_is_refused_at_once(path: Path) -> None:
    """`ask` raises in the caller and nothing reaches the thread."""
    live = Live("loop://", path)
    with pytest.raises(GateRefused):
        live.ask("03", "04")
    assert live.now() == 0.0


class NetworkPort:
    """A serial port over the network as RFC 2217 says, with pyserial's server."""

    def __init__(self, behind: str) -> None:
        self.server = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self.server.getsockname()[1]}"
        self.port: Any = serial.serial_for_url(behind, timeout=0.01)
        self.ended = threading.Event()
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()

    def write(self, data: bytes) -> None:
        """Takes what pyserial's server wants to send."""
        self.connection.sendall(data)

    def run(self) -> None:
        """Serves one connection."""
        self.connection, _ = self.server.accept()
        self.connection.settimeout(0.01)
        me: Any = self  # it needs `write` alone
        manager = PortManager(self.port, me)
        with self.connection, contextlib.suppress(OSError):
            while not self.ended.is_set():
                with contextlib.suppress(TimeoutError):
                    data = self.connection.recv(1000)
                    if not data:
                        return
                    self.port.write(b"".join(manager.filter(data)))
                said = self.port.read(1000)
                if said:
                    self.write(b"".join(manager.escape(said)))

    def close(self) -> None:
        """Ends serving."""
        self.ended.set()
        self.thread.join(2.0)
        self.server.close()
        self.port.close()


# pyserial 3.5 itself calls methods that Python has deprecated.
@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
def test_serial_port_over_the_network(path: Path) -> None:
    """A drive over `rfc2217://` is a drive like any other."""
    with ThreadServer(device()) as server:
        network = NetworkPort(server.address)
        live = Live(network.url, path, baud=38400)
        live.start()
        try:
            wait_for(lambda: live.state is LinkState.UP)
            drained = Drained(live)
            wait_for(lambda: sum(isinstance(r, Exchange) for r in drained.look()) > 30)
        finally:
            live.stop()
            network.close()
    session = read_session(path)
    assert session.header.vehicle["vin"] == VIN
    assert sum(isinstance(r, Exchange) for r in session.records) > 25
