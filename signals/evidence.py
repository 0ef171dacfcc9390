"""What was read of codes and their history: pure data, however it was read.

No answer is not "no codes", and neither is a refusal: a reading tells the three
apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class UnitCodes:
    """The codes one control unit reported; empty when it said it has none.

    Attributes:
        unit: the control unit.
        codes: in the order reported.
        states: one status byte a code, as ISO 14229 has it; empty before SAE J1979-2,
            whose units are the first to tell it.
    """

    unit: str
    codes: tuple[str, ...]
    states: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class CodeReading:
    """One reading of one set of codes.

    Attributes:
        when: stored, pending or permanent.
        t: moment of the request; None when it was never asked.
        units: answers, a control unit each.
        trouble: in words, what was not readable; empty when all is well.
    """

    when: str
    t: float | None
    units: tuple[UnitCodes, ...] = ()
    trouble: tuple[str, ...] = ()

    @property
    def known(self) -> bool:
        """True when at least one unit answered and none was unreadable."""
        return bool(self.units) and not self.trouble

    @property
    def codes(self) -> tuple[str, ...]:
        """Every code read, in order, without repeats over units."""
        return tuple(dict.fromkeys(c for unit in self.units for c in unit.codes))

    def states(self, code: str) -> tuple[int, ...]:
        """The status bytes that units gave with a code; empty when none did."""
        return tuple(
            state
            for unit in self.units
            for name, state in zip(unit.codes, unit.states, strict=False)
            if name == code
        )


@dataclass(frozen=True, slots=True)
class Monitor:
    """One self-test: whether it has run to its end."""

    name: str
    complete: bool
    meaning: str


@dataclass(frozen=True, slots=True)
class MonitorStatus:
    """What one control unit says of lamp, codes and monitors.

    `lamp` and `count` mean something for PID 01 only; PID 41 tells of this drive.
    """

    lamp: bool
    count: int
    compression: bool
    monitors: tuple[Monitor, ...]

    @property
    def open(self) -> tuple[str, ...]:
        """The names of monitors that have not completed."""
        return tuple(m.name for m in self.monitors if not m.complete)


@dataclass(frozen=True, slots=True)
class FreezeFrame:
    """What one control unit kept in one frame.

    Attributes:
        unit: the control unit that answered.
        number: frame number, 0 for the one the law asks for.
        code: the code that set it; None when none is stored or it was not asked.
        values: by signal name, in the signal's unit.
    """

    unit: str
    number: int
    code: str | None
    values: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MonitorResult:
    """One result of one monitor of one control unit.

    Attributes:
        unit: the control unit that answered.
        monitor, test, uas: the standard's numbers.
        about: the place, `B1S1`, `B2` or `engine`.
        subject, title: what is watched and which test, in words.
        value, low, high: in the sign's unit; raw numbers when `scaled` is False.
        sign: the unit's sign.
        scaled: False when the scaling number is unknown.
        has_low, has_high: False where the limit is the end of the number range,
            which stands for "no limit on this side".
    """

    unit: str
    monitor: int
    test: int
    uas: int
    about: str
    subject: str
    title: str
    value: float
    low: float
    high: float
    sign: str
    scaled: bool
    has_low: bool
    has_high: bool

    @property
    def passed(self) -> bool:
        """True when the value lies on or inside both limits."""
        return self.low <= self.value <= self.high

    @property
    def margin(self) -> float | None:
        """How far inside its limits the value lies: 0 on a limit, negative outside.

        A share of the span when both limits exist, else of the one limit. None
        when there is no limit, or nothing to take a share of.
        """
        below = self.value - self.low
        above = self.high - self.value
        span = self.high - self.low
        room, whole = {
            (True, True): (min(below, above), span),
            (False, True): (above, abs(self.high)),
            (True, False): (below, abs(self.low)),
            (False, False): (0.0, 0.0),
        }[self.has_low, self.has_high]
        return room / whole if whole > 0 else None


@dataclass(frozen=True, slots=True)
class UnitInfo:
    """What one control unit says of itself; empty where it said nothing.

    Attributes:
        unit: the control unit.
        vin: the vehicle's number as told.
        calibrations, verifications: of its programs, in the order told.
        name: what it calls itself.
        ratios: in-use counters by name.
        vin_verdict: what the number's check digit says, in words.
    """

    unit: str
    vin: str = ""
    calibrations: tuple[str, ...] = ()
    verifications: tuple[str, ...] = ()
    name: str = ""
    ratios: tuple[tuple[str, int], ...] = ()
    vin_verdict: str = ""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything read about codes and their history, newest reading of each.

    Attributes:
        codes: by set: stored, pending, permanent.
        since_clear: monitor status since codes were cleared, by control unit.
        this_drive: monitor status of this drive, by control unit.
        frames: freeze frames.
        results: on-board test results.
        units: what each control unit says of itself.
        counters: distance, warm-ups and time since clear and with the lamp on, by
            signal name.
        unread: in words, what was asked and could not be read, or was never asked.
    """

    codes: dict[str, CodeReading]
    since_clear: dict[str, MonitorStatus] = field(default_factory=dict)
    this_drive: dict[str, MonitorStatus] = field(default_factory=dict)
    frames: tuple[FreezeFrame, ...] = ()
    results: tuple[MonitorResult, ...] = ()
    units: tuple[UnitInfo, ...] = ()
    counters: dict[str, float] = field(default_factory=dict)
    unread: tuple[str, ...] = ()

    @property
    def lamp(self) -> bool | None:
        """True when any control unit commands the lamp on; None when none was asked."""
        if not self.since_clear:
            return None
        return any(status.lamp for status in self.since_clear.values())

    @property
    def vin(self) -> str:
        """The first VIN that a control unit gave, or an empty string."""
        return next((unit.vin for unit in self.units if unit.vin), "")

    def count_mismatch(self) -> tuple[str, ...]:
        """Units whose count of stored codes differs from the codes they listed.

        The count is PID 01's, the list service 03's; a difference means that one of
        the two was not read whole, or that codes changed between the two.
        """
        listed = {u.unit: len(u.codes) for u in self.codes["stored"].units}
        return tuple(
            unit
            for unit, status in self.since_clear.items()
            if unit in listed and listed[unit] != status.count
        )
