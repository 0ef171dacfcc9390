"""What the whole engine shows: filling, cams, catalyst, warm-up.

How weights read stands in `weights`. Source: our choice throughout, after the causes
that stand beside each flag.
"""

from __future__ import annotations

from bankwise.signals.ledger import Weight, Where, weights_of

_B, _E = Where.BANK, Where.ENGINE

WEIGHTS: tuple[Weight, ...] = (
    *weights_of(
        "filling-low",
        ("airflow-under-read", 3, _E, "metered air too small, and fuel is added"),
        ("fuel-supply-weak", -2, _E, "the meter alone explains it"),
    ),
    *weights_of(
        "filling-rather-low",
        ("airflow-under-read", 1, _E, "metered air rather small, and fuel is added"),
    ),
    *weights_of(
        "load-low-wide-open",
        ("airflow-under-read", 3, _E, "an open throttle fills any engine to its most"),
        ("fuel-supply-weak", -2, _E, "the meter alone explains it"),
    ),
    *weights_of(
        "load-full-wide-open",
        ("fuel-supply-weak", 2, _E, "the air is metered right, the fuel is short"),
        ("airflow-under-read", -2.5, _E, "a meter that reads low never gets there"),
    ),
    *weights_of(
        "load-rather-full-wide-open",
        ("fuel-supply-weak", 1, _E, "rather the fuel is short than the air misread"),
        ("airflow-under-read", -1, _E, "few meters that read low get there"),
    ),
    *weights_of(
        "load-at-its-end",
        ("airflow-over-read", 1, _E, "a meter that reads high runs into the end"),
    ),
    *weights_of(
        "filling-normal",
        ("fuel-supply-weak", 2, _E, "the air is metered right, the fuel is short"),
        ("airflow-under-read", -3, _E, "the air is metered right"),
    ),
    *weights_of(
        "filling-high",
        ("airflow-over-read", 3, _E, "metered air too large, and fuel is taken away"),
        ("common-rich-source", -2, _E, "the meter alone explains it"),
    ),
    *weights_of(
        "filling-rather-high",
        ("airflow-over-read", 1, _E, "much air, though some engines take it"),
    ),
    *weights_of(
        "rich-filling-normal",
        ("common-rich-source", 1, _E, "the air is metered right, there is extra fuel"),
        ("airflow-over-read", -1, _E, "no more air is metered than is usual"),
    ),
    *weights_of(
        "no-airflow-meter",
        ("airflow-under-read", -1, _E, "only its pressure sensor could read low"),
        ("airflow-over-read", -1, _E, "only its pressure sensor could read high"),
        ("common-unmetered-air", -2.5, _E, "pressure metering counts leaked air"),
    ),
    *weights_of(
        "rear-copies-front",
        ("catalyst-worn", 4, _B, "nothing is stored between the sensors"),
    ),
    *weights_of(
        "rich-falls-with-load",
        ("airflow-over-read", 3, _E, "a pressure read too high weighs most at idle"),
    ),
    *weights_of(
        "rich-alike-everywhere",
        ("airflow-over-read", 1, _E, "a meter errs at every load, vapour fades"),
    ),
    *weights_of(
        "pressure-reads-low",
        ("airflow-under-read", 4, _E, "standing air has one pressure"),
        ("fuel-supply-weak", -2, _E, "the pressure sensor alone explains it"),
    ),
    *weights_of(
        "pressure-reads-high",
        ("airflow-over-read", 5, _E, "standing air has one pressure"),
        ("common-rich-source", -2, _E, "the pressure sensor alone explains it"),
    ),
    *weights_of(
        "pressure-rather-low",
        ("airflow-under-read", 2, _E, "standing air has one pressure"),
    ),
    *weights_of(
        "pressure-rather-high",
        ("airflow-over-read", 3, _E, "standing air has one pressure"),
    ),
    *weights_of(
        "rich-with-pressure",
        ("airflow-over-read", 3, _E, "a pressure sensor errs alike at one pressure"),
        ("common-rich-source", -2, _E, "more airflow would thin vapour out"),
    ),
    *weights_of(
        "rich-with-flow",
        ("common-rich-source", 2, _E, "more airflow thins vapour out"),
        ("airflow-over-read", -2, _E, "a pressure sensor errs alike at one pressure"),
    ),
    *weights_of(
        "lean-with-pressure",
        ("airflow-under-read", 3, _E, "a pressure sensor errs alike at one pressure"),
        ("common-unmetered-air", -2, _E, "more airflow would thin a leak out"),
        ("fuel-supply-weak", -1, _E, "fuel runs short with flow, not with pressure"),
    ),
    *weights_of(
        "lean-with-flow",
        ("common-unmetered-air", 2, _E, "more airflow thins a leak out"),
        ("airflow-under-read", -2, _E, "a pressure sensor errs alike at one pressure"),
    ),
    *weights_of(
        "pressure-low-wide-open",
        ("airflow-under-read", 2, _E, "an open throttle lets nearly all pressure in"),
        ("fuel-supply-weak", -1, _E, "the pressure sensor may explain it"),
    ),
    *weights_of(
        "lean-falls-with-load",
        ("airflow-under-read", 2, _E, "a pressure read low misses most air at idle"),
        ("fuel-supply-weak", -1.5, _E, "fuel is easiest at idle"),
    ),
    *weights_of(
        "low-airflow-one-bank",
        ("bank-breathes-less", 3, _B, "the only bank fills badly"),
    ),
    *weights_of(
        "cam-off-target",
        ("bank-breathes-less", 2, _B, "a late cam fills badly"),
    ),
    *weights_of(
        "catalyst-too-hot",
        ("misfire", 2.5, _B, "unburned fuel burns there"),
    ),
    *weights_of(
        "thermostat-low",
        ("thermostat-open", 5, _E, "the coolant levels off too cool"),
    ),
    *weights_of("catalyst-calm", ("catalyst-worn", -2, _B, "the rear stays calm")),
    *weights_of("plateau-warm", ("thermostat-open", -1, _E, "the coolant got warm")),
)
"""A part of the ledger's table."""
