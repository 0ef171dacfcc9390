"""The faults a simulated car can have: one record each, severity drawn at random.

A fault writes numbers into `Defects`; the physics does the rest. Each range is what
such a fault does to a real car, from common practice unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random

from bankwise.adapters.car.defects import Defects
from bankwise.adapters.car.spec import CarSpec

Apply = Callable[[Defects, CarSpec, int, float, Random], None]
"""Writes a fault of a severity (0 mildest that counts, 1 worst) for a bank index."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault.

    Attributes:
        id: as used in commands. `title`: in the trade's words.
        apply: writes it into the defects.
        place: what an explanation is about, with `{}` for the bank; `engine` else.
        explanation: id of the explanation that is right, or None when healthy.
        flag: id of the flag it should raise first, or None.
        bank: 1 or 2. `severity`: 0 to 1, None to draw it.
        needs: what the car must have: `mass_air`, `map_only`, `switching`, `two_banks`.
    """

    id: str
    title: str
    apply: Apply
    place: str
    explanation: str | None
    flag: str | None
    bank: int = 1
    severity: float | None = None
    needs: frozenset[str] = frozenset()

    @property
    def about(self) -> str:
        """What it is about, for example `B1S1`."""
        return self.place.format(self.bank)

    def on(self, bank: int) -> Fault:
        """The same fault on another bank."""
        return replace(self, bank=bank)

    def at(self, severity: float) -> Fault:
        """The same fault with a fixed severity, 0 to 1."""
        return replace(self, severity=severity)

    def fits(self, spec: CarSpec) -> bool:
        """Whether a car can have it."""
        has = {
            "mass_air": spec.mass_air,
            "map_only": not spec.mass_air,
            "switching": not spec.wideband,
            "two_banks": spec.banks == 2,
        }
        return self.bank <= spec.banks and all(has[need] for need in self.needs)

    def write(self, defects: Defects, spec: CarSpec, rng: Random) -> float:
        """Write it into `defects` and give back the severity used."""
        drawn = rng.random()
        severity = drawn if self.severity is None else self.severity
        self.apply(defects, spec, self.bank - 1, severity, rng)
        return severity


_SENSOR_FLAGS = frozenset({
    "parked-at-bias", "late-wake-up", "rear-flat", "slow-switching", "slow-one-way",
    "decel-not-lean", "stuck-lean", "stuck-rich", "lambda-off-command",
})  # fmt: skip


def flag_place(flag: str | None, about: str) -> str:
    """What a flag is about when its cause is about a sensor: the sensor or its bank."""
    if flag in _SENSOR_FLAGS or not about.startswith("B"):
        return about
    return about[:2]


def _between(low: float, high: float, severity: float) -> float:
    return low + (high - low) * severity


def _nothing(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    return


def _front_lean(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    if spec.wideband:
        d.front[b].shift = _between(0.34, 0.55, s)
    else:
        d.front[b].pull_down = _between(0.62, 0.98, s)


def _front_rich(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    if spec.wideband:
        d.front[b].shift = _between(-0.40, -0.70, s)
    else:
        d.front[b].pull_up = _between(0.72, 0.98, s)


def _front_open(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.front[b].open = True


def _front_aged(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.front[b].slow_lean_to_rich = _between(4.5, 9.0, s)
    d.front[b].slow_rich_to_lean = _between(3.0, 7.0, s)
    d.front[b].swing = _between(0.95, 0.75, s)


def _front_one_way(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    # Ageing slows the way to rich and quickens the way to lean. Source: B4.
    d.front[b].slow_lean_to_rich = _between(5.0, 12.0, s)
    d.front[b].slow_rich_to_lean = 0.9


def _rear_dead(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.rear[b].flat_v = rng.uniform(0.41, 0.49)


def _rear_open(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.rear[b].open = True


def _late_cam(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.breathing_loss[b] = _between(0.17, 0.33, s)


def _choked(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.breathing_loss[b] = _between(0.02, 0.05, s)
    d.exhaust_choke[b] = _between(0.45, 0.75, s)


def _leak(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.leak_gps = spec.displacement_l * _between(0.15, 0.26, s)


def _runner_leak(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    share = spec.displacement_l / spec.banks
    d.runner_leak_gps[b] = share * _between(0.16, 0.28, s)


def _weak_supply(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.supply_loss = _between(0.85, 1.5, s)


def _low_pressure(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.pressure_gain = _between(0.86, 0.76, s)


def _under_read(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.maf_loss = _between(0.11, 0.19, s)
    d.maf_loss_flow = _between(0.06, 0.15, s)


def _over_read(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.maf_loss = _between(-0.14, -0.26, s)


def _map_under_read(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.map_gain = _between(0.89, 0.82, s)


def _common_rich(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    if rng.random() < 0.5:
        d.pressure_gain = _between(1.14, 1.28, s)
    else:
        d.purge_stuck = _between(0.25, 0.6, s)


def _thermostat(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.thermostat = _between(0.12, 0.45, s)


def _catalyst(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.storage[b] = _between(0.02, 0.002, s)


def _heater(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.front[b].heater = _between(0.10, 0.0, s)


def _rear_heater(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.rear[b].heater = 0.0


def _drip(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    idle_fuel = 0.075 * spec.displacement_l / spec.banks
    d.drip_gps[b] = idle_fuel * _between(0.36, 0.55, s)


def _injectors_lean(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.injector_gain[b] = _between(0.87, 0.77, s)


def _injectors_rich(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.injector_gain[b] = _between(1.14, 1.28, s)


def _exhaust_leak(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.exhaust_leak[b] = _between(0.16, 0.28, s)


def _misfire(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.misfire[b] = _between(0.05, 0.18, s)


def _crossed(d: Defects, spec: CarSpec, b: int, s: float, rng: Random) -> None:
    d.crossed = True


_B, _S1, _S2, _E = "B{}", "B{}S1", "B{}S2", "engine"
_MAF, _MAP = frozenset({"mass_air"}), frozenset({"map_only"})
_TWO, _NARROW = frozenset({"two_banks"}), frozenset({"switching"})

_ROWS = (
    Fault("healthy", "nothing wrong", _nothing, _E, None, None),
    Fault("front-sensor-reads-lean", "front sensor pulled or shifted lean", _front_lean,
          _S1, "sensor-reads-lean", "front-lean-rear-rich"),
    Fault("front-sensor-reads-rich", "front sensor pulled or shifted rich", _front_rich,
          _S1, "sensor-reads-rich", "front-rich-rear-lean"),
    Fault("front-sensor-unplugged", "front sensor's signal open", _front_open,
          _S1, "sensor-open-circuit", "parked-at-bias"),
    Fault("front-sensor-aged", "front sensor slow both ways", _front_aged,
          _S1, "sensor-aged", "slow-switching", needs=_NARROW),
    Fault("front-sensor-aged-one-way", "front sensor slow towards rich", _front_one_way,
          _S1, "sensor-aged", "slow-one-way", needs=_NARROW),
    Fault("rear-sensor-dead", "rear sensor's element dead", _rear_dead,
          _S2, "rear-sensor-faulty", "rear-flat"),
    Fault("rear-sensor-unplugged", "rear sensor's signal open", _rear_open,
          _S2, "rear-sensor-faulty", "rear-flat"),
    Fault("bank-breathes-less", "one bank's cam is late", _late_cam,
          _B, "bank-breathes-less", "mirror-trims", needs=_TWO),
    Fault("bank-exhaust-choked", "one bank's exhaust is restricted", _choked,
          _B, "bank-breathes-less", "mirror-trims", needs=_TWO),
    Fault("unmetered-air", "leak into the plenum", _leak,
          _E, "common-unmetered-air", "both-lean-fades", needs=_MAF),
    Fault("unmetered-air-one-bank", "leak into one bank's runners", _runner_leak,
          _B, "bank-unmetered-air", "one-bank-lean-fades", needs=_TWO),
    Fault("weak-fuel-supply", "fuel pressure falls with flow", _weak_supply,
          _E, "fuel-supply-weak", "both-lean-grows"),
    Fault("low-fuel-pressure", "fuel pressure low everywhere", _low_pressure,
          _E, "fuel-supply-weak", "both-lean"),
    Fault("airflow-under-read", "air meter under-reads", _under_read,
          _E, "airflow-under-read", "both-lean", needs=_MAF),
    Fault("airflow-over-read", "air meter over-reads", _over_read,
          _E, "airflow-over-read", "both-rich", needs=_MAF),
    Fault("pressure-under-read", "pressure sensor under-reads", _map_under_read,
          _E, "airflow-under-read", "both-lean", needs=_MAP),
    Fault("common-rich", "too much fuel on every cylinder", _common_rich,
          _E, "common-rich-source", "both-rich"),
    Fault("thermostat-open", "thermostat cannot close", _thermostat,
          _E, "thermostat-open", "thermostat-low"),
    Fault("worn-catalyst", "catalyst stores hardly any oxygen", _catalyst,
          _B, "catalyst-worn", "rear-copies-front"),
    Fault("cold-heater", "front sensor's heater dead", _heater,
          _S1, "sensor-heater", "late-wake-up"),
    Fault("rear-cold-heater", "rear sensor's heater dead", _rear_heater,
          _S2, "sensor-heater", "late-wake-up"),
    Fault("leaking-injector", "an injector drips", _drip,
          _B, "bank-injectors-rich", "one-bank-subtracting"),
    Fault("injectors-lean", "one bank's injectors flow too little", _injectors_lean,
          _B, "bank-injectors-lean", "one-bank-lean", needs=_TWO),
    Fault("injectors-rich", "one bank's injectors flow too much", _injectors_rich,
          _B, "bank-injectors-rich", "one-bank-subtracting", needs=_TWO),
    Fault("exhaust-leak", "leak ahead of the front sensor", _exhaust_leak,
          _B, "exhaust-leak", "exhaust-leak-pattern"),
    Fault("misfire", "combustions fail on one bank", _misfire,
          _B, "misfire", "misfire-false-lean"),
    Fault("crossed-sensors", "front sensors' plugs swapped", _crossed,
          _E, "sensors-crossed", "crossed-sensors", needs=_TWO),
)  # fmt: skip

FAULTS: dict[str, Fault] = {row.id: row for row in _ROWS}
"""Every fault by id."""


class UnknownFault(ValueError):
    """No fault has that name."""


def fault_named(text: str) -> Fault:
    """The fault for `id`, `id@2` for bank 2, `id:0.8` or `id@2:0.8` with a severity.

    Raises:
        UnknownFault: when there is none.
    """
    named, _, share = text.partition(":")
    id_, _, bank = named.partition("@")
    if id_ not in FAULTS or bank not in ("", "1", "2"):
        raise UnknownFault(f"no such fault: {text}")
    fault = FAULTS[id_].on(int(bank)) if bank else FAULTS[id_]
    if not share:
        return fault
    try:
        severity = float(share)
    except ValueError:
        severity = -1.0
    if not 0.0 <= severity <= 1.0:
        raise UnknownFault(f"a severity is a number from 0 to 1: {text}")
    return fault.at(severity)
