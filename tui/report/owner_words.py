"""Explanations in a car owner's words: what was found, what it means, what to do.

No part is condemned here: the words say what the data supports so far.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class OwnerWords:
    """One explanation for someone who does not repair cars.

    Attributes:
        found: what the drive points to.
        means: what that does to the car.
        advised: what should happen next.
    """

    found: str
    means: str
    advised: str


_FLOODED = (
    "The engine is given too much fuel. It uses more than it should, may smell of it, "
    "and the catalyst can overheat."
)
_LEAN = (
    "The engine may lack fuel when it works hard. It can hesitate, misfire and run hot."
)
_TEST_FIRST = "A test that forces the sensor decides before any part is bought."

OWNER_WORDS: dict[str, OwnerWords] = {
    "sensor-reads-lean": OwnerWords(
        "One oxygen sensor seems to report too little fuel although there is enough.",
        _FLOODED,
        _TEST_FIRST,
    ),
    "sensor-reads-rich": OwnerWords(
        "One oxygen sensor seems to report too much fuel although there is not.",
        _LEAN,
        _TEST_FIRST,
    ),
    "sensor-open-circuit": OwnerWords(
        "One oxygen sensor gives no signal: it is unplugged, or its wiring is broken.",
        "The engine runs on stored values for that side. It uses more fuel than it "
        "should.",
        "The plug and the wiring are checked first; they are often the cause.",
    ),
    "sensor-aged": OwnerWords(
        "One oxygen sensor has become slow or weak.",
        "The mixture is corrected too late. Fuel use and exhaust emissions rise.",
        _TEST_FIRST,
    ),
    "sensor-heater": OwnerWords(
        "One oxygen sensor warms up too slowly.",
        "After a cold start the engine runs longer without mixture control.",
        "The heater and its supply are measured.",
    ),
    "rear-sensor-faulty": OwnerWords(
        "The sensor behind one catalyst does not follow what happens in the exhaust.",
        "The engine runs, but the catalyst cannot be watched.",
        "The sensor and its wiring are tested before the catalyst is judged.",
    ),
    "bank-breathes-less": OwnerWords(
        "One side of the engine seems to get less air through than the other.",
        "The engine loses power; a blocked exhaust also runs hot.",
        "Exhaust pressure and cam timing are measured before the engine is opened.",
    ),
    "bank-unmetered-air": OwnerWords(
        "Air seems to enter one side of the engine through a leak.",
        "The engine idles badly and has to add fuel.",
        "The intake is searched for the leak with smoke.",
    ),
    "common-unmetered-air": OwnerWords(
        "Air seems to enter the engine through a leak behind the air meter.",
        "The engine idles badly and has to add fuel.",
        "The intake is searched for the leak with smoke.",
    ),
    "fuel-supply-weak": OwnerWords(
        "Under load the engine seems to get too little fuel.",
        _LEAN,
        "Fuel pressure is measured while driving; filter, pump and lines follow.",
    ),
    "airflow-under-read": OwnerWords(
        "The air meter seems to report less air than the engine takes in.",
        _LEAN,
        "The air meter and its duct are inspected and measured.",
    ),
    "airflow-over-read": OwnerWords(
        "The air meter seems to report more air than the engine takes in.",
        _FLOODED,
        "The air meter and its duct are inspected and measured.",
    ),
    "common-rich-source": OwnerWords(
        "Extra fuel seems to reach the whole engine.",
        "Fuel use rises and the oil may be thinned.",
        "Tank venting, fuel pressure and the oil are checked.",
    ),
    "bank-injectors-lean": OwnerWords(
        "The injectors of one side seem to deliver too little.",
        _LEAN,
        "The injectors' delivery is compared.",
    ),
    "bank-injectors-rich": OwnerWords(
        "The injectors of one side seem to deliver too much.",
        _FLOODED,
        "The injectors' delivery is compared.",
    ),
    "exhaust-leak": OwnerWords(
        "Air seems to enter the exhaust ahead of an oxygen sensor.",
        "The sensor is misled, and the engine gets too much fuel.",
        "The exhaust is checked for leaks with smoke.",
    ),
    "misfire": OwnerWords(
        "Some of the mixture leaves the engine unburned.",
        "This can destroy the catalyst. With the lamp flashing: do not drive on.",
        "Ignition, compression and injectors are checked, in this order.",
    ),
    "catalyst-worn": OwnerWords(
        "One catalyst seems to hold less oxygen than it should.",
        "Exhaust emissions rise. The car may not pass its inspection.",
        "Mixture faults are repaired first; only then is the catalyst judged.",
    ),
    "thermostat-open": OwnerWords(
        "The engine does not reach its working temperature.",
        "It uses more fuel and wears faster; the heating stays weak.",
        "The thermostat and the temperature sensor are checked.",
    ),
    "sensors-crossed": OwnerWords(
        "The plugs of two oxygen sensors seem to be swapped.",
        "Each side is corrected by the other side's sensor, and both go wrong.",
        "Each plug is traced to its sensor.",
    ),
    "no-fault-seen": OwnerWords(
        "Nothing out of order was seen on this drive.",
        "What was driven was in order. A fault that shows rarely may not have shown.",
        "If the complaint comes back, repeat the drive in the conditions it came in.",
    ),
    "cannot-tell": OwnerWords(
        "This drive does not show enough to name a cause.",
        "Nothing is proven either way.",
        "The drive is continued or repeated until enough has been seen.",
    ),
}
"""Every explanation, by id."""
