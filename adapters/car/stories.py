"""The stories: a car, what is wrong with it, a drive, and what should be said of it.

Makes, models, VINs and people's complaints are invented. Each story fixes its seed, so
it is the same drive every time.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Any

from bankwise.adapters.car.drive import DRIVES, Drive
from bankwise.adapters.car.engines import (
    INLINE_OLD,
    INLINE_PRESSURE,
    INLINE_WIDE,
    SIX,
    SIX_PRESSURE_WIDE,
    SIX_WIDE,
    V8_PRESSURE,
)
from bankwise.adapters.car.faults import flag_place
from bankwise.adapters.car.model import Car
from bankwise.adapters.car.spec import CarSpec, ControlSpec


@dataclass(frozen=True, slots=True)
class Story:
    """One story.

    Attributes:
        id: as used in commands. `title`: one line.
        text: the scenario, as the customer or the workshop tells it.
        faults: as `fault_named` reads them; empty when healthy.
        drive: id in `DRIVES`. `seconds`: how much of it is recorded.
        seed: fixes the car and the drive.
        start_ect_c: coolant at key-on; None for a cold engine.
        fixed: fields of the car that are not left to chance.
        flag: flag that must be raised, or None when healthy.
        explanation: explanation that must come first, or None when healthy.
        about: what the explanation is about.
        settled: the fault is weeks old: its trims are learned before the story begins.
        car_seed: fixes the car alone, when it is the car of another story.
    """

    id: str
    title: str
    text: str
    faults: tuple[str, ...]
    drive_id: str
    seconds: float
    seed: int
    start_ect_c: float | None = 70.0
    fixed: dict[str, Any] = field(default_factory=dict)
    flag: str | None = None
    explanation: str | None = None
    about: str = "engine"
    settled: bool = False
    car_seed: int | None = None

    @property
    def flag_about(self) -> str:
        """What the flag is about: the sensor, its bank or the engine."""
        return flag_place(self.flag, self.about)

    @property
    def spec(self) -> CarSpec:
        """The car."""
        seed = self.seed if self.car_seed is None else self.car_seed
        return CarSpec.random(Random(seed), **self.fixed)

    @property
    def drive(self) -> Drive:
        """What the driver does."""
        return DRIVES[self.drive_id]

    def car(self, *, cold: bool = False) -> Car:
        """A fresh car at the beginning of the story.

        Args:
            cold: start from a cold engine instead.
        """
        start = None if cold else self.start_ect_c
        return Car(
            self.spec,
            self.faults,
            self.drive,
            self.seed,
            start,
            settled=self.settled,
        )


_ROWS = (
    Story(
        id="demo",
        title="a courier van that smells of fuel since its exhaust was repaired",
        text=(
            "The left pipe was welded right beside the front sensor's lead last week. "
            "Since then the van smells of fuel at every stop and drinks a quarter more."
        ),
        faults=("front-sensor-reads-lean@2",),
        drive_id="first-minutes", seconds=480.0, seed=11, start_ect_c=76.0,
        fixed={**SIX, "control": ControlSpec(closed_delay_s=6.0)}, settled=True,
        flag="front-lean-rear-rich", explanation="sensor-reads-lean", about="B2S1",
    ),
    Story(
        id="healthy",
        title="a family car that was only brought for its inspection",
        text="Nothing to complain of. The owner wants to know that it is well.",
        faults=(), drive_id="mixed", seconds=480.0, seed=21, fixed=SIX,
    ),
    Story(
        id="healthy-cold-morning",
        title="a small car on a frosty morning, driven gently",
        text="It stood outside all night. The owner hears a rattle that is not there.",
        faults=(), drive_id="warm-up", seconds=600.0, seed=22, start_ect_c=None,
        fixed={**INLINE_WIDE, "ambient_c": -4.0},
    ),
    Story(
        id="healthy-in-the-hills",
        title="a pick-up with a big engine on country hills",
        text="It was sold as healthy. The buyer drives his own hills before he pays.",
        faults=(), drive_id="hills", seconds=480.0, seed=23,
        fixed={**V8_PRESSURE, "altitude_m": 900.0, "stoich": 14.2},
    ),
    Story(
        id="front-sensor-reads-lean",
        title="a parcel van with black tail pipes on one side",
        text=(
            "One tail pipe is sooty and the plugs of that side are black. The last "
            "shop changed injectors; nothing changed."
        ),
        faults=("front-sensor-reads-lean",),
        drive_id="town", seconds=480.0, seed=31, fixed=SIX_WIDE,
        flag="front-lean-rear-rich", explanation="sensor-reads-lean", about="B1S1",
    ),
    Story(
        id="front-sensor-reads-rich",
        title="an estate car that surges since a coolant leak was mended",
        text="A head gasket was changed. Since then one side pings and the car surges.",
        faults=("front-sensor-reads-rich@2",),
        drive_id="mixed", seconds=480.0, seed=32, fixed=SIX,
        flag="front-rich-rear-lean", explanation="sensor-reads-rich", about="B2S1",
    ),
    Story(
        id="front-sensor-unplugged",
        title="an ambulance that came back from its gearbox repair with the lamp on",
        text=(
            "The gearbox was out for a week. The lamp came on two days later; the crew "
            "notices nothing."
        ),
        faults=("front-sensor-unplugged@2",),
        drive_id="mixed", seconds=480.0, seed=33, fixed=V8_PRESSURE,
        flag="parked-at-bias", explanation="sensor-open-circuit", about="B2S1",
    ),
    Story(
        id="front-sensor-aged",
        title="a taxi with many miles that fails its exhaust test by a little",
        text="A third of a million kilometres on the first sensors. Nothing to feel.",
        faults=("front-sensor-aged",),
        drive_id="mixed", seconds=540.0, seed=34, fixed=SIX,
        flag="slow-switching", explanation="sensor-aged", about="B1S1",
    ),
    Story(
        id="rear-sensor-dead",
        title="a people carrier with a code for the rear sensor",
        text="The code returns after each clearing. The catalyst was blamed first.",
        faults=("rear-sensor-dead@2",),
        drive_id="mixed", seconds=480.0, seed=35, fixed=SIX,
        flag="rear-flat", explanation="rear-sensor-faulty", about="B2S2",
    ),
    Story(
        id="bank-breathes-less",
        title="a saloon that lost its pull after its chain was changed",
        text=(
            "The timing chain was renewed. It starts and idles, but runs out of breath "
            "on the motorway."
        ),
        faults=("bank-breathes-less",),
        drive_id="mixed", seconds=540.0, seed=36, fixed=SIX, settled=True,
        flag="mirror-trims", explanation="bank-breathes-less", about="B1",
    ),
    Story(
        id="bank-breathes-less-by-pressure",
        title="a pick-up that lost power on hills",
        text="It pulls a trailer. Since autumn it falls back on every climb.",
        faults=("bank-breathes-less@2",),
        drive_id="hills", seconds=480.0, seed=37, fixed=SIX_PRESSURE_WIDE, settled=True,
        flag="one-bank-subtracting", explanation="bank-breathes-less", about="B2",
    ),
    Story(
        id="unmetered-air",
        title="a hatchback that idles high and hunts",
        text="A hose hisses somewhere under the cover; the idle hunts when it is warm.",
        faults=("unmetered-air",),
        drive_id="mixed", seconds=540.0, seed=38, fixed=INLINE_WIDE,
        flag="both-lean-fades", explanation="common-unmetered-air", about="engine",
    ),
    Story(
        id="unmetered-air-repaired",
        title="the hatchback that hunted, after its hose was renewed",
        text="The split hose was renewed three weeks ago. Is it really mended?",
        faults=(),
        drive_id="mixed", seconds=540.0, seed=138, car_seed=38, fixed=INLINE_WIDE,
    ),
    Story(
        id="unmetered-air-one-bank",
        title="a coupé with a rough idle after its manifold was off",
        text="The manifold was off for the plugs. The idle has been rough since.",
        faults=("unmetered-air-one-bank:0.5",),
        drive_id="mixed", seconds=540.0, seed=39, fixed=SIX, settled=True,
        flag="one-bank-lean-fades", explanation="bank-unmetered-air", about="B1",
    ),
    Story(
        id="weak-fuel-supply",
        title="a camper van that gasps when it overtakes",
        text="In town it is perfect. With the foot down it gasps as if out of fuel.",
        faults=("weak-fuel-supply",),
        drive_id="hills", seconds=480.0, seed=40, fixed=SIX,
        flag="both-lean-grows", explanation="fuel-supply-weak", about="engine",
    ),
    Story(
        id="airflow-under-read",
        title="a delivery van with an oiled sports filter",
        text="A washable filter was fitted in spring. The lamp came on in summer.",
        faults=("airflow-under-read",),
        drive_id="mixed", seconds=540.0, seed=41, fixed=SIX, settled=True,
        flag="both-lean", explanation="airflow-under-read", about="engine",
    ),
    Story(
        id="thermostat-open",
        title="a family car that will not warm up",
        text="The heater blows cool on the school run, and it uses more than it did.",
        faults=("thermostat-open",),
        drive_id="long-way", seconds=1020.0, seed=42, start_ect_c=None,
        fixed={**INLINE_OLD, "ambient_c": 3.0},
        flag="thermostat-low", explanation="thermostat-open", about="engine",
    ),
    Story(
        id="worn-catalyst",
        title="an old estate car with a catalyst code on one side",
        text="It burned oil for years before its engine was rebuilt.",
        faults=("worn-catalyst@2",),
        drive_id="mixed", seconds=540.0, seed=43, fixed=SIX,
        flag="rear-copies-front", explanation="catalyst-worn", about="B2",
    ),
    Story(
        id="cold-heater",
        title="a compact car whose lamp comes on in winter only",
        text="The lamp lights on cold mornings and goes out again by itself.",
        faults=("cold-heater",),
        drive_id="warm-up", seconds=600.0, seed=44, start_ect_c=None,
        fixed=INLINE_PRESSURE,
        flag="late-wake-up", explanation="sensor-heater", about="B1S1",
    ),
    Story(
        id="leaking-injector",
        title="a coupé that starts badly when hot",
        text="It cranks long after a short stop and smokes black for a moment.",
        faults=("leaking-injector@2:0.5",),
        drive_id="mixed", seconds=540.0, seed=45, fixed=SIX, settled=True,
        flag="one-bank-subtracting", explanation="bank-injectors-rich", about="B2",
    ),
    Story(
        id="exhaust-leak",
        title="a works van that ticks when cold",
        text="It ticks for a minute after each start. Fuel use is up.",
        faults=("exhaust-leak:0.6",),
        drive_id="mixed", seconds=540.0, seed=46, fixed=V8_PRESSURE, settled=True,
        flag="one-bank-lean-fades", explanation="exhaust-leak", about="B1",
    ),
    Story(
        id="crossed-sensors",
        title="a sports saloon that ran well until both sensors were renewed",
        text="Two new sensors, fitted yesterday. Since then it shakes and stinks.",
        faults=("crossed-sensors",),
        drive_id="bay", seconds=360.0, seed=47, fixed=SIX,
        flag="crossed-sensors", explanation="sensors-crossed", about="engine",
    ),
    Story(
        id="two-faults",
        title="a high-mileage saloon with a late cam and a tired sensor",
        text="The chain rattles, and the sensors are as old as the car.",
        faults=("bank-breathes-less", "front-sensor-aged@2:0.8"),
        drive_id="mixed", seconds=600.0, seed=48, fixed=SIX, settled=True,
        flag="mirror-trims", explanation="bank-breathes-less", about="B1",
    ),
)  # fmt: skip

STORIES: dict[str, Story] = {row.id: row for row in _ROWS}
"""Every story by id."""
