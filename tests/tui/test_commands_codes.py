"""The commands `codes` and `clear`, over TCP, as a person runs them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.quirks import ADAPTERS
from bankwise.adapters.car.server import ThreadServer
from bankwise.adapters.car.timing import LINKS
from bankwise.adapters.seals import State, verify
from bankwise.tui.commands_codes import app
from bankwise.tui.errors import CommandError


def _run(parked: Any, *words: str, typed: str = "", faster: float = 20.0) -> Result:
    with ThreadServer(parked.adapter(), faster=faster) as server:
        return CliRunner().invoke(
            app, [words[0], "--port", server.address, *words[1:]], input=typed
        )


def test_codes_are_read_shown_and_saved(parked: Any, tmp_path: Path) -> None:
    """One look tells lamp, sets, words, conditions and where it was saved."""
    path = tmp_path / "codes.jsonl"
    parked.other("P0700")
    told = _run(parked, "codes", "-o", str(path))
    assert told.exit_code == 0, told.output
    for words in (
        "Lamp on; 3 stored, 2 pending, 1 permanent",
        "B2     P0174  stored + pending",
        "The fault is there now",
        "Similar conditions: 1725 to 2475 rpm, load 30 to 46 %, warm",
        "Freeze frame 0 of 7E8, set by P0174",
        "bank 1",
        "check digit holds",
        "7E9",
        f"saved: {path}",
    ):
        assert words in told.output
    assert verify(path).state is State.WHOLE
    again = CliRunner().invoke(app, ["codes", str(path)])
    assert again.exit_code == 0
    assert again.output.splitlines()[:6] == told.output.splitlines()[:6]


def test_a_car_of_j1979_2_is_read_and_cleared_alike(
    parked: Any, tmp_path: Path
) -> None:
    """By identifier: the same view, with failure type and status in words."""
    parked.uds = True
    parked.memory.pending = ("P0174", "P0300-11")
    told = _run(parked, "clear", "-o", str(tmp_path / "c.jsonl"), typed="3\n")
    assert told.exit_code == 0, told.output
    for words in (
        "Lamp on; 2 stored, 2 pending, 1 permanent",
        "circuit short to ground — misfire",
        "Status: failing at the last test, pending",
        "Freeze frame 0 of 7E8, set by P0174",
        "check digit holds",
        "7E8: cleared",
    ):
        assert words in told.output
    assert "no stored, no pending, 1 permanent" in told.output.split("Read again:")[1]
    assert verify(tmp_path / "c.jsonl").state is State.WHOLE


@pytest.mark.parametrize("quality", ["imitation", "poor", "drops-prompts"])
def test_a_poor_adapter_on_a_cable_reads_the_same(
    parked: Any, tmp_path: Path, quality: str
) -> None:
    """Its speed is searched, its echo and its lies change nothing of what is read."""
    device = SimulatedAdapter(
        parked.adapter().bus, LINKS["usb-115200"], ADAPTERS[quality]
    )
    path = tmp_path / "c.jsonl"
    with ThreadServer(device, faster=20.0, pty=True, strict_baud=True) as server:
        told = CliRunner().invoke(
            app, ["codes", "--port", server.address, "-o", str(path)]
        )
    assert told.exit_code == 0, told.output
    assert "Lamp on; 2 stored, 2 pending, 1 permanent" in told.output
    assert "Freeze frame 0 of 7E8, set by P0174" in told.output
    assert "check digit holds" in told.output
    assert "Not read" not in told.output


def test_the_vin_is_masked_on_request(parked: Any, tmp_path: Path) -> None:
    """The serial part of the number does not appear."""
    told = _run(parked, "codes", "--mask-vin", "-o", str(tmp_path / "a.jsonl"))
    assert "042788" not in told.output
    assert "1M8" in told.output


def test_clearing_asks_for_the_number_and_shows_what_stayed(
    parked: Any, tmp_path: Path
) -> None:
    """The caution comes first; afterwards the permanent code is still there."""
    told = _run(parked, "clear", "-o", str(tmp_path / "c.jsonl"), typed="3\n")
    assert told.exit_code == 0, told.output
    assert "never clear to pass an inspection" in told.output
    assert "7E8: cleared" in told.output
    left = told.output.split("Read again:")[1]
    assert "no stored, no pending, 1 permanent" in left
    assert parked.memory.stored == ()


def test_a_session_with_a_clearing_shows_before_and_after(
    parked: Any, tmp_path: Path
) -> None:
    """What was wiped in the car is still there to be read from the file."""
    path = tmp_path / "c.jsonl"
    assert _run(parked, "clear", "-o", str(path), typed="3\n").exit_code == 0
    told = CliRunner().invoke(app, ["codes", str(path)])
    before, after = told.output.split("AFTER CODES WERE CLEARED")
    assert "Lamp on; 2 stored, 2 pending, 1 permanent" in before
    assert "set by P0174" in before
    assert "no stored, no pending, 1 permanent" in after


@pytest.mark.parametrize("typed", ["2\n", "\n", ""])
def test_another_number_clears_nothing(parked: Any, tmp_path: Path, typed: str) -> None:
    """A wrong number, an empty line or a closed pipe leave the codes alone."""
    told = _run(parked, "clear", "-o", str(tmp_path / "c.jsonl"), typed=typed)
    assert isinstance(told.exception, CommandError)
    assert "nothing was cleared" in str(told.exception)
    assert parked.memory.stored == ("P0174", "P0155")


def test_a_running_engine_is_refused_before_anything_is_asked(
    parked: Any, tmp_path: Path
) -> None:
    """The person is told what to do, and types nothing."""
    parked.car.readings["rpm"] = 700.0
    told = _run(parked, "clear", "-o", str(tmp_path / "c.jsonl"))
    assert isinstance(told.exception, CommandError)
    assert "the engine is running: switch it off" in str(told.exception)
    assert "Type the number" not in told.output


def test_without_codes_there_is_nothing_to_clear(parked: Any, tmp_path: Path) -> None:
    """Nothing is asked and nothing is sent."""
    parked.memory.stored = parked.memory.pending = ()
    told = _run(parked, "clear", "-o", str(tmp_path / "c.jsonl"))
    assert told.exit_code == 0, told.output
    assert "there is nothing to clear" in told.output
    assert parked.memory.lamp


def test_an_unknown_speed_asks_for_the_number_again(
    parked: Any, tmp_path: Path
) -> None:
    """The second typing clears; the first alone does not."""
    del parked.car.readings["speed_kmh"]
    told = _run(parked, "clear", "-o", str(tmp_path / "c.jsonl"), typed="3\n3\n")
    assert told.exit_code == 0, told.output
    assert "vehicle speed: no answer" in told.output
    assert not parked.memory.lamp


def test_a_port_and_a_file_together_are_refused() -> None:
    """One of the two is asked for, in one line."""
    told = CliRunner().invoke(app, ["codes", "x.jsonl", "--port", "socket://a:1"])
    assert isinstance(told.exception, CommandError)
