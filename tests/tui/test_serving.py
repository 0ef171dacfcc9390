"""Watching along: a viewer reads the file and can reach neither it nor the car."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from bankwise.adapters.records import (
    AdapterInfo,
    EndRecord,
    Exchange,
    Header,
    MarkRecord,
)
from bankwise.adapters.session_file import SessionWriter
from bankwise.adapters.source import LinkState
from bankwise.tui.actions import NOT_FOR_VIEWERS
from bankwise.tui.keys import KEYS
from bankwise.tui.watching import Watch

if TYPE_CHECKING:
    from bankwise.tui.app import BankwiseApp

serving = pytest.importorskip("bankwise.tui.serving")

HEADER = Header("id", "2026-03-01T10:00:00Z", "test", AdapterInfo("made up", "6"))


class Clock:
    """Stands where the test puts it."""

    def __init__(self) -> None:
        self.s = 100.0

    def __call__(self) -> float:
        """Seconds."""
        return self.s


def state(watch: Watch) -> str:
    """The link's state in a word."""
    return watch.state.value


def test_a_viewer_follows_a_file_while_it_grows(tmp_path: Path) -> None:
    """Records arrive as they are written; the end of the session is known as such."""
    clock = Clock()
    path = tmp_path / "drive.jsonl"
    writer = SessionWriter(path, HEADER, durable=False)
    watch = Watch(path, clock)
    writer.write(Exchange(1.0, "010C", ("7E804410C1AF8",), 0.03))
    assert [type(record) for record in watch.drain()] == [Exchange]
    assert state(watch) == "up"
    writer.write(MarkRecord(2.0, "hill"))
    assert [record.t for record in watch.drain()] == [2.0]
    clock.s += 10
    assert state(watch) == "lost"
    assert watch.now() == 2.5
    writer.write(EndRecord(3.0))
    writer.close(3.0)
    watch.drain()
    assert state(watch) == "closed"
    assert watch.now() == 3.0


def test_a_viewer_leaves_the_file_as_it_is(tmp_path: Path) -> None:
    """Marks, notes, questions and wishes end nowhere."""
    path = tmp_path / "drive.jsonl"
    SessionWriter(path, HEADER, durable=False).close(0.0)
    before = path.read_bytes()
    watch = Watch(path)
    watch.drain()
    watch.mark("look")
    watch.ask("03")
    watch.want({"rpm": 5.0})
    assert path.read_bytes() == before


def test_a_missing_file_is_said_in_words(tmp_path: Path) -> None:
    """The status line says what is wrong; nothing is raised."""
    watch = Watch(tmp_path / "gone.jsonl")
    assert watch.drain() == []
    assert watch.state is LinkState.LOST
    assert "gone.jsonl" in watch.status


async def test_a_viewers_screen_refuses_to_change_anything(
    app: BankwiseApp, source: Any
) -> None:
    """Mark, note and a new source are refused, whatever key asks for them."""
    app.viewer = True
    async with app.run_test() as pilot:
        await pilot.pause()
        for key in KEYS:
            if key.action in NOT_FOR_VIEWERS:
                await pilot.press(key.keys[0])
        await pilot.press("4", "r", "8", "r", "enter")
        await pilot.pause()
        assert len(app.screen_stack) == 1
    assert source.marks == []
    assert source.asked == []


@pytest.mark.parametrize(
    ("host", "origin", "token", "given", "fine"),
    [
        ("127.0.0.1:8765", None, None, None, True),
        ("localhost:8765", "http://localhost:8765", None, None, True),
        ("[::1]:8765", None, None, None, True),
        ("127.0.0.1:8765", "http://elsewhere.example", None, None, False),
        ("pointed-here.example:8765", None, None, None, False),
        ("192.168.1.20:8765", None, "secret", "secret", True),
        ("192.168.1.20:8765", None, "secret", "guess", False),
        ("192.168.1.20:8765", None, "secret", None, False),
        ("192.168.1.20:8765", "http://evil.example", "secret", "secret", False),
    ],
)
def test_who_may_look(
    host: str, origin: str | None, token: str | None, given: str | None, fine: bool
) -> None:
    """This machine by loopback, others by token, another site's page never."""
    assert (serving.refusal(host, origin, token, given) is None) is fine


def test_an_address_for_others_makes_up_a_token() -> None:
    """Nobody has to remember to protect it."""
    open_to_others = serving.Viewers(Path("x.jsonl"), "192.168.1.20", 8765)
    assert open_to_others.token
    assert serving.Viewers(Path("x.jsonl"), "127.0.0.1", 8765).token is None


async def test_the_server_answers_with_and_without_the_token(tmp_path: Path) -> None:
    """Over real HTTP: 403 without, the page with, and a cookie from then on."""
    from aiohttp.test_utils import TestClient, TestServer

    path = tmp_path / "drive.jsonl"
    viewers = serving.Viewers(path, "0.0.0.0", 8765, "secret")
    async with TestClient(TestServer(await viewers._make_app())) as client:
        assert (await client.get("/")).status == 403
        assert (await client.get("/ws")).status == 403
        page = await client.get("/?token=secret")
        assert page.status == 200
        assert f"ws://{client.host}:{client.port}/ws" in await page.text()
        assert (await client.get("/")).status == 200
        await asyncio.sleep(0)


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@pytest.mark.long
async def test_a_browser_gets_the_screen_of_a_viewer(tmp_path: Path) -> None:
    """The real command, a real websocket: the session's screen, while it grows."""
    import aiohttp

    path = tmp_path / "drive.jsonl"
    writer = SessionWriter(path, HEADER, durable=False)
    writer.write(Exchange(1.0, "010C", ("7E804410C1AF8",), 0.03))
    port = free_port()
    command = ["-m", "bankwise.tui.main", "serve", str(path), "--port", str(port)]
    server = await asyncio.create_subprocess_exec(
        sys.executable, *command, stdout=asyncio.subprocess.PIPE
    )
    seen = b""
    try:
        assert server.stdout is not None
        told = await asyncio.wait_for(server.stdout.readline(), 300)
        assert f"http://127.0.0.1:{port}/" in told.decode()
        for _ in range(1000):
            # It tells where to look just before it listens.
            with (
                contextlib.suppress(OSError),
                socket.create_connection(("127.0.0.1", port), 1),
            ):
                break
            await asyncio.sleep(0.1)
        url = f"ws://127.0.0.1:{port}/ws?width=100&height=30"
        async with aiohttp.ClientSession() as client, client.ws_connect(url) as tab:
            while b"VIEWER" not in seen:
                message = await asyncio.wait_for(tab.receive(), 300)
                assert isinstance(message.data, bytes | str), "the viewer ended"
                data = message.data
                seen += data if isinstance(data, bytes) else data.encode()
    finally:
        server.send_signal(signal.SIGINT)
        await asyncio.wait_for(server.wait(), 300)
    assert b"drive.jsonl" in seen
    writer.close(2.0)
