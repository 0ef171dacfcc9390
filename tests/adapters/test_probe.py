"""Probing finds what an adapter does, not says; notes only say where to begin."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from bankwise.adapters.adapter_notes import Note, Notes
from bankwise.adapters.batching import Rung
from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.framing import PROTOCOLS
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.quirks import ADAPTERS
from bankwise.adapters.car.timing import LINKS
from bankwise.adapters.car.unit import ControlUnit
from bankwise.adapters.car.virtual import Cable, VirtualLink
from bankwise.adapters.cycle import PollCycle
from bankwise.adapters.errors import NoAdapter, NoVehicle
from bankwise.adapters.link import BAUDS
from bankwise.adapters.opening import find_baud
from bankwise.adapters.probe import Able, Probe, probe, require_vehicle
from bankwise.adapters.startup import protocol_of


class StillCar:
    """A car with enough readings for a full request."""

    readings = {  # noqa: RUF012 - read only
        "rpm": 775.0, "speed_kmh": 0.0, "load_pct": 20.0, "ect_c": 83.0, "iat_c": 25.0,
        "throttle_pct": 20.0, "stft_b1_pct": 0.0, "ltft_b1_pct": 0.0, "o2_b1s1_v": 0.45,
        "stft_b2_pct": 0.0, "ltft_b2_pct": 0.0, "timing_deg": 10.0,
        "o2_b1s2_v": 0.7, "o2_b2s1_v": 0.2, "o2_b2s2_v": 0.6, "maf_gps": 4.0,
    }  # fmt: skip
    key_on = True
    engine_running = True

    def advance(self, t: float) -> None:
        """Time changes nothing."""


class DeadCar(StillCar):
    """The same car with the ignition off."""

    key_on = False


def device(
    quality: str = "good", protocol: str = "6", car: StillCar | None = None
) -> SimulatedAdapter:
    """An adapter of some quality in a car."""
    car = car or StillCar()
    unit = ControlUnit(car, UnitNames(vin="1M8GDM9AXKP042788"), can=protocol in "6789")
    bus = CarBus(car, [unit], PROTOCOLS[protocol], seed=1)
    return SimulatedAdapter(bus, LINKS["usb-115200"], ADAPTERS[quality])


def findings(result: Probe) -> dict[str, Able]:
    """The outcome by test."""
    return {finding.what: finding.able for finding in result.findings}


Y, N = Able.YES, Able.NO


@pytest.mark.parametrize(
    ("quality", "expected", "rung"),
    [
        ("good", {"honesty": Y, "echo": Y, "spaces": Y, "line feeds": Y, "headers": Y,
                  "frame digit": Y, "adaptive timing": Y, "2 values": Y, "6 values": Y},
         Rung.SIX),
        ("no-digit", {"frame digit": N, "6 values": Y}, Rung.SIX),
        ("digit-single-only", {"frame digit": Y, "digit with many": N, "6 values": Y},
         Rung.SIX),
        ("one-value", {"frame digit": N, "2 values": N}, Rung.ONE),
        ("imitation", {"honesty": N, "spaces": N, "frame digit": N, "2 values": N,
                       "adaptive timing": N}, Rung.ONE),
        ("poor", {"honesty": Y, "echo": N, "spaces": N, "line feeds": N,
                  "frame digit": N, "2 values": N}, Rung.ONE),
        ("headerless", {"headers": N}, Rung.ONE),
    ],
)  # fmt: skip
def test_probe_finds_what_the_adapter_does(
    quality: str, expected: dict[str, Able], rung: Rung
) -> None:
    """Each quirk shows in the finding that tests it, whatever the adapter agrees to."""
    result = probe(VirtualLink(device(quality)))
    found = findings(result)
    assert {what: found[what] for what in expected} == expected
    assert result.rung is rung
    assert result.exchanges[-1].q == "ATPC"


def test_verdict_is_a_measured_figure() -> None:
    """The rate promised is the rate that polling then reaches, within a fifth."""
    for quality in ("good", "one-value"):
        promised = probe(VirtualLink(device(quality))).values_per_s
        cycle = PollCycle(VirtualLink(device(quality)), jitter=Random(1))
        while cycle.now() < 20.0:
            cycle.step()
        assert cycle.rates.per_second(cycle.now()) == pytest.approx(promised, rel=0.2)


def test_words_tell_what_to_expect() -> None:
    """The last sentence says how many values a request and a second."""
    words = probe(VirtualLink(device("one-value"))).words()
    assert words[-1].startswith("this adapter answers one value a request; expect ")
    assert words[-1].endswith(" values a second")


def test_adapter_without_a_vehicle_is_still_tested() -> None:
    """With the ignition off the adapter's own manners are found, its speed is not."""
    result = probe(VirtualLink(device(car=DeadCar())))
    assert findings(result)["honesty"] is Y
    assert "could not be measured" in result.verdict()
    with pytest.raises(NoVehicle, match="ignition"):
        require_vehicle(result)


