"""What trims show over the kinds of driving, bank by bank and in common.

How weights read stands in `weights`. Source: our choice throughout, after the causes
that stand beside each flag.
"""

from __future__ import annotations

from bankwise.signals.ledger import Weight, Where, weights_of

_F, _B, _O, _E = Where.FRONT, Where.BANK, Where.OTHER, Where.ENGINE

WEIGHTS: tuple[Weight, ...] = (
    *weights_of(
        "mirror-trims",
        ("bank-breathes-less", 5, _B, "one meter, two banks: the shares moved"),
        ("bank-injectors-rich", 1, _B, "one rich bank over common lean looks alike"),
        ("sensor-reads-rich", 0.5, _F, "one bank's lie over common lean looks alike"),
        ("bank-injectors-lean", -2, _O, "injectors do not mirror"),
        ("bank-unmetered-air", -2, _O, "a leak does not mirror"),
    ),
    *weights_of(
        "mirror-grows",
        (
            "bank-breathes-less",
            3,
            _B,
            "a blockage grows with flow, and feeds the other",
        ),
        ("bank-injectors-lean", -1.5, _O, "injectors do not mirror"),
        ("bank-injectors-rich", -1, _B, "injectors do not mirror"),
    ),
    *weights_of(
        "mirror-centred",
        ("bank-breathes-less", 1.5, _B, "both banks lie around the usual"),
        ("bank-injectors-rich", -1, _B, "the other bank is off as well"),
    ),
    *weights_of(
        "mirror-one-sided",
        ("bank-injectors-rich", 3, _B, "the other bank is where banks usually are"),
        ("sensor-reads-rich", 2, _F, "the other bank is where banks usually are"),
        ("bank-breathes-less", -1.5, _B, "the other bank is where banks usually are"),
    ),
    *weights_of(
        "one-bank-subtracting",
        ("bank-injectors-rich", 2, _B, "this bank alone gets too much"),
        ("bank-breathes-less", 1.5, _B, "or too little air for its fuel"),
        ("sensor-reads-rich", 1, _F, "or its sensor says so"),
    ),
    *weights_of(
        "subtracts-without-meter",
        ("bank-breathes-less", 2, _B, "pressure-metered: only this bank errs"),
    ),
    *weights_of(
        "subtracts-with-meter",
        ("bank-breathes-less", -2, _B, "one meter would make the other bank add"),
    ),
    *weights_of(
        "subtracts-at-idle",
        ("bank-injectors-rich", 2, _B, "a drip weighs most at idle"),
        ("bank-breathes-less", -2, _B, "a blockage weighs least at idle"),
        ("sensor-reads-rich", -1, _F, "a bias does not fade with flow"),
    ),
    *weights_of(
        "subtracts-with-flow",
        ("bank-breathes-less", 2, _B, "a blockage grows with flow"),
        ("bank-injectors-rich", -1, _B, "a drip fades with flow"),
    ),
    *weights_of(
        "takes-more-with-flow",
        ("bank-breathes-less", 4, _B, "a blockage grows with flow"),
        ("bank-injectors-rich", -1.5, _B, "injectors err at every load, drips at idle"),
        ("sensor-reads-rich", -2, _F, "a bias does not grow with flow"),
    ),
    *weights_of(
        "no-cam-code",
        ("bank-injectors-rich", 0.5, _B, "nothing was found that takes its air"),
        (
            "bank-breathes-less",
            -0.5,
            _B,
            "a blockage would grow with flow, a cam so late often sets its code",
        ),
    ),
    *weights_of(
        "one-bank-lean-fades",
        ("bank-unmetered-air", 3, _B, "a leak weighs most at idle"),
        ("exhaust-leak", 1.5, _B, "an exhaust leak fades with flow too"),
        ("bank-injectors-lean", -2, _B, "injectors err at every load"),
    ),
    *weights_of(
        "one-bank-lean",
        ("bank-injectors-lean", 2, _B, "the same share at every load"),
        ("sensor-reads-lean", 1.5, _F, "a bias is the same at every load"),
        ("exhaust-leak", 0.5, _B, "a large leak may not fade"),
        ("bank-unmetered-air", -2, _B, "a leak fades with flow"),
    ),
    *weights_of(
        "idle-apart-lean",
        ("bank-unmetered-air", 1.5, _B, "a leak weighs most at idle"),
        ("exhaust-leak", 1, _B, "an exhaust leak fades with flow too"),
    ),
    *weights_of(
        "idle-rich-fades",
        ("common-rich-source", 1.5, _E, "purge weighs most at idle"),
    ),
    *weights_of(
        "metered-rich-fades",
        ("airflow-over-read", -2, _E, "an airflow meter errs at every load"),
    ),
    *weights_of(
        "idle-rich-fades-alone",
        ("bank-injectors-rich", 2, _B, "a drip weighs most at idle"),
        ("common-rich-source", 2, _E, "purge weighs most at idle"),
    ),
    *weights_of(
        "only-idle-rich",
        ("common-rich-source", 1, _E, "both banks get too much at idle"),
        ("airflow-over-read", 0.75, _E, "a meter reading high does the same"),
    ),
    *weights_of(
        "only-idle-rich-alone",
        ("common-rich-source", 1, _E, "the only bank gets too much at idle"),
        ("bank-injectors-rich", 0.75, _B, "a drip weighs most at idle"),
        ("airflow-over-read", 0.75, _E, "a meter reading high does the same"),
    ),
    *weights_of(
        "only-idle-lean",
        ("common-unmetered-air", 1, _E, "a leak weighs most at idle"),
        ("airflow-under-read", 0.75, _E, "a meter reading low does the same"),
        ("fuel-supply-weak", 0.5, _E, "fuel is easiest at idle"),
    ),
    *weights_of(
        "only-idle-lean-alone",
        ("common-unmetered-air", 1, _E, "a leak weighs most at idle"),
        ("airflow-under-read", 0.75, _E, "a meter reading low does the same"),
        ("exhaust-leak", 0.5, _B, "an exhaust draws air in at idle"),
        ("sensor-reads-lean", 0.5, _F, "or the sensor says so"),
    ),
    *weights_of(
        "only-idle-bank-rich",
        ("bank-injectors-rich", 1, _B, "this bank alone gets too much"),
        ("sensor-reads-rich", 0.75, _F, "or its sensor says so"),
        ("bank-breathes-less", 0.5, _B, "or it gets too little air"),
    ),
    *weights_of(
        "only-idle-bank-lean",
        ("bank-unmetered-air", 1, _B, "a leak weighs most at idle"),
        ("exhaust-leak", 0.75, _B, "an exhaust draws air in at idle"),
        ("bank-injectors-lean", 0.5, _B, "or it gets too little fuel"),
        ("sensor-reads-lean", 0.75, _F, "or its sensor says so"),
    ),
    *weights_of(
        "beyond-purge",
        ("common-rich-source", -0.5, _E, "few purge lines add so much to an idle"),
    ),
    *weights_of(
        "within-purge",
        ("common-rich-source", 0.5, _E, "as much as a purge line may add to an idle"),
    ),
    *weights_of(
        "idle-apart-rich",
        ("bank-injectors-rich", 2, _B, "a drip weighs most at idle"),
    ),
    *weights_of(
        "both-lean-fades",
        ("common-unmetered-air", 4, _E, "a leak weighs most at idle"),
        ("fuel-supply-weak", -3, _E, "fuel is easiest at idle"),
    ),
    *weights_of(
        "metered-lean-fades",
        ("airflow-under-read", -2, _E, "an airflow meter errs at every load"),
    ),
    *weights_of(
        "both-lean-grows",
        ("fuel-supply-weak", 2.5, _E, "demand outgrows the supply"),
        ("airflow-under-read", 1.5, _E, "a dirty meter errs most at flow"),
        ("common-unmetered-air", -3, _E, "a leak fades with flow"),
    ),
    *weights_of(
        "both-lean",
        ("airflow-under-read", 3, _E, "the same share at every load"),
        ("fuel-supply-weak", 2.5, _E, "pressure low everywhere"),
        ("common-unmetered-air", -2, _E, "a leak fades with flow"),
    ),
    *weights_of(
        "idle-lean-fades",
        ("common-unmetered-air", 2, _E, "a leak weighs most at idle"),
        ("fuel-supply-weak", -1, _E, "fuel is easiest at idle"),
    ),
    *weights_of(
        "both-rich",
        ("common-rich-source", 3, _E, "both banks get too much"),
        ("airflow-over-read", 1.5, _E, "a meter reading high does the same"),
    ),
    *weights_of(
        "both-rich-alone",
        ("common-rich-source", 2.5, _E, "all cylinders get too much"),
        ("bank-injectors-rich", 1.5, _B, "or one of them gets far too much"),
        ("airflow-over-read", 1.5, _E, "a meter reading high does the same"),
    ),
)
"""A part of the ledger's table."""
