"""The poll cycle against the simulated adapter, in virtual time: nothing is mocked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from random import Random

import pytest

from bankwise.adapters.batching import Rung
from bankwise.adapters.car.bus import CarBus
from bankwise.adapters.car.dialect import SimulatedAdapter
from bankwise.adapters.car.evidence import Fixed, FreezeFrame
from bankwise.adapters.car.framing import PROTOCOLS, TRANSMISSION
from bankwise.adapters.car.information import UnitNames
from bankwise.adapters.car.quirks import ADAPTERS, QUIET, Mishap, Quirks, Trouble
from bankwise.adapters.car.timing import LINKS, LinkTiming
from bankwise.adapters.car.uds_unit import UdsUnit
from bankwise.adapters.car.unit import ControlUnit, Manners
from bankwise.adapters.car.virtual import Cable, VirtualLink
from bankwise.adapters.cycle import PollCycle
from bankwise.adapters.decode import Decoder
from bankwise.adapters.errors import LinkError
from bankwise.adapters.recorder import new_header
from bankwise.adapters.records import Exchange, LinkRecord, Record
from bankwise.adapters.source import LinkState
from bankwise.signals.columns import Columns

VIN = "1M8GDM9AXKP042788"
"""A published check-digit example."""


@dataclass
class StillCar:
    """A car whose readings stay, so that every decoded value can be compared."""

    readings: Mapping[str, float] = field(
        default_factory=lambda: {
            "rpm": 775.0, "speed_kmh": 0.0, "load_pct": 20.0, "ect_c": 83.0,
            "iat_c": 25.0, "maf_gps": 4.5, "throttle_pct": 20.0, "timing_deg": 10.0,
            "stft_b1_pct": -25.0, "ltft_b1_pct": 9.375, "stft_b2_pct": 25.0,
            "ltft_b2_pct": 0.0, "fuel_status_b1": 2.0, "fuel_status_b2": 2.0,
            "o2_b1s1_v": 0.45, "o2_b1s2_v": 0.7, "o2_b2s1_v": 0.1, "o2_b2s2_v": 0.6,
            "baro_kpa": 100.0, "module_v": 14.1, "run_s": 100.0,
        }
    )  # fmt: skip
    key_on: bool = True
    engine_running: bool = True

    def advance(self, t: float) -> None:
        """Time changes nothing."""


def adapter(
    protocol: str = "6",
    quirks: Quirks | None = None,
    trouble: Trouble = QUIET,
    link: LinkTiming | None = None,
    car: StillCar | None = None,
    manners: Manners | None = None,
    vin: str = VIN,
    uds: bool = False,
) -> SimulatedAdapter:
    """A simulated adapter in the socket of a still car."""
    car = car or StillCar()
    unit = ControlUnit(car, UnitNames(vin=vin), can=protocol in "6789", manners=manners)
    units = [UdsUnit(unit) if uds else unit]
    bus = CarBus(car, units, PROTOCOLS[protocol], seed=1)
    return SimulatedAdapter(bus, link or LINKS["usb-115200"], quirks, trouble)


@dataclass
class Ride:
    """What a run of the cycle gave."""

    cycle: PollCycle
    records: list[Record]
    columns: Columns

    @property
    def exchanges(self) -> list[Exchange]:
        """All exchanges."""
        return [record for record in self.records if isinstance(record, Exchange)]

    @property
    def link(self) -> list[str]:
        """The link's life."""
        return [
            record.state for record in self.records if isinstance(record, LinkRecord)
        ]


def ride(device: SimulatedAdapter, seconds: float, cable: Cable | None = None) -> Ride:
    """Runs the cycle; a lost link is opened again as a live drive would."""
    cable = cable or Cable(device)
    cycle = PollCycle(cable.open(), jitter=Random(1))
    records: list[Record] = []
    while cycle.now() < seconds:
        try:
            records += cycle.step()
        except LinkError as error:
            records += cycle.lost(str(error))
            cable.pass_time(0.5)
            while cable.cut:
                cable.pass_time(0.5)
            cycle.relink(cable.open())
    decoder = Decoder(new_header("2026-01-01T00:00:00Z", cycle.found))
    decoder.feed(records)
    return Ride(cycle, records, decoder.columns)