@pytest.mark.parametrize("protocol", sorted(PROTOCOLS))
def test_probe_on_every_bus(protocol: str) -> None:
    """On the older buses one value a request is expected, on CAN six."""
    result = probe(VirtualLink(device(protocol=protocol)))
    can = protocol in "6789"
    assert result.best_pids == (6 if can else 1)
    assert result.values_per_s > (100 if can else 4)


@pytest.mark.parametrize(
    ("line", "protocol"),
    [
        ("7E8064100BE3FA813", "6"),
        ("18DAF1100641 00BE3FA813".replace(" ", ""), "7"),
        ("486B104100BE1FB81145", "2"),
        ("486B104100BE3EB811C9", "3"),
        ("486B104100BE3EB811CA", ""),
        ("NODATA", ""),
        ("48", ""),
    ],
)
def test_protocol_shows_in_the_lines(line: str, protocol: str) -> None:
    """An adapter that does not number its protocol shows it in header and check."""
    assert protocol_of([line]) == protocol


@pytest.mark.parametrize("baud", BAUDS)
def test_speed_is_found_by_asking(baud: int) -> None:
    """Whatever speed the adapter is set to, the search finds it."""
    timing = LINKS["usb-115200"].__class__(baud)
    simulated = SimulatedAdapter(device().bus, timing)
    said: list[str] = []
    link = Cable(simulated).open("port", baud=1200)
    assert find_baud(link, BAUDS, said.append) == baud
    assert said[-1].endswith(str(baud))


def test_no_speed_is_no_adapter() -> None:
    """When no speed answers, the port holds no adapter, in words."""
    simulated = SimulatedAdapter(device().bus, LINKS["usb-115200"].__class__(19200))
    link = Cable(simulated).open("the port", baud=1200)
    with pytest.raises(NoAdapter, match="the port"):
        find_baud(link, BAUDS)


def test_notes_are_kept_whole(tmp_path: Path) -> None:
    """A note comes back as kept, beside others; a broken file means nothing known."""
    path = tmp_path / "deep" / "adapters.json"
    note = Note("SIMOBD v1.5", 115200, False, Rung.ONE, ("one value a request",))
    assert Notes(path).of("/dev/a") is None
    assert Notes(path).keep("/dev/a", note)
    assert Notes(path).keep("/dev/b", Note("x"))
    assert Notes(path).of("/dev/a") == note
    path.write_bytes(b'{"/dev/a": {"rung": "nonsense"}}')
    assert Notes(path).of("/dev/a") is None
    path.unlink()
    path.mkdir()
    assert not Notes(path).keep("/dev/a", note)


def test_notes_do_not_grow_for_ever(tmp_path: Path) -> None:
    """The oldest notes go when there are very many."""
    notes = Notes(tmp_path / "adapters.json")
    for i in range(210):
        notes.keep(f"port {i}", Note())
    assert notes.of("port 0") is None
    assert notes.of("port 209") == Note()


def test_note_says_where_to_begin_and_is_tried_again() -> None:
    """A note of one value a request is heeded at first, and outgrown within minutes."""
    note = Note("SIMOBD v1.0", rung=Rung.ONE)
    cycle = PollCycle(VirtualLink(device()), jitter=Random(1), note=note)
    while cycle.now() < 20.0:
        cycle.step()
    early = cycle.note()
    assert early is not None
    assert early.rung is Rung.ONE
    while cycle.now() < 150.0:
        cycle.step()
    learned = cycle.note()
    assert learned is not None
    assert learned.rung is Rung.SIX


def test_note_of_another_adapter_is_not_heeded() -> None:
    """A note counts only for the adapter that gives the same name."""
    note = Note("OTHER v2.0", digit=False, rung=Rung.ONE)
    cycle = PollCycle(VirtualLink(device()), jitter=Random(1), note=note)
    while cycle.now() < 5.0:
        cycle.step()
    assert cycle.batching is not None
    assert cycle.batching.rung is Rung.SIX
    assert cycle.batching.digit_known
