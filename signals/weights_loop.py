"""What the control loop shows: trims at their ends, rears that contradict, cuts.

How weights read stands in `weights`. Source: our choice throughout, after the causes
that stand beside each flag.
"""

from __future__ import annotations

from bankwise.signals.ledger import Weight, Where, weights_of

_S, _F, _B, _E = Where.SAME, Where.FRONT, Where.BANK, Where.ENGINE

WEIGHTS: tuple[Weight, ...] = (
    *weights_of(
        "limit-lean",
        ("sensor-reads-lean", 1, _F, "nothing it adds satisfies the sensor"),
        ("bank-injectors-lean", 1, _B, "it cannot add enough"),
        ("bank-unmetered-air", 0.5, _B, "it cannot add enough"),
        ("exhaust-leak", 0.5, _B, "nothing it adds satisfies the sensor"),
        ("misfire", -2, _B, "so much oxygen were every fourth combustion"),
        ("sensor-heater", -2, _F, "a cold sensor steers no trim to its end"),
    ),
    *weights_of(
        "limit-rich",
        ("sensor-reads-rich", 1, _F, "nothing it takes satisfies the sensor"),
        ("bank-injectors-rich", 1, _B, "it cannot take enough"),
        ("sensor-heater", -2, _F, "a cold sensor steers no trim to its end"),
    ),
    *weights_of(
        "limit-lean-alone",
        ("sensor-reads-lean", 1, _F, "nothing it adds satisfies the sensor"),
        ("bank-injectors-lean", 1, _B, "it cannot add enough"),
        ("fuel-supply-weak", 1, _E, "the only bank cannot get enough"),
        ("airflow-under-read", 1, _E, "the only bank cannot get enough"),
        ("common-unmetered-air", 0.5, _E, "it cannot add enough"),
        ("exhaust-leak", 0.5, _B, "nothing it adds satisfies the sensor"),
        ("misfire", -2, _B, "so much oxygen were every fourth combustion"),
        ("sensor-heater", -2, _F, "a cold sensor steers no trim to its end"),
    ),
    *weights_of(
        "limit-rich-alone",
        ("sensor-reads-rich", 1, _F, "nothing it takes satisfies the sensor"),
        ("bank-injectors-rich", 1, _B, "it cannot take enough"),
        ("common-rich-source", 1, _E, "the only bank cannot take enough"),
        ("airflow-over-read", 1, _E, "the only bank cannot take enough"),
        ("sensor-heater", -2, _F, "a cold sensor steers no trim to its end"),
    ),
    *weights_of(
        "limits-opposed",
        ("sensors-crossed", 6, _E, "what one bank lacks the other has too much of"),
    ),
    *weights_of(
        "fronts-opposed",
        ("sensors-crossed", 4, _E, "two sensors seldom lie in opposite ways at once"),
    ),
    *weights_of(
        "limit-rich-both",
        ("common-rich-source", 2, _E, "both banks cannot take enough"),
        ("airflow-over-read", 1, _E, "both banks cannot take enough"),
    ),
    *weights_of(
        "limit-lean-both",
        ("fuel-supply-weak", 2, _E, "both banks cannot get enough"),
        ("airflow-under-read", 2, _E, "both banks cannot get enough"),
    ),
    *weights_of(
        "one-bank-open-loop",
        ("sensor-open-circuit", 1.5, _F, "the unit does not trust it"),
        ("sensor-heater", 1.5, _F, "a cold sensor is not used"),
    ),
    *weights_of(
        "crossed-sensors",
        ("sensors-crossed", 5, _E, "each bank steers the other away"),
        ("bank-breathes-less", -3, _B, "breathing settles, this runs away"),
    ),
    *weights_of(
        "full-throttle-not-rich",
        ("fuel-supply-weak", 0.5, _E, "full demand was not met"),
        ("sensor-reads-lean", 0.5, _S, "or the sensor hides it"),
    ),
    *weights_of(
        "full-throttle-lean-both",
        ("fuel-supply-weak", 2, _E, "both banks starve at full demand"),
        ("airflow-under-read", 1, _E, "air not metered gets no fuel either"),
    ),
    *weights_of(
        "exhaust-leak-pattern",
        ("exhaust-leak", 4, _B, "a good sensor sees air the engine never had"),
        ("bank-unmetered-air", -3, _B, "the rear says the engine is rich"),
    ),
    *weights_of(
        "misfire-false-lean",
        ("misfire", 4, _B, "unburned oxygen passes the sensor"),
        ("bank-injectors-lean", -1, _B, "the misfire alone explains it"),
    ),
    *weights_of(
        "misfire-far-lean",
        ("misfire", 1.5, _B, "unburned oxygen passes the sensor, but not so much"),
    ),
    *weights_of(
        "decel-not-lean",
        ("bank-injectors-rich", 2.5, _B, "fuel arrives when none is injected"),
        ("sensor-reads-rich", 1.5, _S, "or the sensor cannot read lean"),
    ),
    *weights_of(
        "adds-but-rear-rich",
        ("sensor-reads-lean", 2, _F, "the added fuel arrives at the rear"),
        ("exhaust-leak", 1.5, _B, "the added fuel arrives at the rear"),
        ("bank-injectors-lean", -2, _B, "the added fuel was too much"),
        ("bank-unmetered-air", -2, _B, "the added fuel was too much"),
        ("fuel-supply-weak", -2, _E, "the added fuel was too much"),
        ("airflow-under-read", -2, _E, "the added fuel was too much"),
    ),
    *weights_of(
        "adds-and-rear-lean",
        ("bank-injectors-lean", 1, _B, "both sensors of this bank say so"),
        ("sensor-reads-lean", -2, _F, "the rear agrees that the bank is lean"),
        ("exhaust-leak", -1.5, _B, "the rear agrees that the bank is lean"),
    ),
    *weights_of(
        "pulls-and-rear-lean",
        ("bank-injectors-lean", 2, _B, "both sensors say so, and no trim misled it"),
        ("sensor-reads-lean", -3, _F, "the rear agrees, and no trim misled the bank"),
        ("exhaust-leak", -2, _B, "at full throttle an exhaust draws no air in"),
    ),
    *weights_of(
        "fades-but-rear-rich",
        ("exhaust-leak", 3, _B, "drawn-in air weighs most at idle"),
        ("common-unmetered-air", -3, _E, "the added fuel was too much"),
        ("sensor-reads-lean", -2, _F, "a lying sensor lies at every flow"),
    ),
    *weights_of(
        "stays-but-rear-rich",
        ("sensor-reads-lean", 0.5, _F, "a lying sensor lies at every flow"),
        ("exhaust-leak", -1, _B, "drawn-in air weighs most at idle"),
    ),
    *weights_of(
        "takes-but-rear-lean",
        ("sensor-reads-rich", 2, _F, "the fuel is missing at the rear"),
        ("bank-injectors-rich", -2, _B, "too much was taken away"),
        ("bank-breathes-less", -2, _B, "too much was taken away"),
        ("common-rich-source", -3, _E, "too much was taken away"),
        ("airflow-over-read", -3, _E, "too much was taken away"),
    ),
    *weights_of(
        "late-closed-loop",
        ("sensor-heater", 0.5, _F, "a cold sensor delays the loop"),
    ),
)
"""A part of the ledger's table."""
