"""Cars that meter air by pressure: the sensor that errs, and fuel or air besides."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pytest

from bankwise.signals.columns import Floats
from bankwise.signals.engine import Engine

Wave = Callable[[Floats], Floats] | float | None
Watch = Callable[..., Engine]
Change = dict[str, Wave]

OVER, EXTRA = ("airflow-over-read", "engine"), ("common-rich-source", "engine")
UNDER, LEAK = ("airflow-under-read", "engine"), ("common-unmetered-air", "engine")


def _legs(idle: float, easy: float, loaded: float) -> Callable[[Floats], Floats]:
    """Key on for 5 s, idle until 100 s, then easy driving, and loaded from 180 s."""
    return lambda t: np.select([t < 100, t < 180], [idle, easy], loaded)


def _car(
    trims: tuple[float, float, float],
    off_kpa: float,
    baro_kpa: float | None,
    easy_kpa: float = 45.0,
) -> Change:
    """Both banks with these trims; the manifold with the engine off, and driving."""
    trim = _legs(*trims)
    rpm, pressure = _legs(750, 1800, 2300), _legs(33, easy_kpa, 75)
    return {
        "maf_gps": None,
        "ltft_b1_pct": trim,
        "ltft_b2_pct": trim,
        "rpm": lambda t: np.where(t < 5, 0.0, rpm(t)),
        "map_kpa": lambda t: np.where(t < 5, off_kpa, pressure(t)),
        "baro_kpa": baro_kpa,
    }


def _shares(engine: Engine) -> Mapping[tuple[str, str], float]:
    return {(e.id, e.about): e.share for e in engine.explanations()}


@pytest.mark.parametrize(
    ("off_kpa", "baro_kpa", "speaks"),
    [
        (106.0, 99.0, True),
        (103.0, 99.0, True),
        (101.0, 99.0, False),
        (106.0, None, True),
        (102.0, None, False),
    ],
)
def test_standing_air_convicts_a_sensor_that_reads_high(
    watch: Watch, off_kpa: float, baro_kpa: float | None, speaks: bool
) -> None:
    """Above the barometer, or above all weather, the pressure sensor comes first."""
    engine = watch(_car((-20, -18, -12), off_kpa, baro_kpa), seconds=320)
    shares = _shares(engine)
    assert (shares[OVER] > shares[EXTRA]) is speaks


def test_a_barometer_told_after_the_start_serves_as_well(watch: Watch) -> None:
    """The air outside does not change with the engine's start."""
    change = _car((-20, -18, -12), 106.0, None)
    change["baro_kpa"] = lambda t: np.where(t < 40, np.nan, 99.0)
    shares = _shares(watch(change, seconds=320))
    assert shares[OVER] > shares[EXTRA]


@pytest.mark.parametrize(
    ("trims", "first"),
    [((-20.0, -19.0, -9.0), OVER), ((-24.0, -11.0, -9.0), EXTRA)],
)
def test_rich_at_one_pressure_is_told_by_the_airflow(
    watch: Watch, trims: tuple[float, float, float], first: tuple[str, str]
) -> None:
    """At idle's pressure a faster engine thins vapour out, not a sensor's error."""
    engine = watch(_car(trims, 100.0, 100.0, easy_kpa=33.0), seconds=320)
    said = engine.explanations()[0]
    assert (said.id, said.about) == first


@pytest.mark.parametrize(
    ("trims", "first"),
    [((36.0, 32.0, 14.0), UNDER), ((30.0, 13.0, 4.0), LEAK)],
)
def test_lean_at_one_pressure_is_told_by_the_airflow(
    watch: Watch, trims: tuple[float, float, float], first: tuple[str, str]
) -> None:
    """At idle's pressure a faster engine thins a leak out, not a sensor's error."""
    engine = watch(_car(trims, 100.0, 100.0, easy_kpa=33.0), seconds=320)
    said = engine.explanations()[0]
    assert (said.id, said.about) == first


def test_an_error_alike_everywhere_is_not_the_pressure_sensor(watch: Watch) -> None:
    """Fuel pressure errs alike under load too: no word of equal pressures then."""
    engine = watch(_car((-17, -17, -17), 100.0, 100.0, easy_kpa=33.0), seconds=320)
    shares = _shares(engine)
    assert shares[EXTRA] > shares[OVER]


def test_lean_that_fades_by_pressure_is_rather_the_sensor(watch: Watch) -> None:
    """Air that leaks in raises the pressure and so is metered: no trim needs it."""
    engine = watch(_car((22, 13, 7), 94.0, 101.0), seconds=320)
    said = engine.explanations()[0]
    assert (said.id, said.about) == UNDER


def test_lean_at_idle_alone_is_asked_of_the_pressure_sensor_too(watch: Watch) -> None:
    """Below any flag's limit on the road, standing air still tells."""
    engine = watch(_car((14, 8, 3), 94.0, 101.0), seconds=320)
    said = engine.explanations()[0]
    assert (said.id, said.about) == UNDER
