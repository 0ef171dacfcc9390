"""The next check: the one whose result best separates the two likeliest causes.

Each check says what its result would be under each cause. The best one is the first
in the table, cheapest first, whose results differ between the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Check:
    """One check.

    Attributes:
        id: short name.
        words: what to do, in words.
        results: explanation → what the check would show if it were the cause.
        usual: what it shows when none of them is.
        caution: id in `cautions.CAUTIONS`, or empty.
    """

    id: str
    words: str
    results: Mapping[str, str]
    usual: str
    caution: str = ""


CHECKS: tuple[Check, ...] = (
    Check(
        "watch-cold-start",
        "Watch a cold start: when does each sensor wake up?",
        {
            "sensor-heater": "late",
            "sensor-open-circuit": "never",
            "rear-sensor-faulty": "never",
            "sensor-aged": "in time",
            "thermostat-open": "in time",
        },
        "in time",
    ),
    Check(
        "force-front",
        "Force the mixture rich, then lean: does the front sensor follow?",
        {
            "sensor-reads-lean": "no",
            "sensor-reads-rich": "no",
            "sensor-open-circuit": "no",
            "sensor-aged": "slowly",
            "sensor-heater": "slowly",
            "bank-injectors-lean": "yes",
            "bank-injectors-rich": "yes",
            "bank-breathes-less": "yes",
            "bank-unmetered-air": "yes",
            "common-unmetered-air": "yes",
            "fuel-supply-weak": "yes",
            "airflow-under-read": "yes",
            "airflow-over-read": "yes",
            "common-rich-source": "yes",
            "exhaust-leak": "yes",
            "misfire": "yes",
            "catalyst-worn": "yes",
            "rear-sensor-faulty": "yes",
            "sensors-crossed": "the other one",
        },
        "yes",
        "flammable-gas",
    ),
    Check(
        "unplug-front",
        "Unplug one front sensor: which bank's reading parks near 0.45 V?",
        {
            "sensors-crossed": "the other bank's",
            "bank-breathes-less": "its own",
            "sensor-reads-lean": "its own",
            "sensor-reads-rich": "its own",
            "bank-injectors-lean": "its own",
            "bank-injectors-rich": "its own",
        },
        "its own",
        "hot-exhaust",
    ),
    Check(
        "full-throttle-filling",
        "Full-throttle pull from 1500 rpm: is the metered air what is usual?",
        {
            "airflow-under-read": "too little",
            "airflow-over-read": "too much",
            "fuel-supply-weak": "usual",
            "common-rich-source": "usual",
            "common-unmetered-air": "usual",
            "bank-breathes-less": "too little",
        },
        "usual",
        "legal-roads",
    ),
    Check(
        "smoke-exhaust",
        "Smoke the exhaust ahead of the front sensor.",
        {
            "exhaust-leak": "leak",
            "bank-unmetered-air": "no leak",
            "sensor-reads-lean": "no leak",
            "bank-injectors-lean": "no leak",
            "misfire": "no leak",
            "catalyst-worn": "no leak",
        },
        "no leak",
        "hot-exhaust",
    ),
    Check(
        "smoke-intake",
        "Smoke the intake from the meter to the ports.",
        {
            "bank-unmetered-air": "leak at one runner",
            "common-unmetered-air": "leak ahead of the runners",
            "bank-injectors-lean": "no leak",
            "airflow-under-read": "no leak",
            "fuel-supply-weak": "no leak",
        },
        "no leak",
    ),
    Check(
        "fuel-pressure",
        "Measure fuel pressure, at idle and under load.",
        {
            "fuel-supply-weak": "drops",
            "common-rich-source": "high, or purge at fault",
            "bank-injectors-lean": "normal",
            "airflow-under-read": "normal",
            "airflow-over-read": "normal",
            "common-unmetered-air": "normal",
        },
        "normal",
        "fuel-pressure",
    ),
    Check(
        "backpressure",
        "Measure exhaust backpressure on both banks at 2500 rpm.",
        {
            "bank-breathes-less": "high on this bank, or cam timing off",
            "bank-injectors-rich": "alike",
            "sensor-reads-rich": "alike",
            "catalyst-worn": "alike",
        },
        "alike",
        "hot-exhaust",
    ),
    Check(
        "injector-balance",
        "Injector balance test: pressure drop per injector; watch for a drip.",
        {
            "bank-injectors-rich": "one drips or delivers more",
            "bank-injectors-lean": "one delivers less",
            "sensor-reads-rich": "alike",
            "sensor-reads-lean": "alike",
            "misfire": "alike",
            "common-rich-source": "alike",
        },
        "alike",
        "fuel-pressure",
    ),
    Check(
        "circuit",
        "Circuit check at the plug: heater supply, ground, then drive the signal wire.",
        {
            "sensor-open-circuit": "reading does not follow",
            "sensor-heater": "no heater supply, or heater open",
            "sensor-aged": "reading follows",
            "rear-sensor-faulty": "reading follows",
            "sensor-reads-lean": "shorted to ground, or reading follows",
            "sensor-reads-rich": "shorted to supply, or reading follows",
        },
        "reading follows",
        "computer-inputs",
    ),
    Check(
        "force-rear",
        "Hold 2500 rpm, then snap and release: does the rear sensor follow?",
        {
            "rear-sensor-faulty": "no",
            "catalyst-worn": "at once",
            "sensor-open-circuit": "no",
        },
        "after a while",
        "hot-exhaust",
    ),
    Check(
        "misfire",
        "Find the misfire: spark, then compression, then injector.",
        {
            "misfire": "one of them at fault",
            "exhaust-leak": "none",
            "catalyst-worn": "none",
        },
        "none",
        "flooded-catalyst",
    ),
    Check(
        "thermostat",
        "Feel the radiator hose while warming up: warm at once means open.",
        {"thermostat-open": "warm at once"},
        "cold until warm",
        "hot-exhaust",
    ),
)
"""Every check, the cheapest and safest first."""

NOTHING_MORE = "Nothing to check: keep the session as a reference."
DRIVE_ON = "Drive on until more was seen: {missing}."


def separating(first: str, second: str) -> Check | None:
    """The check that separates two causes, or None when none does."""
    for check in CHECKS:
        one, two = check.results.get(first), check.results.get(second)
        if one and two and one != two:
            return check
    return None


def confirming(cause: str) -> Check | None:
    """The check that shows one cause by itself, or None."""
    for check in CHECKS:
        result = check.results.get(cause)
        if result and result != check.usual:
            return check
    return None


def words_for(first: str, second: str | None) -> str:
    """What to check next, and what each result would point to."""
    check = separating(first, second) if second else None
    if check and second:
        one, two = check.results[first], check.results[second]
        return (
            f"{check.words} {one[:1].upper()}{one[1:]}: {said(first)}; "
            f"{two}: {said(second)}."
        )
    check = confirming(first)
    if check is None:
        return ""
    result = check.results[first]
    return f"{check.words} {result[:1].upper()}{result[1:]}: {said(first)}."


def caution_of(words: str) -> str:
    """Id of the caution for a next check in words; empty when it needs none."""
    for check in CHECKS:
        if words.startswith(check.words):
            return check.caution
    return ""


def said(cause: str) -> str:
    """A cause in the trade's words, `front sensor reading lean`."""
    return NAMES[cause]


NAMES: Mapping[str, str] = {
    "sensor-reads-lean": "front sensor reading lean",
    "sensor-reads-rich": "front sensor reading rich",
    "sensor-open-circuit": "open sensor circuit",
    "sensor-aged": "aged sensor",
    "sensor-heater": "dead sensor heater",
    "rear-sensor-faulty": "faulty rear sensor",
    "bank-breathes-less": "bank short of air",
    "bank-unmetered-air": "unmetered air on one bank",
    "common-unmetered-air": "unmetered air on the whole engine",
    "fuel-supply-weak": "weak fuel supply",
    "airflow-under-read": "airflow meter reading too little",
    "airflow-over-read": "airflow meter reading too much",
    "common-rich-source": "extra fuel for the whole engine",
    "bank-injectors-lean": "injectors of one bank delivering too little",
    "bank-injectors-rich": "injectors of one bank delivering too much",
    "exhaust-leak": "exhaust leak",
    "misfire": "misfire",
    "catalyst-worn": "worn catalyst",
    "thermostat-open": "thermostat stuck open",
    "sensors-crossed": "front sensors swapped",
    "no-fault-seen": "no fault",
    "cannot-tell": "not settled",
}
"""Every explanation by a short name, for use within a sentence."""
