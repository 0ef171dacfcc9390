"""Cam and bank breathing: does one bank get less air than the other?

One meter, two banks: when a bank breathes less, the unit gives it fuel for air that
went to the other, so it subtracts what the other adds, the more the more air flows.
On an engine that meters by pressure only the bank that breathes less errs.
"""

from __future__ import annotations

import math

import numpy as np

from bankwise.signals.airflow import EXPECTED_PCT, EXPECTED_RPM
from bankwise.signals.columns import Floats
from bankwise.signals.driving import Driving
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.figures import engine, trims
from bankwise.signals.guided.pull import WIDE_S, spans
from bankwise.signals.guided.script import (
    Figure,
    Finding,
    GuidedTest,
    Step,
    Subject,
    undone,
)
from bankwise.signals.patterns import BIN_NAMES

DISPLACEMENT = "displacement"
"""Name of the fact that gives the displacement. Unit: L."""
MIRROR_BINS = 2
ODD_LOW, ODD_HIGH = 0.5, 1.5
"""Shares of the usual filling beyond which the displacement or the meter is wrong, not
the breathing. Our choice, because such an engine would hardly pull."""
PARKED_DEG = 1.0
"""A cam within this of zero all the time is parked. Unit: °. Our choice."""
LEAST_CAM_VALUES = 5
TRIM_HZ, AIR_HZ = 0.5, 1.0
"""Slowest sampling of trims in half a minute, and of air in a pull of four seconds.
Unit: Hz. Our choice."""
_GROWS_PCT = 3.0
"""How much farther apart the banks must be at more flow. Unit: %. Our choice, because
a trim's own noise is below it."""


def litres(case: Case) -> float:
    """The displacement that is known or was given, NaN when neither. Unit: L."""
    known = case.columns.vehicle.displacement_l
    if known is not None:
        return known
    try:
        given = float(case.run.given.get(DISPLACEMENT, ""))
    except ValueError:
        given = math.nan
    return given if 0 < given < 20 else case.last("displacement_l")


def _judge(case: Case) -> tuple[Finding, ...]:
    bins = _bins(case)
    found = [Finding("engine", text) for text in _bin_words(case, bins)]
    found.append(_pattern(case, bins))
    found.append(_filling(case))
    found.extend(_cam(case))
    if case.run.ended:
        text = f"Trims were seen in {len(bins)} of {len(BIN_NAMES)} airflow bins."
        if len(bins) >= MIRROR_BINS and case.engine_ran:
            found.append(Finding("engine", text, "done"))
        else:
            found.append(_undone(case, text))
    return tuple(found)


def _undone(case: Case, text: str) -> Finding:
    if not case.engine_ran:
        return undone("engine", "the engine did not run", "Start it, warm it up.")
    if not case.has("stft_b1_pct"):
        text = "This car shows no trims: compare the filling at full throttle."
        return undone("engine", "no trims were seen", text)
    instead = (
        "Warm the engine up until every bank is in closed loop, idle half a minute, "
        "then drive half a minute each at more and more air."
    )
    return undone("engine", text[:-1].lower(), instead)


def _bins(case: Case) -> dict[str, tuple[float, ...]]:
    """Total trims of each bank by airflow bin, for bins known of every bank."""
    found = {}
    for name in BIN_NAMES:
        values = tuple(case.last(f"trim_{name}_b{bank}_pct") for bank in case.banks)
        if all(map(math.isfinite, values)):
            found[name] = values
    return found


def _bin_words(case: Case, bins: dict[str, tuple[float, ...]]) -> list[str]:
    words = []
    for name in BIN_NAMES:
        if name not in bins:
            words.append(f"{name.capitalize()} airflow: not seen yet.")
            continue
        each = ", ".join(
            f"B{bank} {value:+.1f} %"
            for bank, value in zip(case.banks, bins[name], strict=True)
        )
        words.append(f"{name.capitalize()} airflow: {each}.")
    return words


def _pattern(case: Case, bins: dict[str, tuple[float, ...]]) -> Finding:
    if len(case.banks) < 2:
        text = "One bank only: its breathing shows in the filling at full throttle."
        return Finding("engine", text)
    if len(bins) < MIRROR_BINS:
        return Finding("engine", "No pattern yet: two airflow bins are needed.")
    apart = [one - two for one, two in bins.values()]
    common = [(one + two) / 2 for one, two in bins.values()]
    most = max(apart, key=abs)
    bank = 1 if most < 0 else 2
    other = 3 - bank
    mass_air = case.last("mass_air")
    add, level = case.limits["trim_add_pct"], case.limits["mirror_common_pct"]
    if abs(most) < add:
        text = "Both banks ask for the same: none breathes less than the other."
        return Finding("engine", text)
    grows = abs(apart[-1]) > abs(apart[0]) + _GROWS_PCT
    how = "and grows with airflow: a restriction" if grows else "at every airflow: cam"
    if mass_air == 1 and all(abs(value) < level for value in common):
        text = (
            f"Mirror: B{bank} subtracts what B{other} adds, {how}. One meter serves "
            f"both, so the air that B{bank} does not get goes to B{other}: B{bank} "
            "breathes less."
        )
        return Finding(f"B{bank}", text)
    if mass_air == 0 and abs(bins[list(bins)[-1]][other - 1]) < level:
        text = (
            f"B{bank} subtracts alone, {how}. This engine meters by pressure, so only "
            f"the bank that errs shows it: B{bank} may breathe less."
        )
        return Finding(f"B{bank}", text)
    text = (
        f"The banks are {abs(most):.0f} % apart, but not as mirror images: look at "
        "sensors, injectors and leaks before breathing."
    )
    return Finding("engine", text)


