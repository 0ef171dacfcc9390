"""Shows a session in a browser: a process a tab, each a viewer that only reads.

Loopback by default. Anyone else needs a token. A page of another site can reach
neither, because the browser's own headers are checked.
"""

from __future__ import annotations

import copy
import hmac
import secrets
import shlex
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from aiohttp import web
from textual_serve.server import Server

LOOPBACK = ("localhost", "127.0.0.1", "::1")
_COOKIE = "bankwise_token"

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


def viewer_command(path: Path) -> str:
    """The command line of a viewer of this session."""
    return shlex.join([sys.executable, "-m", "bankwise.tui.main", "watch", str(path)])


def host_of(value: str) -> str:
    """The host in a `Host` header or an origin, without scheme and port."""
    name = value.rpartition("//")[2]
    if name.startswith("["):
        return name[1:].partition("]")[0]
    return name.partition(":")[0]


def refusal(
    request_host: str, origin: str | None, token: str | None, given: str | None
) -> str | None:
    """Why a request is refused, or None.

    Args:
        request_host: the `Host` header.
        origin: the `Origin` header, where the browser sends one.
        token: what is asked for; None on loopback.
        given: the token that came with the request.
    """
    if origin is not None and host_of(origin) != host_of(request_host):
        return "another site may not look"
    if token is None:
        if host_of(request_host) not in LOOPBACK:
            # A name that only points here (DNS rebinding) is not this machine's.
            return "only from this machine"
        return None
    if given is None or not hmac.compare_digest(given, token):
        return "token missing or wrong"
    return None


class Viewers(Server):
    """A web server whose every tab is a viewer of one session.

    Args:
        path: the session file.
        host: address to listen on.
        port: port to listen on.
        token: what a viewer must know; made up when the address is not loopback.
    """

    def __init__(
        self, path: Path, host: str, port: int, token: str | None = None
    ) -> None:
        super().__init__(viewer_command(path), host, port, title="bankwise")
        self.token = token
        if token is None and host not in LOOPBACK:
            self.token = secrets.token_urlsafe(12)

    @property
    def address(self) -> str:
        """What to type into a browser."""
        asked = f"/?token={self.token}" if self.token else "/"
        return f"http://{self.host}:{self.port}{asked}"

    def initialize_logging(self) -> None:
        """No log: the terminal is the person's."""

    async def on_startup(self, app: web.Application) -> None:
        """Says where to look, once."""
        print(f"watch at {self.address}   Ctrl-C ends it", flush=True)

    async def _make_app(self) -> web.Application:
        app: web.Application = await super()._make_app()
        app.middlewares.append(self._guard)
        return app

    @web.middleware
    async def _guard(self, request: web.Request, handler: Handler) -> Any:
        asked = request.query.get("token")
        why = refusal(
            request.headers.get("Host", ""),
            request.headers.get("Origin"),
            self.token,
            asked or request.cookies.get(_COOKIE),
        )
        if why is not None:
            return web.Response(status=403, text=f"refused: {why}\n")
        response = await handler(request)
        if asked and self.token and not response.prepared:
            response.set_cookie(_COOKIE, asked, httponly=True, samesite="Strict")
        return response

    async def handle_index(self, request: web.Request) -> Any:
        """The page, with addresses as this viewer reached it."""
        reached = copy.copy(self)
        reached.public_url = f"http://{request.host}"
        return await Server.handle_index(reached, request)
