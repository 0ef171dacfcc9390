"""The ledger: explanations, what a weight is, and which cause brings about another.

The weights themselves are one table, `weights.WEIGHTS`. A weight is a judgement, not
a probability, and its reason stands beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Where(Enum):
    """Where the explanation lies, seen from where the evidence was found."""

    SAME = "the same place"
    FRONT = "that bank's front sensor"
    REAR = "that bank's rear sensor"
    BANK = "that bank"
    OTHER = "the other bank"
    OTHER_FRONT = "the other bank's front sensor"
    ENGINE = "the engine"
    ANY = "anywhere"


@dataclass(frozen=True, slots=True)
class Weight:
    """What one kind of evidence adds to one explanation.

    Attributes:
        evidence: a flag id, or a kind of clue from `clues`.
        explanation: an explanation id.
        weight: above zero speaks for it, below zero against it.
        where: which place is meant, seen from the evidence's place.
        reason: why, in words.
    """

    evidence: str
    explanation: str
    weight: float
    where: Where
    reason: str


def weights_of(
    evidence: str, *rows: tuple[str, float, Where, str]
) -> tuple[Weight, ...]:
    """The weights of one kind of evidence: explanation, weight, place and reason."""
    return tuple(Weight(evidence, *row) for row in rows)


EXPLANATIONS: dict[str, str] = {
    "sensor-reads-lean": "the front sensor says lean when it is not",
    "sensor-reads-rich": "the front sensor says rich when it is not",
    "sensor-open-circuit": "the sensor or its wiring is open",
    "sensor-aged": "the sensor has become slow or weak",
    "sensor-heater": "the sensor's heater does not heat",
    "rear-sensor-faulty": "the rear sensor does not tell the truth",
    "bank-breathes-less": "this bank gets less air than the other",
    "bank-unmetered-air": "air enters this bank behind the meter",
    "common-unmetered-air": "air enters both banks behind the meter",
    "fuel-supply-weak": "the fuel supply cannot keep up",
    "airflow-under-read": "the airflow meter reads too little",
    "airflow-over-read": "the airflow meter reads too much",
    "common-rich-source": "extra fuel reaches the whole engine",
    "bank-injectors-lean": "this bank's injectors deliver too little",
    "bank-injectors-rich": "this bank's injectors deliver too much",
    "exhaust-leak": "air enters the exhaust ahead of the sensor",
    "misfire": "unburned mixture reaches the exhaust",
    "catalyst-worn": "the catalyst no longer stores oxygen",
    "thermostat-open": "the thermostat does not close",
    "sensors-crossed": "the banks' front sensors are swapped",
    "no-fault-seen": "everything seen was as it should be",
    "cannot-tell": "too little was seen to say",
}
"""Every explanation and what it says."""

CANNOT_TELL_WEIGHT = 1.0
"""What "cannot tell" always keeps in the balance. Source: our choice, because a
single fitting fact must not look like certainty."""

NO_FAULT_WEIGHT = 4.0
"""What a drive that showed enough and no fault weighs, if everything could be judged.
Source: our choice."""


@dataclass(frozen=True, slots=True)
class Consequence:
    """A cause that brings about what another explanation would say.

    Attributes:
        root: the cause.
        follows: the explanation whose evidence then proves less.
        where: where it follows, seen from the root's place.
        share: what is left of its weight while the root stands.
        reason: the physics.
    """

    root: str
    follows: str
    where: Where
    share: float
    reason: str


CONSEQUENCES: tuple[Consequence, ...] = (
    Consequence(
        "sensor-reads-lean",
        "misfire",
        Where.ANY,
        0.3,
        "the lying front sensor floods the bank until it misfires",
    ),
    Consequence(
        "sensor-reads-rich",
        "misfire",
        Where.ANY,
        0.3,
        "the lying front sensor starves the bank until it misfires",
    ),
    Consequence(
        "sensor-reads-lean",
        "rear-sensor-faulty",
        Where.REAR,
        0.5,
        "the lying front sensor floods the bank, so the rear stays rich",
    ),
    Consequence(
        "sensor-reads-lean",
        "fuel-supply-weak",
        Where.ENGINE,
        0.5,
        "the lying front sensor also says lean at full throttle",
    ),
    *(
        Consequence(
            root,
            "catalyst-worn",
            Where.BANK,
            0.3,
            "a bank held far off λ 1 "
            "leaves the catalyst empty or full, so the rear copies the front",
        )
        for root in ("sensor-reads-lean", "sensor-reads-rich")
    ),
    *(
        Consequence(
            "sensors-crossed",
            follows,
            Where.ANY,
            0.3,
            "each bank is steered by the other's sensor",
        )
        for follows in (
            "sensor-reads-lean",
            "sensor-reads-rich",
            "bank-breathes-less",
            "catalyst-worn",
            "exhaust-leak",
            "bank-injectors-lean",
            "bank-injectors-rich",
            "fuel-supply-weak",
        )
    ),
    *(
        Consequence(
            "sensor-open-circuit",
            follows,
            Where.BANK,
            0.3,
            "an open sensor reads neither lean nor rich whatever happens",
        )
        for follows in ("bank-injectors-rich", "bank-injectors-lean")
    ),
    Consequence(
        "sensor-open-circuit",
        "sensor-aged",
        Where.SAME,
        0.3,
        "an open sensor cannot switch",
    ),
    Consequence(
        "sensor-open-circuit",
        "sensor-heater",
        Where.SAME,
        0.5,
        "an open sensor never wakes",
    ),
    Consequence(
        "sensor-heater",
        "sensor-open-circuit",
        Where.SAME,
        0.5,
        "a cold sensor rests at its bias until the exhaust heats it",
    ),
    Consequence(
        "sensor-aged",
        "catalyst-worn",
        Where.BANK,
        0.5,
        "a slow front sensor makes slow, large swings that reach the rear",
    ),
    Consequence(
        "exhaust-leak",
        "misfire",
        Where.BANK,
        0.5,
        "air in the exhaust makes the unit flood the bank",
    ),
)
"""Root before consequence, where physics allows to tell."""
