"""Cars drawn at random: repeatable, physical, and as fixed where asked."""

from __future__ import annotations

from random import Random

from bankwise.adapters.car.spec import CarSpec


def test_a_seed_gives_one_car() -> None:
    """The same numbers draw the same car, other numbers another."""
    assert CarSpec.random(Random(3)) == CarSpec.random(Random(3))
    assert CarSpec.random(Random(3)) != CarSpec.random(Random(4))


def test_what_is_fixed_is_not_drawn() -> None:
    """Fixed fields come out as given."""
    spec = CarSpec.random(Random(3), banks=2, mass_air=False, displacement_l=4.4)
    assert (spec.banks, spec.mass_air, spec.displacement_l) == (2, False, 4.4)


def test_drawn_cars_stay_within_physical_ranges() -> None:
    """Two hundred cars: plausible engines, all kinds present."""
    cars = [CarSpec.random(Random(seed)) for seed in range(200)]
    assert {car.banks for car in cars} == {1, 2}
    assert {(car.mass_air, car.wideband) for car in cars} == {
        (False, False), (False, True), (True, False), (True, True),
    }  # fmt: skip
    assert {car.protocol for car in cars} >= {"1", "3", "5", "6", "9"}
    for car in cars:
        assert 0.9 < car.displacement_l < 5.5
        assert car.cylinders % car.banks == 0
        assert 75.0 < car.baro_kpa < 101.4
        assert all(0.97 < gain < 1.03 for gain in car.injector_gain)
        assert 14.0 < car.stoich < 14.7
        assert list(car.gears) == sorted(car.gears, reverse=True)
