"""A circuit check on the simulated car, for the README's picture of a guided test.

It runs in virtual time, so the same session comes out at once and every time.
"""

from __future__ import annotations

import random

from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.car.virtual import VirtualLink
from bankwise.adapters.car.wiring import plug_in
from bankwise.adapters.cycle import PollCycle
from bankwise.adapters.recorder import new_header
from bankwise.adapters.records import MarkRecord, Record
from bankwise.adapters.replay import Replay
from bankwise.adapters.session_file import Session
from bankwise.signals.guided.runs import step_tag
from bankwise.signals.guided.table import GUIDED, rates
from bankwise.tui.guided_flow import RUN, Page

STORY, TEST, ABOUT = "healthy", "circuit", "B2S1"
_BEGAN = "2026-03-01T10:00:00Z"
_KEYS = ((10.0, "connected"), (16.0, "unplugged"), (26.0, "first-wire"))
_HANDS = (
    (1.0, "on"),
    (17.0, f"unplug {ABOUT}"),
    (27.5, f"high {ABOUT}"),
    (28.8, f"release {ABOUT}"),
    (30.2, f"high {ABOUT}"),
)
SHOWN_S = 31.0
"""The moment of the picture, with the wire held for the second time. Unit: s."""


class OnTheCar(Replay):
    """The session as it looked while it was made: no test is made on a replay."""

    kind = "simulated"

    @property
    def status(self) -> str:
        """As of a car that answers."""
        return "watching"


def page() -> Page:
    """The step that is shown."""
    ids = [step.id for step in GUIDED[TEST].steps]
    return Page(RUN, TEST, ABOUT, ids.index(_KEYS[-1][1]))


def session() -> Session:
    """The session up to the moment shown."""
    car = STORIES[STORY].car()
    cycle = PollCycle(VirtualLink(plug_in(car, car.spec)), jitter=random.Random(1))
    hands, keys = list(_HANDS), list(_KEYS)
    records: list[Record] = []
    while cycle.now() < SHOWN_S:
        records += cycle.step()
        while hands and hands[0][0] <= cycle.now():
            car.touch(hands.pop(0)[1])
        while keys and keys[0][0] <= cycle.now():
            _, step = keys.pop(0)
            tag = step_tag(TEST, step, ABOUT)
            records.append(MarkRecord(cycle.now(), step, tag))
            cycle.want(rates(GUIDED[TEST], ABOUT))
    records.sort(key=lambda record: record.t)
    return Session(new_header(_BEGAN, cycle.found, None, {}, STORY), records, 0, ())
