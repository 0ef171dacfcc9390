"""The stories: whole, varied, invented, and each the same every time."""

from __future__ import annotations

import pytest

from bankwise.adapters.car.drive import DRIVES
from bankwise.adapters.car.faults import fault_named
from bankwise.adapters.car.identity import check_digit
from bankwise.adapters.car.stories import STORIES
from bankwise.adapters.pids import Layout


def test_stories_are_many_varied_and_some_healthy() -> None:
    """At least fourteen, three healthy, every kind of engine and both layouts."""
    specs = [story.spec for story in STORIES.values()]
    assert len(STORIES) >= 14
    assert sum(not story.faults for story in STORIES.values()) >= 3
    assert {(s.banks, s.mass_air, s.wideband) for s in specs} >= {
        (1, True, True), (1, False, False), (2, True, False), (2, True, True),
        (2, False, False), (2, False, True),
    }  # fmt: skip
    assert {spec.layout for spec in specs} == set(Layout)


def test_stories_are_whole() -> None:
    """Known drive and faults, text, a valid VIN, and what should be said of them."""
    vins = set()
    for id_, story in STORIES.items():
        assert story.id == id_
        assert story.drive_id in DRIVES
        assert story.title
        assert len(story.text) > 40
        assert 360.0 <= story.seconds <= 1080.0
        vin = story.spec.vin
        assert vin[8] == check_digit(vin)
        vins.add(vin)
        faults = [fault_named(text) for text in story.faults]
        assert all(fault.fits(story.spec) for fault in faults)
        assert (story.flag is None) is (not faults)
        assert (story.explanation is None) is (not faults)
        if faults:
            assert faults[0].explanation == story.explanation
            assert faults[0].about == story.about
    again = [story for story in STORIES.values() if story.car_seed is not None]
    assert len(vins) == len(STORIES) - len(again)


@pytest.mark.parametrize("id_", ["demo", "healthy"])
def test_a_story_is_the_same_every_time(id_: str) -> None:
    """Two cars of one story read the same after half a minute."""
    cars = [STORIES[id_].car() for _ in range(2)]
    for car in cars:
        car.advance(30.0)
    assert cars[0].readings == cars[1].readings


def test_the_demo_closes_its_loop_soon() -> None:
    """Part-warm, both banks are in closed loop within 30 seconds."""
    car = STORIES["demo"].car()
    car.advance(30.0)
    assert car.readings["fuel_status_b1"] == 2.0
    assert car.readings["fuel_status_b2"] == 2.0
