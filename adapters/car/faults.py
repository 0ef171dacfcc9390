"""The faults a simulated car can have: one record each, severity drawn at random.

A fault writes numbers into `Defects` (`fault_effects`); the physics does the rest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random

from bankwise.adapters.car import fault_effects as does
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


_B, _S1, _S2, _E = "B{}", "B{}S1", "B{}S2", "engine"
_MAF, _MAP = frozenset({"mass_air"}), frozenset({"map_only"})
_TWO, _NARROW = frozenset({"two_banks"}), frozenset({"switching"})

_ROWS = (
    Fault("healthy", "nothing wrong", does.nothing, _E, None, None),
    Fault("front-sensor-reads-lean", "front sensor dragged lean", does.front_lean,
          _S1, "sensor-reads-lean", "front-lean-rear-rich"),
    Fault("front-sensor-reads-rich", "front sensor dragged rich", does.front_rich,
          _S1, "sensor-reads-rich", "front-rich-rear-lean"),
    Fault("front-sensor-unplugged", "front sensor's signal open", does.front_open,
          _S1, "sensor-open-circuit", "parked-at-bias"),
    Fault("front-sensor-aged", "front sensor slow both ways", does.front_aged,
          _S1, "sensor-aged", "slow-switching", needs=_NARROW),
    Fault("front-sensor-aged-one-way", "front sensor slow one way", does.front_one_way,
          _S1, "sensor-aged", "slow-one-way", needs=_NARROW),
    Fault("rear-sensor-dead", "rear sensor's element dead", does.rear_dead,
          _S2, "rear-sensor-faulty", "rear-flat"),
    Fault("rear-sensor-unplugged", "rear sensor's signal open", does.rear_open,
          _S2, "rear-sensor-faulty", "rear-flat"),
    Fault("bank-breathes-less", "one bank's cam is late", does.late_cam,
          _B, "bank-breathes-less", "mirror-trims", needs=_TWO),
    Fault("bank-exhaust-choked", "one bank's exhaust is restricted", does.choked,
          _B, "bank-breathes-less", "mirror-trims", needs=_TWO),
    Fault("unmetered-air", "leak into the plenum", does.leak,
          _E, "common-unmetered-air", "both-lean-fades", needs=_MAF),
    Fault("unmetered-air-one-bank", "leak into one bank's runners", does.runner_leak,
          _B, "bank-unmetered-air", "one-bank-lean-fades", needs=_TWO),
    Fault("weak-fuel-supply", "fuel pressure falls with flow", does.weak_supply,
          _E, "fuel-supply-weak", "both-lean-grows"),
    Fault("low-fuel-pressure", "fuel pressure low everywhere", does.low_pressure,
          _E, "fuel-supply-weak", "both-lean"),
    Fault("airflow-under-read", "air meter under-reads", does.under_read,
          _E, "airflow-under-read", "both-lean", needs=_MAF),
    Fault("airflow-over-read", "air meter over-reads", does.over_read,
          _E, "airflow-over-read", "both-rich", needs=_MAF),
    Fault("pressure-under-read", "pressure sensor under-reads", does.map_under_read,
          _E, "airflow-under-read", "both-lean", needs=_MAP),
    Fault("common-rich", "too much fuel on every cylinder", does.common_rich,
          _E, "common-rich-source", "both-rich"),
    Fault("thermostat-open", "thermostat cannot close", does.thermostat,
          _E, "thermostat-open", "thermostat-low"),
    Fault("worn-catalyst", "catalyst stores hardly any oxygen", does.catalyst,
          _B, "catalyst-worn", "rear-copies-front"),
    Fault("cold-heater", "front sensor's heater dead", does.heater,
          _S1, "sensor-heater", "late-wake-up"),
    Fault("rear-cold-heater", "rear sensor's heater dead", does.rear_heater,
          _S2, "sensor-heater", "late-wake-up"),
    Fault("leaking-injector", "an injector drips", does.drip,
          _B, "bank-injectors-rich", "one-bank-subtracting"),
    Fault("injectors-lean", "one bank gets too little fuel", does.injectors_lean,
          _B, "bank-injectors-lean", "one-bank-lean", needs=_TWO),
    Fault("injectors-rich", "one bank gets too much fuel", does.injectors_rich,
          _B, "bank-injectors-rich", "one-bank-subtracting", needs=_TWO),
    Fault("exhaust-leak", "leak ahead of the front sensor", does.exhaust_leak,
          _B, "exhaust-leak", "one-bank-lean-fades"),
    Fault("misfire", "combustions fail on one bank", does.misfire,
          _B, "misfire", "misfire-false-lean"),
    Fault("crossed-sensors", "front sensors' plugs swapped", does.crossed,
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