def check_values(result: Ride, car: StillCar | None = None) -> None:
    """Every decoded value is the car's, within its encoding's step."""
    readings = (car or StillCar()).readings
    assert result.columns.measured
    for name, column in result.columns.measured.items():
        step = {"maf_gps": 0.01, "rpm": 0.25, "module_v": 0.01}.get(name, 0.5)
        assert abs(column.v - readings[name]).max() <= step, name


@pytest.mark.parametrize("protocol", sorted(PROTOCOLS))
def test_every_protocol_is_found_and_read(protocol: str) -> None:
    """On each of the nine protocols the car is found, named and read."""
    result = ride(adapter(protocol), 14.0)
    found = result.cycle.found
    assert found.protocol == protocol
    assert found.vin == VIN
    assert result.link == ["up"]
    assert {"o2_b1s1_v", "stft_b2_pct", "rpm", "ect_c"} <= set(result.columns.measured)
    check_values(result)
    times = [record.t for record in result.records if isinstance(record, Exchange)]
    assert times == sorted(times)


@pytest.mark.parametrize("protocol", ["3", "4", "6"])
def test_the_link_is_up_only_once_the_vehicle_has_answered(protocol: str) -> None:
    """Waking a five-baud bus takes seconds; that is not a connection yet."""
    records = ride(adapter(protocol), 8.0).records
    up = next(i for i, r in enumerate(records) if isinstance(r, LinkRecord))
    before = [r for r in records[:up] if isinstance(r, Exchange)]
    answered = [r for r in before if r.q.startswith("0100") and r.a and not r.e]
    assert answered
    assert records[up].t >= answered[0].t + answered[0].d
    if protocol in "34":
        assert records[up].t > 2.0


def test_a_freeze_frame_is_looked_for_when_the_drive_begins() -> None:
    """Its code is asked once; its conditions only when a code set it."""
    asked = [x.q for x in ride(adapter("6"), 6.0).exchanges]
    assert asked.count("020200") == 1
    assert "020C00" not in asked
    car = StillCar()
    memory = Fixed(
        stored=("P0171",),
        freeze_frames=(FreezeFrame("P0171", {"rpm": 2000.0, "load_pct": 40.0}),),
    )
    unit = ControlUnit(car, UnitNames(vin=VIN), evidence=memory)
    bus = CarBus(car, [unit], PROTOCOLS["6"], seed=1)
    device = SimulatedAdapter(bus, LINKS["usb-115200"])
    asked = [x.q for x in ride(device, 6.0).exchanges]
    assert asked.count("020C00") == 1


@pytest.mark.parametrize("protocol", ["6", "7"])
def test_car_of_j1979_2_is_read_by_identifier(protocol: str) -> None:
    """A car silent to service 01 gives the same signals through service 22."""
    result = ride(adapter(protocol, uds=True), 20.0)
    found = result.cycle.found
    assert found.protocol == protocol
    assert found.vin == VIN
    assert {"o2_b1s1_v", "stft_b2_pct", "rpm", "ect_c"} <= set(result.columns.measured)
    check_values(result)
    polls = [x.q for x in result.exchanges if x.q.startswith("22F4") and x.t > 10.0]
    assert sum(len(q) == 15 for q in polls) > 0.9 * len(polls)
    asked = {x.q for x in result.exchanges}
    assert {"22F802", "194233081E", "194233041E", "195533"} <= asked
    assert not {q for q in asked if q[:2] in ("02", "03", "07", "09")}
    t = result.columns["o2_b1s1_v"].t
    assert len(t[t > 10.0]) / 10.0 > 10.0


def test_can_asks_six_with_a_digit() -> None:
    """On CAN nearly every request carries six PIDs and the frames to expect."""
    result = ride(adapter(), 20.0)
    polls = [x.q for x in result.exchanges if x.q.startswith("01") and x.t > 2.0]
    full = [q for q in polls if len(q) == 15]
    assert len(full) > 0.95 * len(polls)
    assert result.cycle.batching is not None
    assert result.cycle.batching.mismatches == 0


def test_two_sensors_and_trims_at_honest_rates() -> None:
    """At 115200 baud each front sensor comes well above ten times a second."""
    result = ride(adapter(), 10.0)
    for name in ("o2_b1s1_v", "o2_b2s1_v"):
        assert len(result.columns[name]) / 9.0 > 10.0
    for name in ("stft_b1_pct", "fuel_status_b2"):
        assert len(result.columns[name]) / 9.0 > 2.0


