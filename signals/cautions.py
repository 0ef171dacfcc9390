"""What can hurt a person, a catalyst or the evidence, shown where it matters.

Source: common practice in our own words; occupational limits for carbon monoxide from
OSHA and NIOSH; what clearing leaves from title 13, 1968.2 (d)(2.5).
"""

from __future__ import annotations

CAUTIONS: dict[str, str] = {
    "driver-drives": (
        "The driver only drives. A second person works the laptop, strapped down, "
        "from the rear seat; alone, start it and read it parked."
    ),
    "car-stands": (
        "The car stands on level ground, handbrake on, out of gear; where a step says "
        "engine off, the key stays on. Sleeves and hair away from fans and belts."
    ),
    "legal-roads": (
        "Full throttle and hills only where it is legal, dry and clear of traffic."
    ),
    "carbon-monoxide": (
        "Indoors, use extraction: carbon monoxide has no smell. Limits: 50 ppm over "
        "8 hours, 35 ppm and a 200 ppm ceiling for work indoors."
    ),
    "hot-exhaust": (
        "The exhaust burns long after the engine stops, and fans start by themselves."
    ),
    "flooded-catalyst": (
        "A rich or misfiring bank overheats the catalyst: short runs only, never "
        "over dry grass, extinguisher within reach. Lamp flashing or anything "
        "glowing: stop."
    ),
    "flammable-gas": (
        "Propane and sprays: a trickle, no ignition source near, shut off before "
        "the engine stops."
    ),
    "computer-inputs": (
        "Never put battery or ground on a control unit's input on a guess. Only the "
        "service information's own test, through the lamp or resistor it names, "
        "fused; meter of 10 MΩ or more; some makers forbid back-probing."
    ),
    "ignition-off": (
        "Ignition off before unplugging a control unit; leave airbag wiring alone."
    ),
    "clearing": (
        "Clearing wipes freeze frame, readiness and test results, cannot be undone "
        "and leaves permanent codes. Save first; never clear to pass an inspection."
    ),
    "fuel-pressure": (
        "Fuel lines stay under pressure. Direct injection pressure can kill: "
        "licensed practice only."
    ),
    "evidence-only": (
        "Emission law is local and a licensed inspector decides. Readings are "
        "evidence, not a certificate."
    ),
}
"""Caution by id, from the driver to the inspector."""
