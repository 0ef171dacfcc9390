"""What others have said: trouble codes and the results of guided tests.

How weights read stands in `weights`. Source: our choice throughout, after the causes
that stand beside each flag.
"""

from __future__ import annotations

from bankwise.signals.ledger import Weight, Where, weights_of

_S, _F, _B, _E = Where.SAME, Where.FRONT, Where.BANK, Where.ENGINE

WEIGHTS: tuple[Weight, ...] = (
    *weights_of("code-cam", ("bank-breathes-less", 2.5, _B, "the unit doubts the cam")),
    *weights_of(
        "code-heater", ("sensor-heater", 2.5, _S, "the unit found its heater bad")
    ),
    *weights_of("code-catalyst", ("catalyst-worn", 3, _B, "the unit found it worn")),
    *weights_of("code-misfire", ("misfire", 1.5, _S, "the unit counted misfires")),
    *weights_of("misfires-counted", ("misfire", 4, _S, "the unit counts them")),
    *weights_of("no-misfires-counted", ("misfire", -3, _S, "the unit counts none")),
    *weights_of(
        "code-cooling", ("thermostat-open", 2, _E, "the unit missed the warm-up")
    ),
    *weights_of(
        "code-crossed", ("sensors-crossed", 3, _E, "the unit found them swapped")
    ),
    *weights_of(
        "code-slow",
        ("sensor-aged", 3, _S, "the unit found it slow"),
        ("catalyst-worn", -2, _B, "a slow front's wide swings pass a good catalyst"),
    ),
    *weights_of(
        "code-silent",
        ("sensor-open-circuit", 1.5, _S, "the unit saw no activity"),
        ("sensor-heater", 0.5, _S, "a cold sensor shows none either"),
    ),
    *weights_of(
        "code-bank-lean",
        ("bank-injectors-lean", 0.5, _B, "the unit found this bank lean"),
        ("bank-unmetered-air", 0.75, _B, "the unit found this bank lean"),
        ("exhaust-leak", 0.5, _B, "the unit found this bank lean"),
        ("sensor-reads-lean", 0.5, _F, "the unit found this bank lean"),
    ),
    *weights_of(
        "code-bank-rich",
        ("bank-injectors-rich", 0.75, _B, "the unit found this bank rich"),
        ("bank-breathes-less", 0.5, _B, "the unit found this bank rich"),
        ("sensor-reads-rich", 0.5, _F, "the unit found this bank rich"),
    ),
    *weights_of(
        "code-both-lean",
        ("fuel-supply-weak", 0.75, _E, "the unit found both banks lean"),
        ("airflow-under-read", 0.5, _E, "the unit found both banks lean"),
        ("common-unmetered-air", 0.5, _E, "the unit found both banks lean"),
    ),
    *weights_of(
        "code-both-rich",
        ("common-rich-source", 0.75, _E, "the unit found both banks rich"),
        ("airflow-over-read", 0.5, _E, "the unit found both banks rich"),
    ),
    *weights_of(
        "code-alike-lean",
        ("fuel-supply-weak", 0.75, _E, "whichever bank crosses first sets its code"),
        ("airflow-under-read", 0.5, _E, "whichever bank crosses first sets its code"),
        ("common-unmetered-air", 0.5, _E, "whichever bank crosses first sets its code"),
        ("bank-injectors-lean", 0.25, _B, "or it was this bank's alone, and is over"),
        ("bank-unmetered-air", 0.25, _B, "or it was this bank's alone, and is over"),
    ),
    *weights_of(
        "code-alike-rich",
        ("common-rich-source", 0.75, _E, "whichever bank crosses first sets its code"),
        ("airflow-over-read", 0.5, _E, "whichever bank crosses first sets its code"),
        ("bank-injectors-rich", 0.25, _B, "or it was this bank's alone, and is over"),
    ),
    *weights_of(
        "code-alone-lean",
        ("fuel-supply-weak", 0.5, _E, "the unit found the only bank lean"),
        ("airflow-under-read", 0.5, _E, "the unit found the only bank lean"),
        ("common-unmetered-air", 0.5, _E, "the unit found the only bank lean"),
        ("bank-injectors-lean", 0.5, _B, "the unit found the only bank lean"),
        ("sensor-reads-lean", 0.5, _F, "the unit found the only bank lean"),
        ("exhaust-leak", 0.5, _B, "the unit found the only bank lean"),
    ),
    *weights_of(
        "code-alone-rich",
        ("common-rich-source", 0.75, _E, "the unit found the only bank rich"),
        ("airflow-over-read", 0.5, _E, "the unit found the only bank rich"),
        ("bank-injectors-rich", 0.5, _B, "the unit found the only bank rich"),
        ("sensor-reads-rich", 0.5, _F, "the unit found the only bank rich"),
    ),
    *weights_of(
        "codes-opposed",
        ("sensors-crossed", 3, _E, "two sensors seldom lie in opposite ways at once"),
    ),
    *weights_of(
        "code-front",
        ("sensor-open-circuit", 1, _S, "the unit doubts this sensor"),
        ("sensor-aged", 1, _S, "the unit doubts this sensor"),
    ),
    *weights_of(
        "code-rear", ("rear-sensor-faulty", 2, _S, "the unit doubts this sensor")
    ),
    *weights_of(
        "code-stuck-lean",
        ("sensor-reads-lean", 1.5, _S, "the unit saw it stay lean"),
    ),
    *weights_of(
        "code-stuck-rich",
        ("sensor-reads-rich", 1.5, _S, "the unit saw it stay rich"),
    ),
    *weights_of("circuit-bad", ("sensor-open-circuit", 8, _S, "tested at the wire")),
    *weights_of("circuit-good", ("sensor-open-circuit", -8, _S, "tested at the wire")),
    *weights_of(
        "right-unplugged",
        ("sensor-reads-lean", 6, _S, "without it the engine ran right"),
        ("sensor-reads-rich", 6, _S, "without it the engine ran right"),
        ("exhaust-leak", 1, _B, "air at the sensor misleads it as well"),
        ("bank-injectors-lean", -4, _B, "default fuelling was right"),
        ("bank-injectors-rich", -4, _B, "default fuelling was right"),
        ("bank-unmetered-air", -4, _B, "default fuelling was right"),
    ),
    *weights_of(
        "wrong-unplugged",
        ("sensor-reads-lean", -6, _S, "without it the engine still ran wrong"),
        ("sensor-reads-rich", -6, _S, "without it the engine still ran wrong"),
        ("bank-injectors-lean", 1, _B, "the mixture itself is wrong"),
        ("bank-injectors-rich", 1, _B, "the mixture itself is wrong"),
        ("bank-unmetered-air", 1, _B, "the mixture itself is wrong"),
    ),
    *weights_of(
        "leak-found",
        ("bank-unmetered-air", 8, _S, "smoke showed it"),
        ("common-unmetered-air", 8, _S, "smoke showed it"),
    ),
    *weights_of(
        "no-leak-found",
        ("bank-unmetered-air", -4, _S, "smoke showed none"),
        ("common-unmetered-air", -4, _S, "smoke showed none"),
    ),
    *weights_of("exhaust-leak-found", ("exhaust-leak", 8, _B, "smoke showed it")),
    *weights_of("pressure-low", ("fuel-supply-weak", 8, _E, "measured under load")),
    *weights_of(
        "pressure-good",
        ("fuel-supply-weak", -8, _E, "measured under load"),
        ("airflow-under-read", 1, _E, "fuel is not short"),
    ),
    *weights_of("backpressure-high", ("bank-breathes-less", 8, _B, "measured")),
    *weights_of(
        "backpressure-good", ("bank-breathes-less", -2, _B, "only cam is left")
    ),
    *weights_of("cam-off", ("bank-breathes-less", 8, _B, "cam and crank disagree")),
    *weights_of("cam-good", ("bank-breathes-less", -2, _B, "only blockage is left")),
)
"""A part of the ledger's table."""
