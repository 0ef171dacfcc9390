"""Opening a link by its name, and finding a serial port's speed.

Speed is found by asking the adapter its name at each speed in turn; no answer is worth
a space and a few hundred milliseconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final, Protocol

from bankwise.adapters import ble, can_link
from bankwise.adapters.adapter import Adapter
from bankwise.adapters.errors import LinkError, NoAdapter
from bankwise.adapters.link import BAUDS, Link, PortLink

OpenLink = Callable[[], Link]
"""Makes a new open link. Raises LinkError."""

_KNOCK_S: Final = 0.4
"""How long an adapter at the right speed may take to name itself. Our choice."""


class SpeedLink(Link, Protocol):
    """A link whose speed can be set."""

    def set_baud(self, baud: int) -> None:
        """Changes the speed. Raises LinkError when it cannot."""
        ...


def names_itself(link: Link, cancelled: Callable[[], bool] = lambda: False) -> bool:
    """Whether an adapter gives its name at the link's present speed.

    Raises:
        LinkError: the link is gone.
    """
    adapter = Adapter(link, cancelled=cancelled)
    for _ in range(2):
        asked = adapter.ask("ATI", _KNOCK_S)
        if asked.reply.finished and asked.ok:
            return True
        adapter.drain(0.05)
    return False


def find_baud(
    link: SpeedLink,
    bauds: Iterable[int] = BAUDS,
    tell: Callable[[str], None] = lambda _: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> int:
    """Sets and returns the speed at which an adapter answers.

    Raises:
        NoAdapter: none did at any speed.
        LinkError: the link is gone.
    """
    for baud in bauds:
        if cancelled():
            break
        tell(f"looking for the adapter's speed: {baud}")
        try:
            link.set_baud(baud)
        except LinkError:
            continue  # this port cannot go that fast
        if names_itself(link, cancelled):
            return baud
    raise NoAdapter(f"nothing answers like an adapter at {link.name}")


def opener(
    url: str,
    baud: int | None,
    tell: Callable[[str], None],
    cancelled: Callable[[], bool],
    likely: int | None = None,
) -> OpenLink:
    """A way to open `url` again and again; a speed that was found is kept.

    Args:
        url: a serial port, any URL that pyserial knows, `ble://ADDRESS` or
            `can://INTERFACE/CHANNEL?bitrate=500000`.
        baud: the speed, or None to find it.
        tell: told in plain words what is tried.
        cancelled: True ends the search.
        likely: the speed to try first.
    """
    known = baud
    bauds = tuple(dict.fromkeys((likely or BAUDS[0], *BAUDS)))

    def open_link() -> Link:
        nonlocal known
        if url.startswith(ble.SCHEME):
            return ble.BleLink(url)
        if url.startswith(can_link.SCHEME):
            return can_link.CanLink(can_link.open_bus(url), url)
        link = PortLink(url, known or bauds[0])
        if known is None and link.baud is not None:
            try:
                known = find_baud(link, bauds, tell, cancelled)
            except (LinkError, NoAdapter):
                link.close()
                raise
        return link

    return open_link
