"""The link in virtual time: the same bytes, no waiting, cuts and speeds."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest

from bankwise.adapters.car.virtual import Cable, VirtualLink
from bankwise.adapters.errors import LinkLost, PortMissing
from bankwise.adapters.gate import RESYNC, permit


def until_prompt(link: VirtualLink, text: str, patience: float = 5.0) -> bytes:
    """Sends a request and reads up to the prompt or the end of patience."""
    link.write(permit(text))
    end = link.now() + patience
    said = b""
    while not said.endswith(b">") and link.now() < end:
        said += link.read(0.05)
    return said


def test_it_says_what_the_adapter_says(bench: Callable[..., Any]) -> None:
    """Bytes over the link equal those of the adapter asked directly."""
    direct, linked = bench(), bench()
    link = VirtualLink(linked.adapter)
    for text in ("ATZ", "ATE0", "ATH1", "0100", "0902", "01050C0D", "ATRV"):
        assert until_prompt(link, text) == direct.ask(text)
        assert link.now() == pytest.approx(direct.t)


def test_an_hour_of_virtual_time_takes_seconds(bench: Callable[..., Any]) -> None:
    """Reading never sleeps: waiting an hour for nothing is immediate."""
    link = VirtualLink(bench().adapter)
    began = time.monotonic()
    for _ in range(3600):
        assert link.read(1.0) == b""
    assert link.now() == pytest.approx(3600)
    assert time.monotonic() - began < 3600


def test_the_car_is_as_old_as_the_answer(bench: Callable[..., Any]) -> None:
    """The car has been brought to the moment of the answer, not further."""
    b = bench()
    link = VirtualLink(b.adapter)
    for text in ("ATE0", "ATTP6", "0105"):
        until_prompt(link, text)
    link.read(10.0)
    sent = link.now()
    until_prompt(link, "01051")
    assert sent + 0.008 < b.car.t < link.now()


def test_a_cut_cable_is_a_lost_link(bench: Callable[..., Any]) -> None:
    """Reading into a cut raises, opening is refused until it is over."""
    cable = Cable(bench().adapter, cuts=[(10.0, 15.0)])
    link = cable.open()
    until_prompt(link, "ATE0")
    while link.now() < 9.0:
        link.read(1.0)
    with pytest.raises(LinkLost):
        link.read(2.0)
    assert link.now() == 10.0
    with pytest.raises(LinkLost):
        link.write(RESYNC)
    with pytest.raises(PortMissing):
        cable.open()
    cable.pass_time(6.0)
    assert until_prompt(cable.open(), "ATI") == b"SIMOBD v1.0\r\r>"


def test_a_wrong_speed_is_not_understood(bench: Callable[..., Any]) -> None:
    """Nothing comes back until the computer speaks at the adapter's speed."""
    link = VirtualLink(bench().adapter, baud=38_400)
    assert until_prompt(link, "ATI", patience=1.0) == b""
    link.set_baud(115_200)
    assert until_prompt(link, "ATI") == b"ATI\rSIMOBD v1.0\r\r>"


def test_closing_drops_what_was_under_way(bench: Callable[..., Any]) -> None:
    """The next link hears nothing of the last one's request."""
    cable = Cable(bench().adapter)
    first = cable.open()
    first.write(permit("0105"))
    first.close()
    first.close()
    with pytest.raises(LinkLost):
        first.read(0.1)
    assert until_prompt(cable.open(), "ATI") == b"ATI\rSIMOBD v1.0\r\r>"
