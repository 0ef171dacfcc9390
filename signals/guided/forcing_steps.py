"""Two ways of forcing the mixture, step by step: gas and air, or a throttle snap."""

from __future__ import annotations

from bankwise.signals.guided.case import Case
from bankwise.signals.guided.figures import sensors, trims
from bankwise.signals.guided.force import (
    FRONTS,
    GAS_HOLD_S,
    LEAN,
    RICH,
    SNAP_HOLD_S,
    judge_gas,
    judge_snap,
)
from bankwise.signals.guided.script import (
    FASTEST_HZ,
    Figure,
    GuidedTest,
    Step,
    Subject,
)


def _watch(case: Case) -> tuple[Figure, ...]:
    return (*sensors(case, FRONTS), *trims(case))


_RATES = {
    "o2_b1s1_v": FASTEST_HZ,
    "o2_b2s1_v": FASTEST_HZ,
    "lambda_b1s1": FASTEST_HZ,
    "lambda_b2s1": FASTEST_HZ,
    "o2_b1s2_v": 5.0,
    "o2_b2s2_v": 5.0,
    "stft_b1_pct": 3.0,
    "stft_b2_pct": 3.0,
    "ltft_b1_pct": 1.0,
    "ltft_b2_pct": 1.0,
    "fuel_status_b1": 1.0,
    "rpm": 3.0,
    "throttle_pct": 3.0,
    "maf_gps": 3.0,
    "map_kpa": 3.0,
    "ect_c": 0.2,
    "speed_kmh": 0.5,
}
_FRONTS = ("o2_b1s1_v", "o2_b2s1_v", "lambda_b1s1", "lambda_b2s1")
_CAUTIONS = ("car-stands", "carbon-monoxide", "hot-exhaust", "flooded-catalyst")
_REARS = Step(
    "rears",
    "Hold on for the rear sensors",
    "The catalyst may delay them by half a minute. Then end the test.",
    25.0,
)

BY_GAS = GuidedTest(
    "force-gas",
    "Force rich and lean: propane, air leak",
    "Whether each sensor follows the mixture: only this condemns or clears one.",
    Subject.ENGINE,
    (*_CAUTIONS, "flammable-gas"),
    (
        Step(
            "settle",
            "Warm engine: hold 2000 rpm",
            "Both banks in closed loop, in neutral, handbrake on. Nothing is fed yet.",
            10.0,
        ),
        Step(
            "feed-rich",
            "Feed propane now",
            "A trickle into the intake ahead of the throttle, the same for both "
            "banks. Go on as soon as gas is on.",
        ),
        Step(
            RICH,
            "Gas is on: hold on",
            "The loop takes the gas out again: the trims must fall. Keep the throttle "
            "still.",
            8.0,
        ),
        Step(
            "recover",
            "Shut the gas: hold 2000 rpm",
            "Until the trims are back where they were.",
            20.0,
        ),
        Step(
            "feed-lean",
            "Open the air leak now",
            "A controlled vacuum leak behind the throttle. An engine that meters by "
            "pressure hardly feels it. Go on as soon as it is open.",
        ),
        Step(LEAN, "The leak is open: hold on", "The trims must rise.", 8.0),
        Step("closed", "Close the leak", "Hold 2000 rpm.", 3.0),
        Step(
            "same",
            "Same for both banks?",
            "Gas and air went in where both banks draw from. One bank only: yes.",
            asks=True,
        ),
        _REARS,
    ),
    judge_gas,
    _watch,
    _RATES,
    needs=dict.fromkeys(_FRONTS, 2 / GAS_HOLD_S),
    standing=True,
    whole=("settle", "feed-rich", RICH, "recover", "feed-lean", LEAN),
)
"""Forced by gas and by air."""

BY_SNAP = GuidedTest(
    "force-snap",
    "Force rich and lean: throttle snap",
    "Whether each sensor follows a snap of the throttle, rich and then lean.",
    Subject.ENGINE,
    _CAUTIONS,
    (
        Step(
            "settle",
            "Warm engine: idle",
            "In neutral, handbrake on, foot off the pedal.",
            10.0,
        ),
        Step(
            RICH,
            "Snap the throttle open",
            "Press the key, then snap: short and full, not above the speed that the "
            "service information allows.",
            1.0,
        ),
        Step(
            LEAN,
            "Let go of the throttle",
            "Press the key as you let go: the closing throttle leans it out.",
            5.0,
        ),
        _REARS,
    ),
    judge_snap,
    _watch,
    {**_RATES, "throttle_pct": 6.0, "rpm": 6.0},
    needs=dict.fromkeys(_FRONTS, 2 / SNAP_HOLD_S),
    standing=True,
    whole=("settle", RICH, LEAN),
)
"""Forced by the throttle alone."""
