"""The driver: follows a plan with key, pedal and brake."""

from __future__ import annotations

from math import sin

from bankwise.adapters.car.drive import Do, Drive, Leg

_IDLING = Leg(Do.IDLE, 1e9)
_PEDAL_RATE = 1.6
"""Fastest movement of a foot that drives smoothly. Unit: full strokes a second."""


class Driver:
    """What the driver does at this moment.

    Args:
        drive: the plan.
        phase_s: where the small unrest of foot and road begins.

    Attributes:
        key_on, cranking: the key. `pedal`, `brake`: 0 to 1.
        in_gear: drive is selected. `grade`: slope of the road under the car.
    """

    __slots__ = (
        "_clock_s", "_drive", "_ends_s", "_index", "_integral", "_last_kmh", "brake",
        "cranking", "grade", "in_gear", "key_on", "leg", "pedal",
    )  # fmt: skip

    def __init__(self, drive: Drive, phase_s: float) -> None:
        self._drive = drive
        self._index = -1
        self._ends_s = 0.0
        self._integral = 0.0
        self._last_kmh = 0.0
        self._clock_s = phase_s
        self.leg = _IDLING
        self.key_on = True
        self.cranking = False
        self.pedal = 0.0
        self.brake = 0.0
        self.in_gear = False
        self.grade = 0.0

    def insert(self, leg: Leg, now_s: float) -> None:
        """Do a leg now, then go on with the plan."""
        rest = max(self._ends_s - now_s, 0.0)
        left = (Leg(self.leg.do, rest, self.leg.value, self.leg.grade),)
        later = self._drive.legs[self._index + 1 :]
        self._drive = Drive(self._drive.id, self._drive.title, (leg, *left, *later))
        self._index = -1
        self._ends_s = now_s

    def step(self, dt: float, t: float, rpm: float, kmh: float) -> None:
        """Advance by `dt` seconds."""
        while t >= self._ends_s:
            self._next()
        leg = self.leg
        do = leg.do
        self.key_on = do is not Do.KEY_OFF
        self.cranking = do is Do.START and rpm < 450.0
        self.grade = leg.grade if kmh > 5.0 else 0.0
        wanted, brake = 0.0, 0.0
        if do is Do.GO:
            wanted, brake = self._follow(dt, leg.value - kmh, kmh)
        elif do is Do.PULL:
            wanted = 1.0
            if kmh >= leg.value:
                self._ends_s = t
        elif do is Do.STOP or (do is not Do.COAST and kmh > 0.2):
            brake = 0.45 if kmh > 8.0 else 0.25
        elif do is Do.HOLD:
            wanted = self._hold(dt, leg.value - rpm)
        elif do is Do.SNAP:
            wanted = 0.7 if self._ends_s - t > leg.seconds - 0.6 and rpm < 4200 else 0.0
        rate = _PEDAL_RATE * (4.0 if do in (Do.SNAP, Do.PULL) else 1.0) * dt
        move = wanted - self.pedal
        if move > rate:
            move = rate
        elif move < -4.0 * rate:
            move = -4.0 * rate
        self.pedal += move
        self.brake = brake
        self.in_gear = do in (Do.GO, Do.PULL, Do.COAST, Do.STOP) or kmh > 1.0

    def _next(self) -> None:
        self._index += 1
        legs = self._drive.legs
        if self._index < len(legs):
            self.leg = legs[self._index]
            self._ends_s += self.leg.seconds
        else:
            self.leg = _IDLING
            self._ends_s = float("inf")
        self._integral = 0.0

    def _follow(self, dt: float, error: float, kmh: float) -> tuple[float, float]:
        if error < -6.0:
            self._integral = 0.0
            return 0.0, 0.15 if error < -12.0 else 0.0
        gaining = (kmh - self._last_kmh) / dt
        self._last_kmh = kmh
        top = 0.38 if kmh < 15.0 else 0.5
        if -8.0 < error < 8.0:
            integral = self._integral + 0.0045 * error * dt
            self._integral = 0.0 if integral < 0.0 else min(integral, 0.6)
        cruise = 0.05 + 0.0011 * kmh
        # No foot is still, no road is even.
        sway = 0.008 * sin(0.9 * self._clock_s) + 0.006 * sin(0.37 * self._clock_s)
        self._clock_s += dt
        wanted = sway + 0.02 * error + self._integral + cruise - 0.02 * gaining
        return (0.0 if wanted < 0.0 else top if wanted > top else wanted), 0.0

    def _hold(self, dt: float, error: float) -> float:
        integral = self._integral + 0.00005 * error * dt
        self._integral = 0.0 if integral < 0.0 else 0.3 if integral > 0.3 else integral
        wanted = 0.00005 * error + self._integral
        return 0.0 if wanted < 0.0 else 0.35 if wanted > 0.35 else wanted