def _filling(case: Case) -> Finding:
    """Volumetric efficiency at full load, from the air meter and the displacement."""
    if not case.has("maf_gps"):
        text = "Filling at full throttle needs an airflow meter; this car shows none."
        return Finding("engine", text)
    size = litres(case)
    if not math.isfinite(size):
        return Finding("engine", "Filling: the displacement is not known.")
    ratios = []
    for start, end in spans(case, Driving.WIDE_OPEN, WIDE_S):
        rpm = case.ticks("rpm", start + 0.5, end)
        air = case.ticks("maf_gps", start + 0.5, end)
        density = case.ticks("density_gpl", start + 0.5, end)
        filling = _efficiency(rpm, air, density, size)
        expected = np.interp(rpm, EXPECTED_RPM, EXPECTED_PCT)
        inside = (rpm >= EXPECTED_RPM[0]) & (rpm <= EXPECTED_RPM[-1])
        good = inside & np.isfinite(filling)
        if np.any(good):
            ratios.append(
                (float(np.median(filling[good])), float(np.median(expected[good])))
            )
    if not ratios:
        return Finding("engine", "Filling: no full-throttle pull was seen.")
    odd = [has for has, usual in ratios if not ODD_LOW < has / usual < ODD_HIGH]
    if odd:
        text = (
            f"Filling at full throttle: {odd[0]:.0f} % with {size:.1f} L cannot be. "
            "Check the displacement, then whether the airflow meter reads true."
        )
        return Finding("engine", text)
    share = case.limits["ve_share_min"]
    words = ", ".join(f"{has:.0f} % of {usual:.0f} %" for has, usual in ratios)
    low = sum(has < share * usual for has, usual in ratios)
    verdict = f"low in {low} of {len(ratios)}" if low else "as it should be"
    text = f"Filling at full throttle ({size:.1f} L): {words}: {verdict}."
    return Finding("engine", text)


def _efficiency(rpm: Floats, air: Floats, density: Floats, size: float) -> Floats:
    """Volumetric efficiency. Unit: %. Source: `sources.MOTOR_2003`."""
    turning = np.where(rpm > 0, rpm, np.nan)
    return air * 120.0 * 100.0 / (turning * size * density)


def _cam(case: Case) -> list[Finding]:
    found = []
    for bank in case.banks:
        parts = {}
        for what in ("desired", "actual"):
            name = f"cam_{what}_b{bank}_deg"
            parts[what] = case.samples(name, case.run.began, np.inf)
        (want_t, want), (is_t, actual) = parts["desired"], parts["actual"]
        place = f"B{bank}"
        if len(want) < LEAST_CAM_VALUES or len(actual) < LEAST_CAM_VALUES:
            continue
        if max(np.abs(want).max(), np.abs(actual).max()) < PARKED_DEG:
            text = (
                f"{place}: desired and actual cam position both stay at zero. A unit "
                "that parks its cam control in a reduced mode shows the same: this "
                "proves nothing."
            )
            found.append(Finding(place, text))
            continue
        latest = np.clip(np.searchsorted(want_t, is_t, "right") - 1, 0, None)
        off = actual - want[latest]
        limit = case.limits["cam_error_deg"]
        text = (
            f"{place}: the cam is {np.median(off):+.1f}° from where it is asked to be "
            f"(middle value of {len(off)})"
        )
        wide = abs(float(np.median(off))) > limit
        text += f": more than {limit:.0f}°." if wide else "."
        found.append(Finding(place, text))
    if not found:
        text = (
            "Desired and actual cam position are maker-specific: a definition file "
            "brings them."
        )
        found.append(Finding("engine", text))
    return found


def _watch(case: Case) -> tuple[Figure, ...]:
    return (
        engine(case, "rpm", "rpm", ""),
        engine(case, "maf_gps", "air", "g/s", 1),
        *trims(case),
    )


BREATHING = GuidedTest(
    "breathing",
    "Cam and bank breathing",
    "Whether one bank gets less air: mirror trims, filling, cam position.",
    Subject.ENGINE,
    ("driver-drives", "legal-roads"),
    (
        Step("idle", "Warm engine: idle", "In neutral, half a minute.", 30.0),
        Step(
            "drive",
            "Drive easily, then briskly",
            "Half a minute each, steady: the trims of both banks at more and more air.",
            60.0,
        ),
        Step(
            "pull",
            "Full throttle, where legal",
            "A middle gear, four seconds, twice. The driver only drives.",
            8.0,
        ),
        Step("coast", "Drive on easily", "Then end the test.", 5.0),
    ),
    _judge,
    _watch,
    wants=(DISPLACEMENT,),
    needs={"stft_b1_pct": TRIM_HZ, "stft_b2_pct": TRIM_HZ, "maf_gps": AIR_HZ},
)
"""Cam and bank breathing."""
