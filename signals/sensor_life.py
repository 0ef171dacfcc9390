"""A sensor's start and standstill: bias, wake-up, parked at bias, frozen.

A cold or unconnected sensor shows the control unit's own bias. Where that bias lies is
learned before the sensor wakes; when nobody saw the start, wake-up is unknown.
"""

from __future__ import annotations

import numpy as np

from bankwise.signals import sources as s
from bankwise.signals.columns import Bools, Floats
from bankwise.signals.derived import Derived, Function
from bankwise.signals.places import EACH_SENSOR
from bankwise.signals.sampling import PARKED_HZ, STUCK_HZ, switching, wide
from bankwise.signals.tracks import LEAN_V, RICH_V, changes
from bankwise.signals.view import TickView
from bankwise.signals.windows import clock, held, yes

BIAS_V = 0.441
"""Bias until it is learned: the middle of 391-491 mV. Source: Saturn 1998, P0134."""

BIAS_LOW_V, BIAS_HIGH_V, BIAS_STILL_V = 0.30, 0.60, 0.04
"""A bias is learned where it can lie and only when it stands still.

Source: common practice (0.43-0.45 V) with room for other makes; our choice.
"""

LEARN_S = 5.0
"""A sensor still at rest so soon after the start was asleep. Source: our choice,
because even a strong heater takes longer than this from cold."""

PARKED_STILL_S = 5.0
"""An unlearned bias must stand still this long before it counts as parked."""

REST_LAMBDA = 0.003
WAKE_LAMBDA, STILL_LAMBDA, END_LAMBDA = 0.01, 0.0006, 1.95
"""A wide-band sensor rests on one value and wakes when it leaves it.

A sleeping one gives the same number again and again; twenty counts apart it lives. At
the end of its scale, in plain air, nothing tells the two apart.

Source: our choice, because λ noise of a live sensor is larger than that.
"""

COUNTS = {"lambda_{s}": 2 / 65536, "o2_{s}_ma": 1 / 256, "o2_{s}_wide_v": 8 / 65536}
"""One count of each wide-band signal. Source: J1979 PIDs 24-2B and 34-3B."""

VOLTS = ("o2_{s}_v",)
BOTH = ("o2_{s}_v", "lambda_{s}")
WIDE = ("lambda_{s}", "o2_{s}_ma")


def _early(see: TickView) -> Bools:
    """Before the start, or within moments of one whose time is known."""
    early: Bools = (see["running"] == 0) | (see["since_start_s"] <= LEARN_S)
    return early


def _learned(see: TickView) -> Floats:
    low, high = see["min_2_{s}_v"], see["max_2_{s}_v"]
    middle = (low + high) / 2
    enough = see.window("o2_{s}_v", 2.0).n >= 2
    resting = (
        enough
        & _early(see)
        & (high - low <= BIAS_STILL_V)
        & (low >= BIAS_LOW_V)
        & (high <= BIAS_HIGH_V)
    )
    value = held(np.where(resting, middle, np.nan), np.nan)
    before = see.before()
    if not np.isnan(before):
        return np.full(see.size, before)
    first = np.flatnonzero(~np.isnan(value))
    return np.where(np.isnan(value), np.nan, value[first[0]] if len(first) else np.nan)


def _bias(see: TickView) -> Floats:
    learned = see["bias_seen_{s}_v"]
    known = see.known("o2_{s}_v") & ~wide(see)
    return np.where(known, np.where(np.isnan(learned), BIAS_V, learned), np.nan)


def _parked(see: TickView) -> Floats:
    low, high = see["min_1_{s}_v"], see["max_1_{s}_v"]
    band, bias = see.limit("parked_band_v"), see["bias_seen_{s}_v"]
    at_learned = (low >= bias - band) & (high <= bias + band)
    w = see.window("o2_{s}_v", PARKED_STILL_S)
    still = w.maximum - w.minimum <= 2 * band
    inside = (low >= see.limit("parked_low_v")) & (high <= see.limit("parked_high_v"))
    flag = np.where(np.isnan(bias), inside & still, at_learned)
    return clock(flag & (see["hz_{s}"] >= PARKED_HZ), see.before())


def since(see: TickView, clock_name: str, total: str) -> Floats:
    """How much a running total grew since a clock began; NaN where it stands."""
    run = see[clock_name]
    ok = ~np.isnan(run)
    start = np.arange(see.lo, see.hi) - np.where(ok, run * 2, 0).astype(np.intp)
    whole = see.frame.part(see.place.fill(total), 0, see.hi)
    return np.where(ok, whole[see.lo :] - whole[start], np.nan)


