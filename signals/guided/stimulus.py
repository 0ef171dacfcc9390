"""Whether the mixture was forced at all: what must be seen before anyone is judged.

A closed loop switches by itself and takes a stimulus out again. Gas and air are
therefore seen by what the trims do against them, a snap by throttle, speed and airflow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bankwise.signals.columns import Floats
from bankwise.signals.guided.case import RUNNING_RPM, Case

LEAST_TRIM_PCT = 3.0
"""How far a mean trim moves when the mixture was really forced. Unit: %. Our choice,
because a control's own swing averages to less over seconds."""
LEAST_THROTTLE_PCT = 15.0
"""How far a snap opens the throttle, and more than a foot held still moves. Unit: %.
Our choice."""
LEAST_RPM_RISE = 300.0
"""How far a snap speeds the engine up. Unit: 1/min. Our choice."""
AIR_RISE = 1.5
"""By which factor a snap raises airflow or manifold pressure. Our choice."""
WARM_C = 60.0
"""Coolant below this leaves a sensor unjudged. Unit: °C. Source: our choice, because
a cold engine is fuelled richer on purpose."""
_BEFORE_S = 3.0
_SETTLED_PCT = 2.0
_CLOSED = (2.0, 16.0)
"""Loop status values that correct by a sensor. Source: from memory of SAE J1979."""


@dataclass(frozen=True, slots=True)
class Window:
    """The stretch in which one direction was forced.

    Attributes:
        begin: from when on it may have been fed. Unit: s.
        key: when the person said that it was on. Unit: s.
        end: when the step was over. Unit: s.
        quiet: begin and end of the stretch before, undisturbed. Unit: s.
    """

    begin: float
    key: float
    end: float
    quiet: tuple[float, float]


def closed(case: Case, bank: int, start: float, end: float) -> bool | None:
    """Whether a bank stayed in closed loop; None when its status was not seen."""
    name = f"fuel_status_b{bank}"
    if not case.has(name):
        return None
    t, status = case.samples(name, start, end)
    if not len(t):
        # A slow reading still holds: the newest one before the stretch.
        _, status = case.samples(name, start - 5.0, start)
        status = status[-1:]
    if not len(status):
        return None
    return bool(np.all(np.isin(status, _CLOSED)))


def unfit(case: Case, window: Window, *, snap: bool) -> str:
    """Why nothing may be judged in this stretch; empty when it may."""
    start, end = window.quiet[0], window.end
    _, rpm = case.samples("rpm", start, end)
    if len(rpm) and np.any(rpm < RUNNING_RPM):
        return "the engine stood still: start it and make the test again"
    _, warmth = case.samples("ect_c", 0.0, end)
    if len(warmth) and warmth[-1] < WARM_C:
        return f"coolant at {warmth[-1]:.0f} °C: warm the engine up first"
    # In a snap, the unit may open the loop by itself; before it, not.
    loop_end = window.begin if snap else end
    loops = [closed(case, bank, window.quiet[0], loop_end) for bank in case.banks]
    if all(loop is False for loop in loops):
        return "open loop: wait for closed loop, and make the test again"
    if snap:
        return ""
    _, throttle = case.samples("throttle_pct", start, end)
    if len(throttle) > 1 and np.ptp(throttle) >= LEAST_THROTTLE_PCT:
        return "the throttle was moved: hold it still, and make the test again"
    if _restless(case, window):
        return "the trims had not come to rest before: wait longer, and again"
    return ""


def _restless(case: Case, window: Window) -> bool:
    for bank in case.banks:
        t, trim = case.samples(
            f"stft_b{bank}_pct", window.begin - _BEFORE_S, window.begin
        )
        early = t < window.begin - _BEFORE_S / 2
        if early.sum() < 2 or (~early).sum() < 2:
            continue
        drift = float(np.mean(trim[~early]) - np.mean(trim[early]))
        if abs(drift) >= max(_SETTLED_PCT, 0.75 * swing(case, bank, window)):
            return True
    return False


def swing(case: Case, bank: int, window: Window) -> float:
    """How far a bank's trim went by itself before; 0 when not seen. Unit: %."""
    _, trim = case.samples(f"stft_b{bank}_pct", *window.quiet)
    return float(np.ptp(trim)) if len(trim) > 2 else 0.0


def trim_moved(case: Case, bank: int, window: Window) -> float | None:
    """How far a closed loop corrected a bank; None when that cannot be seen. Unit: %.

    Negative when fuel was taken away: against a rich stimulus.
    """
    if closed(case, bank, window.quiet[0], window.end) is False:
        return None
    name = f"stft_b{bank}_pct"
    _, before = case.samples(name, window.begin - _BEFORE_S, window.begin)
    t, during = case.samples(name, window.begin, window.end)
    late = during[t >= window.key + 0.4 * (window.end - window.key)]
    if len(before) < 3 or len(late) < 3:
        return None
    return float(np.mean(late) - np.mean(before))


def corrected(case: Case, bank: int, window: Window, *, rich: bool) -> bool | None:
    """Whether a bank's trim moved against the stimulus; None when not seen."""
    moved = trim_moved(case, bank, window)
    if moved is None:
        return None
    least = max(LEAST_TRIM_PCT, swing(case, bank, window))
    return (-moved if rich else moved) >= least


def snapped(case: Case, start: float, end: float) -> float | None:
    """When the throttle was snapped, as throttle, speed and airflow tell; or None."""
    t, opened = case.samples("throttle_pct", start - 1.0, end)
    begin: float | None = None
    if len(opened) > 2:
        rise = np.flatnonzero(opened >= np.min(opened) + LEAST_THROTTLE_PCT)
        rise = rise[t[rise] >= start] if len(rise) else rise
        if not len(rise):
            return None
        begin = float(t[max(int(rise[0]) - 1, 0)])
    _, rpm = case.samples("rpm", start - 1.0, end + 2.0)
    if len(rpm) < 3 or np.max(rpm) - rpm[0] < LEAST_RPM_RISE:
        return None
    air = [_rose(case.samples(n, start - 1.0, end + 2.0)[1]) for n in _AIR]
    known = [rose for rose in air if rose is not None]
    if known and not any(known):
        return None
    if begin is None and known:
        begin = start
    return begin


_AIR = ("maf_gps", "map_kpa")


def _rose(v: Floats) -> bool | None:
    return bool(np.max(v) >= AIR_RISE * max(v[0], 1e-6)) if len(v) > 2 else None
