"""What would be judged, and why it could not be: the honest end of every report."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from bankwise.signals.catalogue import BANKS
from bankwise.signals.frame import Frame
from bankwise.signals.places import EACH_BANK, EACH_FRONT, EACH_REAR, ENGINE, Place
from bankwise.signals.reasons import too_slow
from bankwise.signals.sampling import STUCK_HZ, SWING_HZ


@dataclass(frozen=True, slots=True)
class CannotTell:
    """One thing that was not judged: about what, which judgement, and why."""

    about: str
    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Claim:
    """A judgement that needs a signal to have had a value at some tick.

    Attributes:
        what: the judgement, in words.
        places: where it would be made.
        signal: pattern of the signal it rests on.
        min_hz: least honest rate of the place's sensor, number or threshold name.
        applies: whether it makes sense for this car at all.
        why: why it is never judged, where that is so.
    """

    what: str
    places: tuple[Place, ...]
    signal: str
    min_hz: float | str = 0.0
    applies: Callable[[Frame, Place], bool] = lambda frame, place: True
    why: str = ""


def _last(frame: Frame, name: str) -> float:
    values = frame[name]
    known = values[~np.isnan(values)]
    return float(known[-1]) if len(known) else np.nan


def _sensor(frame: Frame, place: Place) -> bool:
    return frame.seen(place.fill("wideband_{s}"))


def _switching(frame: Frame, place: Place) -> bool:
    return _sensor(frame, place) and _last(frame, place.fill("wideband_{s}")) == 0


def _wide(frame: Frame, place: Place) -> bool:
    return _sensor(frame, place) and _last(frame, place.fill("wideband_{s}")) == 1


def exists(frame: Frame, place: Place) -> bool:
    """True when the car has shown anything of that place."""
    if place.position is not None:
        return _sensor(frame, place)
    if place.bank == BANKS[1]:
        return bool(frame.n) and frame["two_banks"][-1] == 1
    return True


def _bank(frame: Frame, place: Place) -> bool:
    return exists(frame, place)


def _two(frame: Frame, place: Place) -> bool:
    return exists(frame, EACH_BANK[1])


def _has_maf(frame: Frame, place: Place) -> bool:
    return frame.seen("maf_gps") or not frame.seen("map_kpa")


def _front_and_rear(frame: Frame, place: Place) -> bool:
    return frame.seen(place.fill("wideband_{front}")) and frame.seen(
        place.fill("wideband_{rear}")
    )


CLAIMS: tuple[Claim, ...] = (
    Claim("switching", EACH_FRONT, "switches_{s}", "switching_hz_min", _switching),
    Claim(
        "response time",
        EACH_FRONT,
        "judged_response_{s}_ms",
        "response_hz_min",
        _switching,
    ),
    Claim(
        "response time",
        EACH_FRONT,
        "judged_response_{s}_ms",
        0.0,
        _wide,
        "judged on switching sensors only",
    ),
    Claim("swing", EACH_FRONT, "swing_{s}_v", SWING_HZ, _switching),
    Claim("λ against command", EACH_FRONT, "lambda_error_{s}_pct", STUCK_HZ, _wide),
    Claim("rear sensor's movement", EACH_REAR, "swing_120_{s}_v", 0.0, _switching),
    Claim("wake-up time", EACH_FRONT + EACH_REAR, "wake_up_{s}_s", 0.0, _sensor),
    Claim("front sensor", EACH_BANK, "hz_{front}", 0.0, _bank),
    Claim("rear sensor", EACH_BANK, "hz_{rear}", 0.0, _bank),
    Claim("fuel trim", EACH_BANK, "closed_trim_{b}_pct", 0.0, _bank),
    Claim("trims at idle", EACH_BANK, "trim_idle_{b}_pct", 0.0, _bank),
    Claim("trims under load", EACH_BANK, "trim_load_{b}_pct", 0.0, _bank),
    Claim("closed loop", EACH_BANK, "closed_{b}", 0.0, _bank),
    Claim("closed-loop entry", EACH_BANK, "closed_loop_entry_{b}_s", 0.0, _bank),
    Claim("catalyst", EACH_BANK, "crossing_ratio_{b}", SWING_HZ, _front_and_rear),
    Claim("bank against bank", (ENGINE,), "imbalance_pct", 0.0, _two),
    Claim("airflow at wide open", (ENGINE,), "pull_ve_ratio", 0.0, _has_maf),
    Claim("thermostat", (ENGINE,), "plateau_c"),
    Claim("supply voltage", (ENGINE,), "module_v"),
    Claim("fuel level", (ENGINE,), "fuel_level_pct"),
)
"""Everything that is judged somewhere, in the order of a report."""


def cannot_tell(frame: Frame) -> list[CannotTell]:
    """What was never judged in this session, and why."""
    found = []
    for claim in CLAIMS:
        for place in claim.places:
            if not claim.applies(frame, place):
                continue
            name = place.fill(claim.signal)
            if np.isfinite(frame[name]).any():
                continue
            why = claim.why or _why(frame, claim, place)
            found.append(CannotTell(place.about, claim.what, why))
    return found


def _why(frame: Frame, claim: Claim, place: Place) -> str:
    if claim.min_hz and place.position is not None:
        limit = (
            frame.thresholds[claim.min_hz]
            if isinstance(claim.min_hz, str)
            else claim.min_hz
        )
        rates = frame[place.fill("fresh_hz_{s}")]
        best = np.nanmax(rates) if np.isfinite(rates).any() else np.nan
        if best < limit:
            return too_slow(float(np.nanmedian(rates)), limit)
    return frame.why(place.fill(claim.signal))