def _rest_lambda(see: TickView) -> Floats:
    w = see.window("lambda_{s}", 2.0)
    resting = (w.n >= 2) & _early(see) & (w.maximum - w.minimum <= REST_LAMBDA)
    resting &= w.maximum < END_LAMBDA
    value = held(np.where(resting, w.minimum, np.nan), np.nan)
    before = see.before()
    if not np.isnan(before):
        return np.full(see.size, before)
    first = np.flatnonzero(~np.isnan(value))
    return np.where(np.isnan(value), np.nan, value[first[0]] if len(first) else np.nan)


def _asleep_seen(see: TickView) -> Bools:
    return see.known("bias_seen_{s}_v") | see.known("rest_{s}_lambda")


def _awake_now(see: TickView) -> Bools:
    by_volts = (see["min_1_{s}_v"] < LEAN_V) | (see["max_1_{s}_v"] > RICH_V)
    by_lambda = np.abs(see["lambda_{s}"] - see["rest_{s}_lambda"]) > WAKE_LAMBDA
    # Around λ 1 a sensor that works may stay close to its rest, but it does not rest.
    w = see.window("lambda_{s}", 2.0)
    by_lambda |= (w.n >= 2) & (w.maximum - w.minimum > STILL_LAMBDA)
    return np.where(wide(see), by_lambda, by_volts)


def _wake_up(see: TickView) -> Floats:
    before = see.before()
    if not np.isnan(before):
        return np.full(see.size, before)
    at = np.where(_awake_now(see) & _asleep_seen(see), see["since_start_s"], np.nan)
    first = np.flatnonzero(~np.isnan(at))
    if not len(first):
        return see.nothing()
    out = see.nothing()
    out[first[0] :] = at[first[0]]
    return out


def _asleep(see: TickView) -> Floats:
    waiting = _asleep_seen(see) & np.isnan(see["wake_up_{s}_s"])
    fresh = see.known("o2_{s}_v") | see.known("lambda_{s}")
    return np.where(waiting & fresh, see["since_start_s"], np.nan)


def _why_no_wake_up(see: TickView) -> str:
    if see.known("asleep_{s}_s")[-1]:
        return f"still at rest {see['asleep_{s}_s'][-1]:.0f} s after the start"
    if np.isnan(see["since_start_s"][-1]):
        return "the start was not seen"
    return "already awake when first seen after the start"


def _frozen(see: TickView) -> Floats:
    changed = np.full(see.size, -np.inf)
    fresh = np.zeros(see.size, dtype=np.bool_)
    for pattern, count in COUNTS.items():
        w = see.window(pattern, 1.0)
        if not len(w.column):
            continue
        track = see.track("changes", pattern, changes(count))
        seen = w.ends > 0
        last = track["changed_t"][np.maximum(w.ends - 1, 0)]
        changed = np.where(seen, np.maximum(changed, last), changed)
        fresh |= see.known(pattern)
    honest = see["hz_{s}"] >= STUCK_HZ
    return np.where(fresh & honest & (changed > -np.inf), see.ticks - changed, np.nan)


def _row(
    name: str,
    title: str,
    unit: str,
    function: Function,
    inputs: tuple[str, ...],
    source: str = s.COMMON,
    **more: object,
) -> Derived:
    return Derived(name, title, unit, function, inputs, source, EACH_SENSOR, **more)  # type: ignore[arg-type]


ROWS: tuple[Derived, ...] = (
    _row(
        "bias_seen_{s}_v", "bias, learned", "V",
        lambda see: switching(see, _learned(see)), VOLTS, decimals=3,
        reason=lambda see: "the sensor was not seen at rest before it woke",
    ),
    _row("bias_{s}_v", "bias", "V", _bias, VOLTS, s.SATURN_1998, decimals=3),
    _row(
        "bias_learned_{s}", "bias was learned", "",
        lambda see: yes(see.known("bias_seen_{s}_v")), VOLTS,
    ),
    _row(
        "parked_{s}_s", "parked at bias so far", "s",
        lambda see: switching(see, _parked(see)), VOLTS, s.SATURN_1998,
        min_hz=PARKED_HZ, rate_of="hz_{s}",
    ),
    _row(
        "parked_off_idle_{s}_s", "parked at bias off idle so far", "s",
        lambda see: since(see, "parked_{s}_s", "off_idle_total_s"), VOLTS,
        s.SATURN_1998, min_hz=PARKED_HZ, rate_of="hz_{s}",
    ),
    _row("rest_{s}_lambda", "λ at rest, learned", "λ", _rest_lambda, ("lambda_{s}",)),
    _row(
        "wake_up_{s}_s", "wake-up time", "s", _wake_up, BOTH, s.SATURN_1998,
        reason=_why_no_wake_up,
    ),
    _row("asleep_{s}_s", "not awake since start", "s", _asleep, BOTH, s.SATURN_1998),
    _row(
        "frozen_{s}_s", "without a change", "s", _frozen, WIDE,
        min_hz=STUCK_HZ, rate_of="hz_{s}",
    ),
)  # fmt: skip
"""Signals of a sensor's start and standstill, in the order of computation."""
