"""What sensors themselves show: parked, stuck, slow, late, contradicted or well.

How weights read stands in `weights`. Source: our choice throughout, after the causes
that stand beside each flag.
"""

from __future__ import annotations

from bankwise.signals.ledger import Weight, Where, weights_of

_S, _F, _B, _E = Where.SAME, Where.FRONT, Where.BANK, Where.ENGINE

WEIGHTS: tuple[Weight, ...] = (
    *weights_of(
        "front-lean-rear-rich",
        ("sensor-reads-lean", 4, _F, "two sensors disagree, and the trim obeys it"),
        ("exhaust-leak", 1.5, _B, "air at the front sensor looks the same"),
        ("misfire", 0.5, _B, "a misfire passes oxygen too"),
        ("bank-injectors-lean", -3, _B, "too little fuel leaves the rear lean"),
        ("bank-unmetered-air", -3, _B, "a lean bank leaves the rear lean"),
        ("fuel-supply-weak", -2, _E, "a starved engine leaves the rear lean"),
    ),
    *weights_of(
        "front-rich-rear-lean",
        ("sensor-reads-rich", 4, _F, "two sensors disagree, and the trim obeys it"),
        ("bank-injectors-rich", -3, _B, "too much fuel leaves the rear rich"),
        ("common-rich-source", -2, _E, "too much fuel leaves the rear rich"),
    ),
    *weights_of(
        "front-parked",
        ("sensor-open-circuit", 4, _S, "an open input rests exactly there"),
        ("sensor-heater", 0.5, _S, "a cold sensor rests there too"),
        ("sensor-reads-lean", -2, _S, "it reads neither lean nor rich"),
        ("sensor-reads-rich", -2, _S, "it reads neither lean nor rich"),
    ),
    *weights_of(
        "parked-yet-swung",
        ("sensor-heater", 3.5, _S, "alive when the exhaust is hot, asleep when not"),
        ("sensor-open-circuit", -2, _S, "an open input does not come alive"),
    ),
    *weights_of(
        "rear-parked",
        ("rear-sensor-faulty", 3, _S, "it does not follow the exhaust"),
        ("sensor-open-circuit", 2, _S, "an open input rests exactly there"),
    ),
    *weights_of(
        "wideband-frozen",
        ("sensor-open-circuit", 4, _S, "a reading that ignores the throttle"),
    ),
    *weights_of(
        "sensor-not-switching",
        ("sensor-aged", 2, _S, "a slow sensor turns round seldom"),
        ("exhaust-leak", 0.5, _B, "air at the sensor covers the swing"),
    ),
    *weights_of(
        "stuck-lean",
        ("sensor-reads-lean", 2, _S, "it stays while the trim adds"),
        ("bank-injectors-lean", 1, _B, "the mixture may be that lean"),
        ("exhaust-leak", 1, _B, "air at the sensor covers the rich half"),
    ),
    *weights_of(
        "stuck-rich",
        ("sensor-reads-rich", 2, _S, "it stays while the trim takes away"),
        ("bank-injectors-rich", 1, _B, "the mixture may be that rich"),
    ),
    *weights_of(
        "stuck-lean-alone",
        ("sensor-reads-lean", 2, _S, "it stays while the trim adds"),
        ("bank-injectors-lean", 1, _B, "the mixture may be that lean"),
        ("fuel-supply-weak", 1, _E, "the mixture may be that lean"),
        ("exhaust-leak", 1, _B, "air at the sensor covers the rich half"),
    ),
    *weights_of(
        "stuck-rich-alone",
        ("sensor-reads-rich", 2, _S, "it stays while the trim takes away"),
        ("bank-injectors-rich", 1, _B, "the mixture may be that rich"),
        ("common-rich-source", 1, _E, "the mixture may be that rich"),
    ),
    *weights_of(
        "answers-forcing",
        ("sensor-reads-lean", -8, _S, "it followed the forced mixture"),
        ("sensor-reads-rich", -8, _S, "it followed the forced mixture"),
        ("sensor-open-circuit", -8, _S, "it followed the forced mixture"),
        ("rear-sensor-faulty", -8, _S, "it followed the forced mixture"),
    ),
    *weights_of(
        "ignores-forcing-lean",
        ("sensor-reads-lean", 8, _S, "forced rich, it stayed lean"),
    ),
    *weights_of(
        "ignores-forcing-rich",
        ("sensor-reads-rich", 8, _S, "forced lean, it stayed rich"),
    ),
    *weights_of(
        "ignores-forcing-parked",
        ("sensor-open-circuit", 8, _S, "forced both ways, it stayed put"),
    ),
    *weights_of(
        "ignores-forcing-rear",
        ("rear-sensor-faulty", 8, _S, "forced both ways, it did not follow"),
    ),
    *weights_of(
        "slow-switching",
        ("sensor-aged", 4, _S, "an edge is proven slower than its limit"),
        ("sensor-heater", 0.5, _S, "a cool sensor is slow"),
    ),
    *weights_of(
        "slow-one-way",
        ("sensor-aged", 3, _S, "ageing slows one edge more"),
    ),
    *weights_of(
        "small-swing",
        ("sensor-aged", 2, _S, "a weak sensor swings less"),
        ("sensor-heater", 0.5, _S, "a cool sensor swings less"),
    ),
    *weights_of(
        "slow-switching-just",
        ("sensor-aged", 2, _S, "an edge is slower than its limit, by little"),
    ),
    *weights_of(
        "small-swing-just",
        ("sensor-aged", 0.5, _S, "it swings less than its limit, by little"),
    ),
    *weights_of(
        "switches-seldom",
        ("sensor-aged", 2, _S, "slower than its limit and than its neighbour"),
    ),
    *weights_of(
        "rear-flat",
        ("rear-sensor-faulty", 4, _S, "mixed driving must move it"),
    ),
    *weights_of(
        "rear-rich-in-decel",
        ("rear-sensor-faulty", 2, _S, "plain air must make it lean"),
        ("bank-injectors-rich", 1, _B, "dripping fuel may reach it"),
    ),
    *weights_of(
        "late-wake-up",
        ("sensor-heater", 4, _S, "only the exhaust warmed it"),
    ),
    *weights_of(
        "late-wake-alike",
        ("sensor-heater", 0.75, _S, "the exhaust warmed it, or both heaters wait"),
    ),
    *weights_of(
        "never-woke",
        ("sensor-open-circuit", 1.5, _S, "it never left its bias"),
        ("sensor-heater", 1, _S, "a cold sensor stays there for long"),
    ),
    *weights_of(
        "parked-though-hot",
        ("sensor-open-circuit", 3, _S, "hot exhaust wakes a sensor without a heater"),
        ("sensor-heater", -2, _S, "hot exhaust wakes a sensor without a heater"),
    ),
    *weights_of(
        "lambda-reads-lean",
        ("sensor-reads-lean", 1, _S, "it stays lean of the command"),
        ("bank-injectors-lean", 1, _B, "the mixture may stay lean"),
    ),
    *weights_of(
        "lambda-reads-rich",
        ("sensor-reads-rich", 1, _S, "it stays rich of the command"),
        ("bank-injectors-rich", 1, _B, "the mixture may stay rich"),
    ),
    *weights_of(
        "lambda-reads-lean-alone",
        ("sensor-reads-lean", 1, _S, "it stays lean of the command"),
        ("bank-injectors-lean", 1, _B, "the mixture may stay lean"),
        ("fuel-supply-weak", 1, _E, "the mixture may stay lean"),
    ),
    *weights_of(
        "lambda-reads-rich-alone",
        ("sensor-reads-rich", 1, _S, "it stays rich of the command"),
        ("bank-injectors-rich", 1, _B, "the mixture may stay rich"),
        ("common-rich-source", 1, _E, "the mixture may stay rich"),
    ),
    *weights_of(
        "front-swings",
        ("sensor-open-circuit", -2, _S, "an open input does not swing"),
    ),
    *weights_of(
        "front-lively",
        ("sensor-open-circuit", -3, _S, "it switches"),
        ("sensor-heater", -1, _S, "it is hot enough to switch"),
        ("sensor-reads-lean", -1.5, _S, "it does read rich"),
        ("sensor-reads-rich", -1.5, _S, "it does read lean"),
    ),
    *weights_of(
        "front-slow-refuted",
        ("sensor-aged", -2.5, _S, "it switches as often as it should"),
    ),
    *weights_of("woke-in-time", ("sensor-heater", -4, _S, "it woke in time")),
    *weights_of("rear-lively", ("rear-sensor-faulty", -2, _S, "it moves both ways")),
)
"""A part of the ledger's table."""
