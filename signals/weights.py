"""The ledger's table: every weight there is, with its reason.

1 fits, 2 speaks for it, 4 is hard to explain otherwise, 8 is a forced test; below
zero speaks against. Source: our choice throughout, after the causes that stand
beside each flag.
"""

from __future__ import annotations

from bankwise.signals.ledger import Weight, Where

_S, _F, _R = Where.SAME, Where.FRONT, Where.REAR
_B, _O, _E = Where.BANK, Where.OTHER, Where.ENGINE


def _rows(evidence: str, *rows: tuple[str, float, Where, str]) -> tuple[Weight, ...]:
    return tuple(Weight(evidence, *row) for row in rows)


WEIGHTS: tuple[Weight, ...] = (
    *_rows(
        "front-lean-rear-rich",
        ("sensor-reads-lean", 4, _F, "two sensors disagree, and the trim obeys it"),
        ("exhaust-leak", 1.5, _B, "air at the front sensor looks the same"),
        ("misfire", 0.5, _B, "a misfire passes oxygen too"),
        ("bank-injectors-lean", -3, _B, "too little fuel leaves the rear lean"),
        ("bank-unmetered-air", -3, _B, "a lean bank leaves the rear lean"),
        ("fuel-supply-weak", -2, _E, "a starved engine leaves the rear lean"),
    ),
    *_rows(
        "front-rich-rear-lean",
        ("sensor-reads-rich", 4, _F, "two sensors disagree, and the trim obeys it"),
        ("bank-injectors-rich", -3, _B, "too much fuel leaves the rear rich"),
        ("common-rich-source", -2, _E, "too much fuel leaves the rear rich"),
    ),
    *_rows(
        "front-parked",
        ("sensor-open-circuit", 4, _S, "an open input rests exactly there"),
        ("sensor-heater", 0.5, _S, "a cold sensor rests there too"),
        ("sensor-reads-lean", -2, _S, "it reads neither lean nor rich"),
        ("sensor-reads-rich", -2, _S, "it reads neither lean nor rich"),
    ),
    *_rows(
        "rear-parked",
        ("rear-sensor-faulty", 3, _S, "it does not follow the exhaust"),
        ("sensor-open-circuit", 2, _S, "an open input rests exactly there"),
    ),
    *_rows(
        "wideband-frozen",
        ("sensor-open-circuit", 4, _S, "a reading that ignores the throttle"),
    ),
    *_rows(
        "sensor-not-switching",
        ("sensor-aged", 2, _S, "a slow sensor turns round seldom"),
        ("exhaust-leak", 0.5, _B, "air at the sensor covers the swing"),
    ),
    *_rows(
        "stuck-lean",
        ("sensor-reads-lean", 2, _S, "it stays while the trim adds"),
        ("bank-injectors-lean", 1, _B, "the mixture may be that lean"),
        ("exhaust-leak", 1, _B, "air at the sensor covers the rich half"),
    ),
    *_rows(
        "stuck-rich",
        ("sensor-reads-rich", 2, _S, "it stays while the trim takes away"),
        ("bank-injectors-rich", 1, _B, "the mixture may be that rich"),
    ),
    *_rows(
        "answers-forcing",
        ("sensor-reads-lean", -8, _S, "it followed the forced mixture"),
        ("sensor-reads-rich", -8, _S, "it followed the forced mixture"),
        ("sensor-open-circuit", -8, _S, "it followed the forced mixture"),
        ("rear-sensor-faulty", -8, _S, "it followed the forced mixture"),
    ),
    *_rows(
        "ignores-forcing-lean",
        ("sensor-reads-lean", 8, _S, "forced rich, it stayed lean"),
    ),
    *_rows(
        "ignores-forcing-rich",
        ("sensor-reads-rich", 8, _S, "forced lean, it stayed rich"),
    ),
    *_rows(
        "ignores-forcing-parked",
        ("sensor-open-circuit", 8, _S, "forced both ways, it stayed put"),
    ),
    *_rows(
        "ignores-forcing-rear",
        ("rear-sensor-faulty", 8, _S, "forced both ways, it did not follow"),
    ),
    *_rows(
        "slow-switching",
        ("sensor-aged", 4, _S, "an edge is proven slower than its limit"),
        ("sensor-heater", 0.5, _S, "a cool sensor is slow"),
    ),
    *_rows(
        "slow-one-way",
        ("sensor-aged", 3, _S, "ageing slows one edge more"),
    ),
    *_rows(
        "small-swing",
        ("sensor-aged", 2, _S, "a weak sensor swings less"),
        ("sensor-heater", 0.5, _S, "a cool sensor swings less"),
    ),
    *_rows(
        "switches-seldom",
        ("sensor-aged", 2, _S, "slower than its limit and than its neighbour"),
    ),
    *_rows(
        "rear-flat",
        ("rear-sensor-faulty", 4, _S, "mixed driving must move it"),
    ),
    *_rows(
        "rear-rich-in-decel",
        ("rear-sensor-faulty", 2, _S, "plain air must make it lean"),
        ("bank-injectors-rich", 1, _B, "dripping fuel may reach it"),
    ),
    *_rows(
        "late-wake-up",
        ("sensor-heater", 4, _S, "only the exhaust warmed it"),
    ),
    *_rows(
        "never-woke",
        ("sensor-open-circuit", 1.5, _S, "it never left its bias"),
        ("sensor-heater", 1, _S, "a cold sensor stays there for long"),
    ),
    *_rows(
        "parked-though-hot",
        ("sensor-open-circuit", 3, _S, "hot exhaust wakes a sensor without a heater"),
        ("sensor-heater", -2, _S, "hot exhaust wakes a sensor without a heater"),
    ),
    *_rows(
        "lambda-reads-lean",
        ("sensor-reads-lean", 1, _S, "it stays lean of the command"),
        ("bank-injectors-lean", 1, _B, "the mixture may stay lean"),
    ),
    *_rows(
        "lambda-reads-rich",
        ("sensor-reads-rich", 1, _S, "it stays rich of the command"),
        ("bank-injectors-rich", 1, _B, "the mixture may stay rich"),
    ),
    *_rows(
        "limit-lean",
        ("sensor-reads-lean", 1, _F, "nothing it adds satisfies the sensor"),
        ("bank-injectors-lean", 1, _B, "it cannot add enough"),
        ("bank-unmetered-air", 0.5, _B, "it cannot add enough"),
        ("exhaust-leak", 0.5, _B, "nothing it adds satisfies the sensor"),
    ),
    *_rows(
        "limit-rich",
        ("sensor-reads-rich", 1, _F, "nothing it takes satisfies the sensor"),
        ("bank-injectors-rich", 1, _B, "it cannot take enough"),
    ),
    *_rows(
        "limits-opposed",
        ("sensors-crossed", 6, _E, "what one bank lacks the other has too much of"),
    ),
    *_rows(
        "fronts-opposed",
        ("sensors-crossed", 4, _E, "two sensors seldom lie in opposite ways at once"),
    ),
    *_rows(
        "limit-rich-both",
        ("common-rich-source", 2, _E, "both banks cannot take enough"),
        ("airflow-over-read", 1, _E, "both banks cannot take enough"),
    ),
    *_rows(
        "limit-lean-both",
        ("fuel-supply-weak", 2, _E, "both banks cannot get enough"),
        ("airflow-under-read", 2, _E, "both banks cannot get enough"),
    ),
    *_rows(
        "one-bank-open-loop",
        ("sensor-open-circuit", 1.5, _F, "the unit does not trust it"),
        ("sensor-heater", 1.5, _F, "a cold sensor is not used"),
    ),
    *_rows(
        "mirror-trims",
        ("bank-breathes-less", 5, _B, "one meter, two banks: the shares moved"),
        ("bank-injectors-rich", 1, _B, "one rich bank over common lean looks alike"),
        ("bank-injectors-lean", -2, _O, "injectors do not mirror"),
        ("bank-unmetered-air", -2, _O, "a leak does not mirror"),
    ),
    *_rows(
        "mirror-centred",
        ("bank-breathes-less", 1.5, _B, "both banks lie around the usual"),
        ("bank-injectors-rich", -1, _B, "the other bank is off as well"),
    ),
    *_rows(
        "mirror-one-sided",
        ("bank-injectors-rich", 4, _B, "the other bank is where banks usually are"),
        ("bank-breathes-less", -1.5, _B, "the other bank is where banks usually are"),
    ),
    *_rows(
        "crossed-sensors",
        ("sensors-crossed", 5, _E, "each bank steers the other away"),
        ("bank-breathes-less", -3, Where.BANK, "breathing settles, this runs away"),
    ),
    *_rows(
        "one-bank-subtracting",
        ("bank-injectors-rich", 2, _B, "this bank alone gets too much"),
        ("bank-breathes-less", 1.5, _B, "or too little air for its fuel"),
        ("sensor-reads-rich", 1, _F, "or its sensor says so"),
    ),
    *_rows(
        "subtracts-without-meter",
        ("bank-breathes-less", 2, _B, "pressure-metered: only this bank errs"),
    ),
    *_rows(
        "subtracts-with-meter",
        ("bank-breathes-less", -2, _B, "one meter would make the other bank add"),
    ),
    *_rows(
        "subtracts-at-idle",
        ("bank-injectors-rich", 2, _B, "a drip weighs most at idle"),
        ("bank-breathes-less", -2, _B, "a blockage weighs least at idle"),
        ("sensor-reads-rich", -1, _F, "a bias does not fade with flow"),
    ),
    *_rows(
        "subtracts-with-flow",
        ("bank-breathes-less", 2, _B, "a blockage grows with flow"),
        ("bank-injectors-rich", -1, _B, "a drip fades with flow"),
    ),
    *_rows(
        "one-bank-lean-fades",
        ("bank-unmetered-air", 3, _B, "a leak weighs most at idle"),
        ("exhaust-leak", 1.5, _B, "an exhaust leak fades with flow too"),
        ("bank-injectors-lean", -2, _B, "injectors err at every load"),
    ),
    *_rows(
        "one-bank-lean",
        ("bank-injectors-lean", 2, _B, "the same share at every load"),
        ("sensor-reads-lean", 1.5, _F, "a bias is the same at every load"),
        ("exhaust-leak", 0.5, _B, "a large leak may not fade"),
        ("bank-unmetered-air", -2, _B, "a leak fades with flow"),
    ),
    *_rows(
        "idle-apart-lean",
        ("bank-unmetered-air", 1.5, _B, "a leak weighs most at idle"),
        ("exhaust-leak", 1, _B, "an exhaust leak fades with flow too"),
    ),
    *_rows(
        "idle-rich-fades",
        ("common-rich-source", 1.5, _E, "purge weighs most at idle"),
        ("airflow-over-read", -2, _E, "a meter errs at every load"),
    ),
    *_rows(
        "idle-rich-fades-alone",
        ("bank-injectors-rich", 2, _B, "a drip weighs most at idle"),
        ("common-rich-source", 2, _E, "purge weighs most at idle"),
        ("airflow-over-read", -2, _E, "a meter errs at every load"),
    ),
    *_rows(
        "idle-apart-rich",
        ("bank-injectors-rich", 2, _B, "a drip weighs most at idle"),
    ),
    *_rows(
        "both-lean-fades",
        ("common-unmetered-air", 4, _E, "a leak weighs most at idle"),
        ("airflow-under-read", -2, _E, "a meter errs at every load"),
        ("fuel-supply-weak", -3, _E, "fuel is easiest at idle"),
    ),
    *_rows(
        "both-lean-grows",
        ("fuel-supply-weak", 2.5, _E, "demand outgrows the supply"),
        ("airflow-under-read", 1.5, _E, "a dirty meter errs most at flow"),
        ("common-unmetered-air", -3, _E, "a leak fades with flow"),
    ),
    *_rows(
        "both-lean",
        ("airflow-under-read", 2.5, _E, "the same share at every load"),
        ("fuel-supply-weak", 2, _E, "pressure low everywhere"),
        ("common-unmetered-air", -2, _E, "a leak fades with flow"),
    ),
    *_rows(
        "filling-low",
        ("airflow-under-read", 3, _E, "metered air too small, and fuel is added"),
        ("fuel-supply-weak", -2, _E, "the meter alone explains it"),
    ),
    *_rows(
        "filling-rather-low",
        ("airflow-under-read", 1, _E, "metered air rather small, and fuel is added"),
    ),
    *_rows(
        "filling-rather-normal",
        ("fuel-supply-weak", 1, _E, "the air is rather metered right"),
    ),
    *_rows(
        "idle-lean-fades",
        ("common-unmetered-air", 2, _E, "a leak weighs most at idle"),
        ("fuel-supply-weak", -1, _E, "fuel is easiest at idle"),
    ),
    *_rows(
        "filling-normal",
        ("fuel-supply-weak", 2, _E, "the air is metered right, the fuel is short"),
        ("airflow-under-read", -3, _E, "the air is metered right"),
    ),
    *_rows(
        "filling-high",
        ("airflow-over-read", 3, _E, "metered air too large, and fuel is taken away"),
        ("common-rich-source", -2, _E, "the meter alone explains it"),
    ),
    *_rows(
        "rich-filling-normal",
        ("common-rich-source", 1, _E, "the air is metered right, there is extra fuel"),
        ("airflow-over-read", -3, _E, "the air is metered right"),
    ),
    *_rows(
        "no-airflow-meter",
        ("airflow-under-read", -1, _E, "only its pressure sensor could read low"),
        ("airflow-over-read", -4, _E, "this car has no airflow meter"),
        ("common-unmetered-air", -1, _E, "pressure metering counts leaked air"),
    ),
    *_rows(
        "both-rich",
        ("common-rich-source", 3, _E, "both banks get too much"),
        ("airflow-over-read", 1.5, _E, "a meter reading high does the same"),
    ),
    *_rows(
        "both-rich-alone",
        ("common-rich-source", 2, _E, "the only bank gets too much"),
        ("bank-injectors-rich", 2, Where.BANK, "the only bank gets too much"),
        ("airflow-over-read", 1.5, _E, "a meter reading high does the same"),
    ),
    *_rows(
        "full-throttle-not-rich",
        ("fuel-supply-weak", 0.5, _E, "full demand was not met"),
        ("sensor-reads-lean", 0.5, _S, "or the sensor hides it"),
    ),
    *_rows(
        "full-throttle-lean-both",
        ("fuel-supply-weak", 2, _E, "both banks starve at full demand"),
        ("airflow-under-read", 1, _E, "air not metered gets no fuel either"),
    ),
    *_rows(
        "exhaust-leak-pattern",
        ("exhaust-leak", 4, _B, "a good sensor sees air the engine never had"),
        ("bank-unmetered-air", -3, _B, "the rear says the engine is rich"),
    ),
    *_rows(
        "misfire-false-lean",
        ("misfire", 4, _B, "unburned oxygen passes the sensor"),
        ("bank-injectors-lean", -1, _B, "the misfire alone explains it"),
    ),
    *_rows(
        "decel-not-lean",
        ("bank-injectors-rich", 2.5, _B, "fuel arrives when none is injected"),
        ("sensor-reads-rich", 1.5, _S, "or the sensor cannot read lean"),
    ),
    *_rows(
        "rear-copies-front",
        ("catalyst-worn", 4, _B, "nothing is stored between the sensors"),
    ),
    *_rows(
        "adds-but-rear-rich",
        ("sensor-reads-lean", 2, _F, "the added fuel arrives at the rear"),
        ("exhaust-leak", 1.5, _B, "the added fuel arrives at the rear"),
        ("bank-injectors-lean", -2, _B, "the added fuel was too much"),
        ("bank-unmetered-air", -2, _B, "the added fuel was too much"),
        ("fuel-supply-weak", -2, _E, "the added fuel was too much"),
        ("airflow-under-read", -2, _E, "the added fuel was too much"),
    ),
    *_rows(
        "fades-but-rear-rich",
        ("exhaust-leak", 3, _B, "drawn-in air weighs most at idle"),
        ("common-unmetered-air", -3, _E, "the added fuel was too much"),
        ("sensor-reads-lean", -2, _F, "a lying sensor lies at every flow"),
    ),
    *_rows(
        "takes-but-rear-lean",
        ("sensor-reads-rich", 2, _F, "the fuel is missing at the rear"),
        ("bank-injectors-rich", -2, _B, "too much was taken away"),
        ("bank-breathes-less", -2, _B, "too much was taken away"),
        ("common-rich-source", -3, _E, "too much was taken away"),
        ("airflow-over-read", -3, _E, "too much was taken away"),
    ),
    *_rows(
        "low-airflow-one-bank",
        ("bank-breathes-less", 3, _B, "the only bank fills badly"),
    ),
    *_rows(
        "cam-off-target",
        ("bank-breathes-less", 2, _B, "a late cam fills badly"),
    ),
    *_rows(
        "catalyst-too-hot",
        ("misfire", 2.5, _B, "unburned fuel burns there"),
    ),
    *_rows(
        "thermostat-low",
        ("thermostat-open", 5, _E, "the coolant levels off too cool"),
    ),
    *_rows(
        "late-closed-loop",
        ("sensor-heater", 0.5, _F, "a cold sensor delays the loop"),
    ),
    *_rows(
        "front-lively",
        ("sensor-open-circuit", -3, _S, "it switches"),
        ("sensor-heater", -1, _S, "it is hot enough to switch"),
        ("sensor-reads-lean", -1.5, _S, "it does read rich"),
        ("sensor-reads-rich", -1.5, _S, "it does read lean"),
    ),
    *_rows(
        "front-slow-refuted",
        ("sensor-aged", -2, _S, "it switches as often as it should"),
    ),
    *_rows("woke-in-time", ("sensor-heater", -4, _S, "it woke in time")),
    *_rows("catalyst-calm", ("catalyst-worn", -3, _B, "the rear stays calm")),
    *_rows("plateau-warm", ("thermostat-open", -1, _E, "the coolant got warm")),
    *_rows("rear-lively", ("rear-sensor-faulty", -2, _S, "it moves both ways")),
    *_rows("code-cam", ("bank-breathes-less", 2.5, _B, "the unit doubts the cam")),
    *_rows("code-heater", ("sensor-heater", 2.5, _S, "the unit found its heater bad")),
    *_rows("code-catalyst", ("catalyst-worn", 2, _B, "the unit found it worn")),
    *_rows("code-misfire", ("misfire", 1.5, _S, "the unit counted misfires")),
    *_rows("code-cooling", ("thermostat-open", 2, _E, "the unit missed the warm-up")),
    *_rows("code-crossed", ("sensors-crossed", 3, _E, "the unit found them swapped")),
    *_rows(
        "code-front",
        ("sensor-open-circuit", 1, _S, "the unit doubts this sensor"),
        ("sensor-aged", 1, _S, "the unit doubts this sensor"),
    ),
    *_rows("code-rear", ("rear-sensor-faulty", 2, _S, "the unit doubts this sensor")),
    *_rows(
        "code-stuck-lean",
        ("sensor-reads-lean", 1.5, _S, "the unit saw it stay lean"),
    ),
    *_rows(
        "code-stuck-rich",
        ("sensor-reads-rich", 1.5, _S, "the unit saw it stay rich"),
    ),
    *_rows("circuit-bad", ("sensor-open-circuit", 8, _S, "tested at the wire")),
    *_rows("circuit-good", ("sensor-open-circuit", -8, _S, "tested at the wire")),
    *_rows(
        "right-unplugged",
        ("sensor-reads-lean", 6, _S, "without it the engine ran right"),
        ("sensor-reads-rich", 6, _S, "without it the engine ran right"),
        ("exhaust-leak", 1, _B, "air at the sensor misleads it as well"),
        ("bank-injectors-lean", -4, _B, "default fuelling was right"),
        ("bank-injectors-rich", -4, _B, "default fuelling was right"),
        ("bank-unmetered-air", -4, _B, "default fuelling was right"),
    ),
    *_rows(
        "wrong-unplugged",
        ("sensor-reads-lean", -6, _S, "without it the engine still ran wrong"),
        ("sensor-reads-rich", -6, _S, "without it the engine still ran wrong"),
        ("bank-injectors-lean", 1, _B, "the mixture itself is wrong"),
        ("bank-injectors-rich", 1, _B, "the mixture itself is wrong"),
        ("bank-unmetered-air", 1, _B, "the mixture itself is wrong"),
    ),
    *_rows(
        "leak-found",
        ("bank-unmetered-air", 8, _S, "smoke showed it"),
        ("common-unmetered-air", 8, _S, "smoke showed it"),
    ),
    *_rows(
        "no-leak-found",
        ("bank-unmetered-air", -4, _S, "smoke showed none"),
        ("common-unmetered-air", -4, _S, "smoke showed none"),
    ),
    *_rows("exhaust-leak-found", ("exhaust-leak", 8, _B, "smoke showed it")),
    *_rows("pressure-low", ("fuel-supply-weak", 8, _E, "measured under load")),
    *_rows(
        "pressure-good",
        ("fuel-supply-weak", -8, _E, "measured under load"),
        ("airflow-under-read", 1, _E, "fuel is not short"),
    ),
    *_rows("backpressure-high", ("bank-breathes-less", 8, _B, "measured")),
    *_rows("backpressure-good", ("bank-breathes-less", -2, _B, "only cam is left")),
    *_rows("cam-off", ("bank-breathes-less", 8, _B, "cam and crank disagree")),
    *_rows("cam-good", ("bank-breathes-less", -2, _B, "only blockage is left")),
)
"""Every weight there is."""