@pytest.mark.parametrize("quality", sorted(set(ADAPTERS) - {"headerless"}))
def test_adapters_of_every_quality_are_read_rightly(quality: str) -> None:
    """Whatever an adapter can or pretends to do, values are right or missing."""
    result = ride(adapter(quirks=ADAPTERS[quality]), 25.0)
    check_values(result)
    assert result.cycle.state is LinkState.UP
    assert {"o2_b1s1_v", "o2_b2s1_v", "rpm"} <= set(result.columns.measured)


@pytest.mark.parametrize(
    ("quality", "rung"),
    [("good", Rung.SIX), ("no-digit", Rung.SIX), ("one-value", Rung.ONE)],
)
def test_ladder_finds_what_the_adapter_can(quality: str, rung: Rung) -> None:
    """The rung reached is the adapter's own."""
    batching = ride(adapter(quirks=ADAPTERS[quality]), 30.0).cycle.batching
    assert batching is not None
    assert batching.rung is rung


# On CAN the adapter keeps the bus checksum to itself, so a character that a bad serial
# line flips inside a value cannot be told from a measured one: left out here.
@pytest.mark.parametrize("mishap", sorted(set(Mishap) - {Mishap.BIT_FLIP}, key=str))
def test_every_mishap_is_survived_and_never_becomes_a_value(mishap: Mishap) -> None:
    """Each thing that can go wrong, often: values stay right and the drive goes on."""
    trouble = Trouble(chance={mishap: 0.05}, at={60: mishap, 61: mishap}, seed=3)
    result = ride(adapter(trouble=trouble), 12.0)
    check_values(result)
    assert len(result.columns["rpm"]) > 5
    brief = ride(adapter(trouble=Trouble(at={60: mishap, 61: mishap})), 9.0)
    check_values(brief)
    assert brief.cycle.state is LinkState.UP
    assert brief.columns["rpm"].t[-1] > 8.5


@pytest.mark.parametrize("protocol", ["1", "2", "3", "5"])
def test_check_byte_catches_wrong_characters(protocol: str) -> None:
    """Where answers keep their check byte, a flipped character is never a value."""
    trouble = Trouble(chance={Mishap.BIT_FLIP: 0.1}, seed=4)
    check_values(ride(adapter(protocol, trouble=trouble), 20.0))


@pytest.mark.parametrize("protocol", ["3", "6", "7"])
def test_two_units_whose_frames_come_interleaved(protocol: str) -> None:
    """A gearbox that answers as well adds its frames to the digit and no confusion."""
    car = StillCar()
    can = protocol in "6789"
    engine = ControlUnit(car, UnitNames(vin=VIN), can=can)
    shown = frozenset({"rpm", "speed_kmh", "ect_c", "load_pct", "module_v"})
    gearbox = ControlUnit(car, UnitNames(), TRANSMISSION, can=can, signals=shown)
    bus = CarBus(car, [engine, gearbox], PROTOCOLS[protocol], seed=1)
    result = ride(SimulatedAdapter(bus, LINKS["usb-115200"]), 15.0)
    check_values(result)
    assert len(result.cycle.found.units) == 2
    assert result.cycle.found.vin == VIN
    batching = result.cycle.batching
    assert batching is not None
    assert batching.mismatches == 0
    if can:
        last = [x for x in result.exchanges if x.q.startswith("010")][-200:]
        assert all(x.q[-1] == f"{len(x.a):X}" for x in last if len(x.q) % 2)
        assert {x.q[-1] for x in last if len(x.q) == 15} >= {"4"}


def test_fault_that_blocks_the_search_is_forgotten() -> None:
    """After ERR94 the adapter is told to forget it before it is set up again."""
    result = ride(adapter(trouble=Trouble(at={60: Mishap.ERR94})), 15.0)
    asked = [x.q for x in result.exchanges]
    assert asked.index("ATFE") < len(asked) - 1 - asked[::-1].index("ATH1")
    assert result.link[:3] == ["up", "lost", "back"]


def test_unit_that_is_not_ready_is_waited_for() -> None:
    """Answers announced with 7F xx 78 arrive all the same."""
    result = ride(adapter(manners=Manners(pending_s={0x01: 0.05})), 20.0)
    check_values(result)
    assert len(result.columns["rpm"]) > 20


def test_busy_unit_is_asked_again() -> None:
    """A unit that is busy once before each answer still gives its values."""
    result = ride(adapter(manners=Manners(busy=frozenset({0x01}))), 20.0)
    check_values(result)
    assert len(result.columns["rpm"]) > 20


