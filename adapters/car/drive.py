"""Drives: what the key, the pedal and the road do, as a plan of legs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from random import Random


class Do(Enum):
    """What a leg asks of the driver."""

    KEY_OFF = "key off"
    KEY_ON = "key on, engine off"
    START = "crank and start"
    IDLE = "idle"
    HOLD = "hold an engine speed in neutral"
    SNAP = "snap the throttle in neutral"
    GO = "drive at a speed"
    PULL = "pull at wide open"
    COAST = "closed throttle in gear"
    STOP = "brake to a stop"


@dataclass(frozen=True, slots=True)
class Leg:
    """One part of a drive.

    Attributes:
        do: what is asked.
        seconds: how long; a pull ends early at `value`.
        value: km/h for GO and PULL, rpm for HOLD, else unused.
        grade: slope of the road as a share.
    """

    do: Do
    seconds: float
    value: float = 0.0
    grade: float = 0.0


@dataclass(frozen=True, slots=True)
class Drive:
    """A plan. After its last leg the car idles."""

    id: str
    title: str
    legs: tuple[Leg, ...]

    @property
    def seconds(self) -> float:
        """Length of the plan."""
        return sum(leg.seconds for leg in self.legs)


def _start(key_on_s: float = 4.0) -> tuple[Leg, ...]:
    return (Leg(Do.KEY_ON, key_on_s), Leg(Do.START, 1.2))


_TOWN: tuple[Leg, ...] = (
    Leg(Do.GO, 18, 35), Leg(Do.STOP, 7), Leg(Do.IDLE, 10),
    Leg(Do.GO, 22, 50), Leg(Do.COAST, 7), Leg(Do.STOP, 6), Leg(Do.IDLE, 14),
    Leg(Do.GO, 16, 30), Leg(Do.GO, 18, 52), Leg(Do.COAST, 8), Leg(Do.STOP, 5),
)  # fmt: skip
_ROAD: tuple[Leg, ...] = (
    Leg(Do.GO, 40, 80), Leg(Do.COAST, 9), Leg(Do.GO, 30, 95), Leg(Do.GO, 25, 70),
)  # fmt: skip
_PULL: tuple[Leg, ...] = (
    Leg(Do.GO, 10, 55), Leg(Do.PULL, 9, 115), Leg(Do.COAST, 10), Leg(Do.GO, 20, 70),
)  # fmt: skip


def _plan(id_: str, title: str, *parts: Iterable[Leg]) -> Drive:
    return Drive(id_, title, tuple(leg for part in parts for leg in part))


DRIVES: dict[str, Drive] = {
    drive.id: drive
    for drive in (
        _plan(
            "mixed",
            "idle, 2500 rpm, snaps, town, road, a pull, fuel cuts",
            _start(),
            (Leg(Do.IDLE, 35), Leg(Do.HOLD, 30, 2500), Leg(Do.IDLE, 15)),
            (Leg(Do.SNAP, 3), Leg(Do.IDLE, 6), Leg(Do.SNAP, 3), Leg(Do.IDLE, 8)),
            (Leg(Do.GO, 30, 50), Leg(Do.COAST, 8), Leg(Do.STOP, 6), Leg(Do.IDLE, 12)),
            _ROAD,
            _PULL,
            (Leg(Do.STOP, 10), Leg(Do.IDLE, 30)),
            _TOWN,
            (Leg(Do.IDLE, 30),),
        ),
        _plan(
            "first-minutes",
            "a short idle, 2500 rpm and snaps, then town, road, a pull and fuel cuts",
            _start(2.0),
            (Leg(Do.IDLE, 22), Leg(Do.HOLD, 30, 2500), Leg(Do.IDLE, 12)),
            (Leg(Do.SNAP, 3), Leg(Do.IDLE, 7), Leg(Do.SNAP, 3), Leg(Do.IDLE, 12)),
            (Leg(Do.GO, 30, 50), Leg(Do.COAST, 8), Leg(Do.STOP, 6), Leg(Do.IDLE, 12)),
            _ROAD,
            _PULL,
            (Leg(Do.STOP, 10), Leg(Do.IDLE, 30)),
            _TOWN,
            (Leg(Do.IDLE, 60),),
        ),
        _plan(
            "warm-up",
            "cold start, a long idle, then a gentle drive",
            _start(6.0),
            (Leg(Do.IDLE, 120), Leg(Do.GO, 60, 45), Leg(Do.STOP, 6), Leg(Do.IDLE, 15)),
            (Leg(Do.GO, 90, 65), Leg(Do.COAST, 8), Leg(Do.GO, 90, 85)),
            _PULL,
            (Leg(Do.GO, 120, 75), Leg(Do.STOP, 8), Leg(Do.IDLE, 60)),
        ),
        _plan(
            "long-way",
            "a cold start and a long way through villages",
            _start(6.0),
            (Leg(Do.IDLE, 60), Leg(Do.GO, 150, 55), Leg(Do.STOP, 6), Leg(Do.IDLE, 20)),
            (Leg(Do.GO, 200, 70), Leg(Do.COAST, 8), Leg(Do.GO, 100, 50)),
            _ROAD,
            (Leg(Do.GO, 150, 75), Leg(Do.STOP, 8), Leg(Do.IDLE, 30)),
            (Leg(Do.GO, 240, 60), Leg(Do.STOP, 8), Leg(Do.IDLE, 60)),
        ),
        _plan(
            "hills",
            "country road with climbs and descents",
            _start(),
            (Leg(Do.IDLE, 30), Leg(Do.GO, 40, 60), Leg(Do.GO, 45, 70, 0.05)),
            (Leg(Do.GO, 25, 60, -0.04), Leg(Do.GO, 40, 75, 0.07)),
            (Leg(Do.COAST, 12, 0, -0.06), Leg(Do.GO, 30, 80)),
            _PULL,
            (Leg(Do.GO, 40, 65, 0.06), Leg(Do.GO, 30, 60, -0.03), Leg(Do.STOP, 8)),
            (Leg(Do.IDLE, 40), Leg(Do.HOLD, 25, 2500), Leg(Do.IDLE, 20)),
        ),
        _plan(
            "town",
            "stop and go traffic with one clear stretch",
            _start(),
            (Leg(Do.IDLE, 40),),
            _TOWN,
            (Leg(Do.IDLE, 12),),
            _TOWN,
            _ROAD,
            _PULL,
            (Leg(Do.STOP, 8), Leg(Do.IDLE, 40)),
        ),
        _plan(
            "bay",
            "in the workshop: idle, 2500 rpm, snaps, no road",
            _start(),
            (Leg(Do.IDLE, 90), Leg(Do.HOLD, 60, 2500), Leg(Do.IDLE, 60)),
            (Leg(Do.SNAP, 3), Leg(Do.IDLE, 10), Leg(Do.SNAP, 3), Leg(Do.IDLE, 10)),
            (Leg(Do.HOLD, 60, 1500), Leg(Do.IDLE, 60), Leg(Do.HOLD, 45, 2500)),
            (Leg(Do.IDLE, 600),),
        ),
    )
}
"""The drives that come with the simulated car, by id."""


def random_drive(rng: Random, seconds: float) -> Drive:
    """A varied drive of about the given length, the same for the same numbers.

    It always idles first and holds 2500 rpm once; the rest is drawn: town, road, hills,
    pulls and fuel cuts.
    """
    legs: list[Leg] = [*_start(rng.uniform(2.0, 8.0))]
    legs.append(Leg(Do.IDLE, rng.uniform(20.0, 60.0)))
    if rng.random() < 0.7:
        legs.append(Leg(Do.HOLD, rng.uniform(15.0, 40.0), rng.uniform(2300.0, 2700.0)))
        legs.append(Leg(Do.IDLE, rng.uniform(5.0, 20.0)))
    spent = sum(leg.seconds for leg in legs)
    while spent < seconds:
        part = _random_part(rng)
        legs.extend(part)
        spent += sum(leg.seconds for leg in part)
    return Drive("random", "a drive drawn at random", tuple(legs))


def _random_part(rng: Random) -> list[Leg]:
    kind = rng.random()
    if kind < 0.35:
        return [
            Leg(Do.GO, rng.uniform(12, 40), rng.uniform(25, 55)),
            *([Leg(Do.COAST, rng.uniform(4, 9))] if rng.random() < 0.5 else []),
            Leg(Do.STOP, 7),
            Leg(Do.IDLE, rng.uniform(4, 45)),
        ]
    if kind < 0.65:
        return [
            Leg(Do.GO, rng.uniform(25, 90), rng.uniform(60, 120), rng.gauss(0, 0.006)),
            *([Leg(Do.COAST, rng.uniform(5, 12))] if rng.random() < 0.6 else []),
        ]
    if kind < 0.80:
        speed = rng.uniform(50, 90)
        climb = rng.uniform(0.03, 0.08)
        return [
            Leg(Do.GO, rng.uniform(20, 60), speed, climb),
            Leg(Do.GO, rng.uniform(10, 40), speed, -climb * 0.7),
            Leg(Do.COAST, rng.uniform(5, 12), 0, -climb * 0.5),
        ]
    start = rng.uniform(40, 70)
    return [
        Leg(Do.GO, 10, start),
        Leg(Do.PULL, rng.uniform(4, 9), start + rng.uniform(30, 60)),
        Leg(Do.COAST, rng.uniform(6, 11)),
        Leg(Do.GO, rng.uniform(10, 40), start + 10),
    ]
