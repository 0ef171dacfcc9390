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
        open: what this drive leaves open.
    """

    found: str
    means: str
    advised: str
    open: str


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
        "Whether the sensor, its wiring or a leaking exhaust is the reason.",
    ),
    "sensor-reads-rich": OwnerWords(
        "One oxygen sensor seems to report too much fuel although there is not.",
        _LEAN,
        _TEST_FIRST,
        "Whether the sensor, its wiring, or really too much fuel is the reason.",
    ),
    "sensor-open-circuit": OwnerWords(
        "One oxygen sensor gives no signal: it is unplugged, or its wiring is broken.",
        "The engine runs on stored values for that side. It uses more fuel than it "
        "should.",
        "The plug and the wiring are checked first; they are often the cause.",
        "Whether the sensor itself, its plug or its wire has no contact.",
    ),
    "sensor-aged": OwnerWords(
        "One oxygen sensor has become slow or weak.",
        "The mixture is corrected too late. Fuel use and exhaust emissions rise.",
        _TEST_FIRST,
        "Whether the sensor is worn, or the mixture itself changes slowly.",
    ),
    "sensor-heater": OwnerWords(
        "One oxygen sensor warms up too slowly.",
        "After a cold start the engine runs longer without mixture control.",
        "The heater and its supply are measured.",
        "Whether the heater or its electrical supply is at fault.",
    ),
    "rear-sensor-faulty": OwnerWords(
        "The sensor behind one catalyst does not follow what happens in the exhaust.",
        "The engine runs, but the catalyst cannot be watched.",
        "The sensor and its wiring are tested before the catalyst is judged.",
        "Whether the sensor or its wiring is at fault, and how good the catalyst is.",
    ),
    "bank-breathes-less": OwnerWords(
        "One side of the engine seems to get less air through than the other.",
        "The engine loses power; a blocked exhaust also runs hot.",
        "Exhaust pressure and cam timing are measured before the engine is opened.",
        "Whether the exhaust, the valve timing or something else holds the air back.",
    ),
    "bank-unmetered-air": OwnerWords(
        "Air seems to enter one side of the engine through a leak.",
        "The engine idles badly and has to add fuel.",
        "The intake is searched for the leak with smoke.",
        "Where the air comes in, and whether there is a leak at all.",
    ),
    "common-unmetered-air": OwnerWords(
        "Air seems to enter the engine through a leak behind the air meter.",
        "The engine idles badly and has to add fuel.",
        "The intake is searched for the leak with smoke.",
        "Where the air comes in, and whether there is a leak at all.",
    ),
    "fuel-supply-weak": OwnerWords(
        "Under load the engine seems to get too little fuel.",
        _LEAN,
        "Fuel pressure is measured while driving; filter, pump and lines follow.",
        "Whether pump, filter, lines or injectors hold the fuel back.",
    ),
    "airflow-under-read": OwnerWords(
        "The air meter seems to report less air than the engine takes in.",
        _LEAN,
        "The air meter and its duct are inspected and measured.",
        "Whether the meter is dirty or worn, or air passes it by.",
    ),
    "airflow-over-read": OwnerWords(
        "The air meter seems to report more air than the engine takes in.",
        _FLOODED,
        "The air meter and its duct are inspected and measured.",
        "Whether the meter or its wiring is at fault.",
    ),
    "common-rich-source": OwnerWords(
        "Extra fuel seems to reach the whole engine.",
        "Fuel use rises and the oil may be thinned.",
        "Tank venting, fuel pressure and the oil are checked.",
        "Where the extra fuel comes from.",
    ),
    "bank-injectors-lean": OwnerWords(
        "The injectors of one side seem to deliver too little.",
        _LEAN,
        "The injectors' delivery is compared.",
        "Which injector it is, and whether it is an injector at all.",
    ),
    "bank-injectors-rich": OwnerWords(
        "The injectors of one side seem to deliver too much.",
        _FLOODED,
        "The injectors' delivery is compared.",
        "Which injector it is, and whether it is an injector at all.",
    ),
    "exhaust-leak": OwnerWords(
        "Air seems to enter the exhaust ahead of an oxygen sensor.",
        "The sensor is misled, and the engine gets too much fuel.",
        "The exhaust is checked for leaks with smoke.",
        "Where the leak is, and whether there is one at all.",
    ),
    "misfire": OwnerWords(
        "Some of the mixture leaves the engine unburned.",
        "This can destroy the catalyst. With the lamp flashing: do not drive on.",
        "Ignition, compression and injectors are checked, in this order.",
        "Which cylinder it is, and why.",
    ),
    "catalyst-worn": OwnerWords(
        "One catalyst seems to hold less oxygen than it should.",
        "Exhaust emissions rise. The car may not pass its inspection.",
        "Mixture faults are repaired first; only then is the catalyst judged.",
        "Whether the catalyst is worn, or the sensor behind it misleads.",
    ),
    "thermostat-open": OwnerWords(
        "The engine does not reach its working temperature.",
        "It uses more fuel and wears faster; the heating stays weak.",
        "The thermostat and the temperature sensor are checked.",
        "Whether the thermostat stays open, or the temperature is told wrongly.",
    ),
    "sensors-crossed": OwnerWords(
        "The plugs of two oxygen sensors seem to be swapped.",
        "Each side is corrected by the other side's sensor, and both go wrong.",
        "Each plug is traced to its sensor.",
        "Whether plugs or wires are swapped, or both sides have a fault.",
    ),
    "no-fault-seen": OwnerWords(
        "Nothing out of order was seen on this drive.",
        "What was driven was in order. A fault that shows rarely may not have shown.",
        "If the complaint comes back, repeat the drive in the conditions it came in.",
        "That a fault which shows seldom, or in other driving, is not there.",
    ),
    "cannot-tell": OwnerWords(
        "This drive does not show enough to name a cause.",
        "Nothing is proven either way.",
        "The drive is continued or repeated until enough has been seen.",
        "That there is a fault, and that there is none.",
    ),
}
"""Every explanation, by id."""