def test_ignition_off_and_on_is_a_hole_that_ends() -> None:
    """With the key off the link is lost in words; with the key on it is back."""
    car = StillCar()
    device = adapter(car=car)
    cable = Cable(device)
    cycle = PollCycle(cable.open(), jitter=Random(1))
    records: list[Record] = []
    said = ""
    while cycle.now() < 60.0:
        car.key_on = not 20.0 < cable.now < 35.0
        records += cycle.step()
        if cycle.state is LinkState.LOST:
            said = said or cycle.status
    links = [record for record in records if isinstance(record, LinkRecord)]
    assert [link.state for link in links] == ["up", "lost", "back"]
    assert 20.0 < links[1].t < 23.0
    assert 35.0 < links[2].t < 45.0
    assert "ignition" in said


def test_unplugged_cable_is_lost_and_back() -> None:
    """A cable pulled for five seconds leaves a hole and the same drive goes on."""
    device = adapter()
    result = ride(device, 30.0, Cable(device, cuts=[(10.0, 15.0)]))
    assert result.link == ["up", "lost", "back"]
    assert result.columns["rpm"].t[-1] > 29.0
    gap = result.columns["rpm"].t
    assert not ((gap > 10.1) & (gap < 15.0)).any()


def test_another_car_ends_the_drive() -> None:
    """When another VIN answers after a hole, the cycle says so."""
    first = adapter()
    cable = Cable(first, cuts=[(10.0, 12.0)])
    cycle = PollCycle(cable.open(), jitter=Random(1))
    while not cycle.other_vehicle and cycle.now() < 30.0:
        try:
            cycle.step()
        except LinkError as error:
            cycle.lost(str(error))
            cable.pass_time(3.0)
            cable.adapter = adapter(vin="1G4AH59H45G118341")
            cycle.relink(cable.open())
    assert cycle.other_vehicle


def test_same_seed_same_records() -> None:
    """Two runs over the same car give the same records, byte for byte."""
    assert ride(adapter(), 10.0).records == ride(adapter(), 10.0).records


def test_other_rates_from_one_moment_to_the_next() -> None:
    """A wish for one sensor is obeyed within a request, and so is taking it back."""
    cycle = PollCycle(VirtualLink(adapter()), jitter=Random(1))
    records: list[Record] = []
    while cycle.now() < 10.0:
        records += cycle.step()
    cycle.want({"o2_b2s1_v": 100.0})
    while cycle.now() < 20.0:
        records += cycle.step()
    cycle.want(None)
    while cycle.now() < 30.0:
        records += cycle.step()
    decoder = Decoder(new_header("2026-01-01T00:00:00Z", cycle.found))
    decoder.feed(records)

    def rate(name: str, start: float, end: float) -> float:
        t = decoder.columns[name].t
        return float(((t >= start) & (t < end)).sum()) / (end - start)

    assert rate("o2_b2s1_v", 10, 20) > 1.2 * rate("o2_b2s1_v", 2, 10)
    assert rate("o2_b1s1_v", 10, 20) < 1.0
    assert rate("o2_b1s1_v", 21, 30) > 10.0


def test_a_sensor_asked_alone_comes_again_after_the_key_was_off() -> None:
    """What the whole vehicle left unanswered is not held against one PID."""
    car = StillCar()
    cable = Cable(adapter(car=car))
    cycle = PollCycle(cable.open(), jitter=Random(1))
    records: list[Record] = []
    while cycle.now() < 15.0:
        records += cycle.step()
    cycle.want({"o2_b2s1_v": 1000.0})
    while cycle.now() < 40.0:
        car.key_on = not 20.0 < cable.now < 24.0
        records += cycle.step()
    decoder = Decoder(new_header("2026-01-01T00:00:00Z", cycle.found))
    decoder.feed(records)
    t = decoder.columns["o2_b2s1_v"].t
    assert ((t > 32.0) & (t < 40.0)).sum() > 100


def test_rest_leaves_the_adapter_at_its_prompt() -> None:
    """After the last step the adapter answers at once and the bus is closed."""
    device = adapter()
    link = VirtualLink(device)
    cycle = PollCycle(link, jitter=Random(1))
    while cycle.now() < 5.0:
        cycle.step()
    (last,) = cycle.rest()
    assert isinstance(last, Exchange)
    assert (last.q, last.a) == ("ATPC", ("OK",))
    assert device.next_due is None
