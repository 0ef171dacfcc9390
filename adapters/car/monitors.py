"""The unit's memory: two-trip codes, freeze frames, readiness, test results, counters.

A check that fails makes a pending code with a freeze frame. Failing again in a later
drive confirms it and lights the lamp; a drive in which it ran and passed takes a
pending code away, and three such drives put the lamp out. Source: R2, R6.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bankwise.adapters.car.checks import CHECKS, Check
from bankwise.adapters.car.evidence import (
    USUAL_MONITORS,
    FreezeFrame,
    Monitor,
    TestResult,
)
from bankwise.adapters.car.measured import MEASURED, Measured, Measurement
from bankwise.adapters.car.onboard_tests import results

if TYPE_CHECKING:
    from bankwise.adapters.car.model import Car

_CONTINUOUS = frozenset({Monitor.MISFIRE, Monitor.FUEL_SYSTEM, Monitor.COMPONENTS})
_INDEX_S = 45.0
"""Cruise that a catalyst judgement needs. Source: our choice."""

_LEAST_ACTIVITY = 0.25
"""Front activity below which the catalyst cannot be judged. Unit: V/s. Source: our
choice, because a front sensor that stands still proves nothing about what follows."""

_WARM_UP_KJ_K = 3.2
"""Fuel heat per engine heat capacity and degree after which the coolant must be warm;
the unit models its own warm-up so. Source: our choice."""

_GOOD_DRIVES = 3


class _Run:
    """How one check of one bank stands in this drive."""

    __slots__ = ("failed", "failing_s", "judged_s", "judging")

    def __init__(self) -> None:
        self.failing_s = 0.0
        self.judged_s = 0.0
        self.judging = False
        self.failed = False


class Monitors:
    """What the unit of a car remembers; has the shape of `Evidence`.

    Attributes:
        stored, pending, permanent: codes.
        freeze_frames: one a code, the first code's first.
        warmups, cleared_km, cleared_s, lamp_km, lamp_s: since codes were cleared, and
            with the lamp on.
        warm_expected: by the unit's own model the coolant should be warm now.
    """

    def __init__(self, car: Car) -> None:
        self._car = car
        self.stored: list[str] = []
        self.pending: list[str] = []
        self.permanent: list[str] = []
        self.freeze_frames: list[FreezeFrame] = []
        self.supported = USUAL_MONITORS - {Monitor.EVAPORATIVE}
        self.open_since_clear: frozenset[Monitor] = frozenset()
        self.warmups = 40.0
        self.cleared_km = 900.0
        self.cleared_s = 60_000.0
        self.lamp_km = 0.0
        self.lamp_s = 0.0
        self.warm_expected = False
        self._from_before: set[str] = set()
        self._good_drives: dict[str, int] = {}
        self._begin_drive()

    def _begin_drive(self) -> None:
        banks = self._car.spec.banks
        self._runs = {
            (check.codes[b], b): _Run()
            for check in CHECKS
            for b in range(banks)
            if check.applies(self._car, b)
        }
        self._measured = {
            (row, b): Measurement() for row in MEASURED for b in range(banks)
        }
        self._index_s = [0.0] * banks
        self._front = [0.0] * banks
        self._rear = [0.0] * banks
        self._last: list[tuple[float, float]] = [(0.0, 0.0)] * banks
        self._heat_kj = 0.0
        self._start_c = self._car.engine.coolant.celsius

    @property
    def lamp(self) -> bool:
        """The malfunction lamp is on."""
        return bool(self.stored)

    @property
    def open_this_drive(self) -> frozenset[Monitor]:
        """Monitors whose checks have not all run in this drive."""
        return frozenset(
            check.monitor
            for check in CHECKS
            if check.monitor in self.supported - _CONTINUOUS and not self._ran(check)
        )

    @property
    def tests(self) -> tuple[TestResult, ...]:
        """On-board test results, as service 06 gives them."""
        kept = (
            found
            for (row, b), measurement in self._measured.items()
            if self._has_run(row, b)
            if (found := measurement.result(row, b)) is not None
        )
        return tuple(
            sorted(
                (*results(self._car), *kept), key=lambda row: (row.monitor, row.test)
            )
        )

    @property
    def ratios(self) -> tuple[int, ...]:
        """In-use counters in the order of service 09, item 08, from memory of J1979."""
        starts = 400 + int(self._car.odometer_km) // 20
        met = starts * 2 // 3
        pair = (met - 9, met)
        none = (0, 0)
        second = pair if self._car.spec.banks == 2 else none
        counts = (*pair, *second, *pair, *second, *none, *none, *none, *pair, *second)
        return (met, starts, *counts)

    def catalyst_index(self, b: int) -> float | None:
        """Rear over front activity in steady cruise; None until there is enough."""
        front = self._front[b]
        if self._index_s[b] < _INDEX_S or front < _LEAST_ACTIVITY * self._index_s[b]:
            return None
        return self._rear[b] / front

    def clear(self) -> None:
        """What service 04 does: all but permanent codes goes, and trims. Source: R6."""
        self.stored.clear()
        self.pending.clear()
        self.freeze_frames.clear()
        self._from_before.clear()
        self._good_drives.clear()
        self.open_since_clear = self.supported - _CONTINUOUS
        self.warmups = self.cleared_km = self.cleared_s = 0.0
        self.lamp_km = self.lamp_s = 0.0
        for bank in self._car.engine.banks:
            bank.control.cells.clear()
        self._begin_drive()

    def take_over(self, past: Monitors) -> None:
        """An old fault: what an earlier drive left pending is confirmed since."""
        past.end_drive()
        self.stored = list(past.pending)
        self.permanent = list(past.pending)
        self.freeze_frames = list(past.freeze_frames)
        self._from_before = set(past.pending)
        self.lamp_km = 180.0 if self.stored else 0.0
        self.lamp_s = 14_000.0 if self.stored else 0.0

    def end_drive(self) -> None:
        """Key off: judge what this drive has proven, and begin the next."""
        for (code, _), run in self._runs.items():
            if run.failed or run.judged_s <= 0.0:
                continue
            if code in self.pending and not self._failed_now(code):
                self.pending.remove(code)
                self._from_before.discard(code)
            if code in self.stored:
                good = self._good_drives.get(code, 0) + 1
                self._good_drives[code] = good
                if good >= _GOOD_DRIVES:
                    self.stored.remove(code)
                    self._good_drives.pop(code)
        self._from_before |= set(self.pending)
        if self._car.engine.coolant.celsius > max(self._start_c + 22.0, 70.0):
            self.warmups += 1.0
        self._begin_drive()

    def step(self, dt: float) -> None:
        """Judge every check; a few times a second while the key is on."""
        car = self._car
        if not car.engine_running:
            return
        self._gather(dt)
        for check in CHECKS:
            for b in range(car.spec.banks):
                if check.applies(car, b):
                    self._judge(dt, check, b)
        self._measure(dt)
        km = car.vehicle.kmh * dt / 3600.0
        self.cleared_km += km
        self.cleared_s += dt
        if self.stored:
            self.lamp_km += km
            self.lamp_s += dt
        for monitor in self.open_since_clear:
            if all(self._ran(check) for check in CHECKS if check.monitor is monitor):
                self.open_since_clear -= {monitor}

    def _judge(self, dt: float, check: Check, b: int) -> None:
        code = check.codes[b]
        run = self._runs[code, b]
        fails = check.judge(self._car, b)
        run.judging = fails is not None
        if fails is None:
            return
        run.judged_s += dt
        run.failing_s = run.failing_s + dt if fails else max(run.failing_s - dt, 0.0)
        if run.failed or run.failing_s < check.hold_s:
            return
        run.failed = True
        self._good_drives.pop(code, None)
        if code in self._from_before and code not in self.stored:
            self.stored.append(code)
            self.permanent.append(code)
        if code not in self.pending:
            self.pending.append(code)
        if all(frame.code != code for frame in self.freeze_frames):
            self.freeze_frames.append(FreezeFrame(code, self._car.readings))

    def _measure(self, dt: float) -> None:
        for (row, b), measurement in self._measured.items():
            runs = [self._runs[code, b] for code in row.codes[b]]
            if any(run.judging for run in runs):
                value = row.measure(self._car, b)
                failed = any(run.failed for run in runs)
                measurement.take(dt, row, value, failed=failed)

    def _has_run(self, row: Measured, b: int) -> bool:
        """Whether every check of a measured quantity has run to its end, or failed."""
        checks = [check for check in CHECKS if check.codes[b] in row.codes[b]]
        runs = [(check, self._runs[check.codes[b], b]) for check in checks]
        return any(run.failed for _, run in runs) or all(
            run.judged_s >= check.enough_s for check, run in runs
        )

    def _gather(self, dt: float) -> None:
        car = self._car
        engine = car.engine
        self._heat_kj += engine.fuel_gps * 43.0 * 0.30 * dt
        needed = car.spec.thermostat_c - self._start_c
        stored = self._heat_kj / car.spec.engine_kj_k
        self.warm_expected = stored > _WARM_UP_KJ_K * max(needed, 0.0) + 20.0
        steady = car.vehicle.kmh > 35.0 and engine.strategy.settled_s > 4.0
        for b, bank in enumerate(engine.banks):
            wide = bank.front_wide
            front = bank.front_switching.volts if wide is None else wide.lam
            rear = bank.rear.volts
            before = self._last[b]
            self._last[b] = (front, rear)
            if not (steady and bank.catalyst.bed_c > 380.0):
                continue
            self._index_s[b] += dt
            moved = abs(front - before[0])
            # A wide-band's lambda is put on the scale of a voltage.
            self._front[b] += moved if wide is None else 25.0 * moved
            self._rear[b] += abs(rear - before[1])

    def _ran(self, check: Check) -> bool:
        runs = [
            run
            for b in range(self._car.spec.banks)
            if check.applies(self._car, b)
            for run in (self._runs[check.codes[b], b],)
        ]
        return all(run.judged_s >= check.enough_s or run.failed for run in runs)

    def _failed_now(self, code: str) -> bool:
        return any(
            run.failed for (known, _), run in self._runs.items() if known == code
        )
