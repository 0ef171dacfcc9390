"""What `codes` prints: codes with their history, conditions, self-tests and units."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from bankwise.adapters.code_table import description, failure_type
from bankwise.adapters.vin import masked, verdict
from bankwise.signals.catalogue import SIGNALS
from bankwise.signals.cautions import CAUTIONS
from bankwise.signals.contradictions import Contradiction, contradictions
from bankwise.signals.engine import Engine
from bankwise.signals.evidence import FreezeFrame, MonitorResult, Snapshot
from bankwise.signals.similar_conditions import (
    Entered,
    Window,
    window_of,
    windows_entered,
)
from bankwise.signals.two_trips import CodeStory, code_stories
from bankwise.tui.words import FUEL_STATUS, clock, number

WIDTH = 88
_BAR = 20
_COUNTERS = {
    "warmups": ("warm-ups since codes were cleared", ""),
    "cleared_km": ("driven since codes were cleared", "km"),
    "cleared_min": ("run since codes were cleared", "min"),
    "lamp_km": ("driven with the lamp on", "km"),
    "lamp_min": ("run with the lamp on", "min"),
}


@dataclass(frozen=True, slots=True)
class DriveSays:
    """What the drive of a recorded session says about its codes.

    Attributes:
        entered: for each freeze frame, whether its conditions were met.
        against: codes that the drive contradicts.
    """

    entered: tuple[Entered, ...] = ()
    against: tuple[Contradiction, ...] = ()


def drive_says(seen: Snapshot, engine: Engine) -> DriveSays:
    """What an analysed drive says about the codes read in it."""
    if not engine.frame.n:
        return DriveSays()
    return DriveSays(
        windows_entered(seen.frames, engine.frame.columns),
        contradictions(seen, engine.frame),
    )


def codes_text(
    seen: Snapshot, *, mask_vin: bool = False, drive: DriveSays | None = None
) -> str:
    """The whole snapshot as lines of text.

    Args:
        seen: as read.
        mask_vin: print only the first eight characters of a VIN.
        drive: what the drive says about the codes, when there was one.
    """
    blocks = (
        _codes(seen, drive or DriveSays()),
        _frames(seen),
        _readiness(seen),
        _results(seen),
        _vehicle(seen, mask_vin),
        _unread(seen),
    )
    return "\n\n".join("\n".join(lines) for block in blocks if (lines := list(block)))


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent)
    )


def _codes(seen: Snapshot, drive: DriveSays) -> Iterator[str]:
    lamp = {True: "on", False: "off", None: "not known"}[seen.lamp]
    sets = ", ".join(_set_words(seen, when) for when in seen.codes)
    yield f"Lamp {lamp}; {sets}"
    for unit in seen.count_mismatch():
        yield from _wrapped(
            f"{unit} counts {seen.since_clear[unit].count} stored codes but listed "
            "another number: read again.",
            "  ",
        )
    stories = code_stories(seen)
    several = len({unit for story in stories for unit in story.units}) > 1
    for story in stories:
        yield ""
        yield from _story(story, several)
        for one in drive.entered:
            if one.code == story.code:
                yield from _wrapped(entered_words(one), "       ")
        for said in drive.against:
            if said.code == story.code:
                yield from _wrapped(f"Against it: {said.text}.", "       ")
                yield from _wrapped(AGAINST_MEANS, "       ")


AGAINST_MEANS = (
    "The fault may come and go, be mended, or need other conditions: no part is bought "
    "on this code alone."
)
"""What a contradicted code means, and what not."""


def entered_words(one: Entered) -> str:
    """Whether the drive was in the conditions a code was set in."""
    if one.at_s is None:
        return "This drive did not enter those conditions."
    return f"This drive was in those conditions at {clock(one.at_s)}."


def _set_words(seen: Snapshot, when: str) -> str:
    reading = seen.codes[when]
    if reading.known:
        return f"{len(reading.codes) or 'no'} {when}"
    if reading.codes:
        return f"at least {len(reading.codes)} {when}"
    return f"{when} not known"


def _story(story: CodeStory, several: bool) -> Iterator[str]:
    units = f" from {', '.join(story.units)}" if several else ""
    yield f"{story.about:6} {story.code}  {' + '.join(story.sets)}{units}"
    parts = (description(story.code), failure_type(story.code))
    yield from _wrapped(f"{', '.join(filter(None, parts))} — {story.system}", "       ")
    yield from _wrapped(f"{story.text[0].upper()}{story.text[1:]}.", "       ")
    if story.states:
        yield from _wrapped(f"Status: {', '.join(story.states)}", "       ")
    yield from _wrapped(f"Next: {story.next}", "       ")
    if story.window is not None:
        yield from _wrapped(
            f"Similar conditions: {window_words(story.window)}", "       "
        )


def window_words(window: Window) -> str:
    """A similar-conditions window in words."""
    warm = {True: ", warm", False: ", not yet warm", None: ""}[window.warm]
    return (
        f"{window.rpm[0]:.0f} to {window.rpm[1]:.0f} rpm, "
        f"load {window.load[0]:.0f} to {window.load[1]:.0f} %{warm}"
    )


def _frames(seen: Snapshot) -> Iterator[str]:
    for frame in seen.frames:
        if frame.values:
            yield from _frame(frame)


def _frame(frame: FreezeFrame) -> Iterator[str]:
    code = frame.code or "no code"
    yield f"Freeze frame {frame.number} of {frame.unit}, set by {code}"
    for title, shown in frame_lines(frame):
        yield f"  {title:34} {shown}"
    window = window_of(frame.values)
    if window is not None:
        yield from _wrapped(f"Verify inside: {window_words(window)}", "  ")


def frame_lines(frame: FreezeFrame) -> Iterator[tuple[str, str]]:
    """What a control unit kept with a code, in words: title with place, and value."""
    for name, value in frame.values.items():
        signal = SIGNALS.get(name)
        if signal is None or (name == "fuel_status_b2" and not value):
            continue  # a car without a second bank says 0 there
        place = "" if signal.about == "engine" else f"{signal.about} "
        if name.startswith("fuel_status"):
            shown = FUEL_STATUS.get(int(value), f"{value:.0f}")
        else:
            shown = f"{number(value, signal.decimals)} {signal.unit}".rstrip()
        yield place + signal.title, shown


def _readiness(seen: Snapshot) -> Iterator[str]:
    if not seen.since_clear:
        return
    yield "Self-tests since codes were cleared"
    for unit, status in seen.since_clear.items():
        for monitor in status.monitors:
            state = "complete" if monitor.complete else "OPEN"
            yield f"  {unit} {monitor.name:22} {state:9} {monitor.meaning}"
    waiting = {u: s.open for u, s in seen.this_drive.items() if s.open}
    for unit, names in waiting.items():
        yield from _wrapped(
            f"Still open on this drive, {unit}: {', '.join(names)}", "  "
        )
    for name, (words, unit) in _COUNTERS.items():
        if name in seen.counters:
            yield f"  {seen.counters[name]:.0f} {unit}".rstrip() + f" {words}"


def _results(seen: Snapshot) -> Iterator[str]:
    if not seen.results:
        return
    yield "On-board test results (value, limits, room to the nearer limit)"
    several = len({result.unit for result in seen.results}) > 1
    order = sorted(seen.results, key=lambda r: (r.subject, r.test, r.about, r.unit))
    subject = ""
    for result in order:
        if result.subject != subject:
            subject = result.subject
            yield f"  {subject}"
        yield f"    {_result(result)}" + (f"  {result.unit}" if several else "")


def _result(result: MonitorResult) -> str:
    value = f"{short(result.value)} {result.sign}".rstrip()
    if not result.scaled:
        value += " raw"
    low = short(result.low) if result.has_low else ""
    high = short(result.high) if result.has_high else ""
    limits = f"{low} … {high}".strip() if low or high else "no limits"
    verdict = "" if result.passed else "  FAILED"
    return (
        f"{result.about:5} {result.title:34} {value:>12}  {limits:18} "
        f"{_bar(result.margin)}{verdict}"
    )


def short(value: float) -> str:
    """A number with four figures at most, without needless zeros."""
    digits = 0 if value == 0 else max(0, 3 - math.floor(math.log10(abs(value))))
    text = number(value, min(digits, 4))
    return text.rstrip("0").rstrip(".") if "." in text else text


def _bar(margin: float | None) -> str:
    """Room to the limit as a bar of ten, full when half the span or more is left."""
    if margin is None:
        return ""
    filled = round(_BAR * min(max(margin, 0.0), 0.5))
    return "█" * filled + "░" * (_BAR // 2 - filled)


def _vehicle(seen: Snapshot, mask_vin: bool) -> Iterator[str]:
    if not seen.units:
        return
    yield "Control units"
    for unit in seen.units:
        vin = masked(unit.vin) if mask_vin else unit.vin
        digit = f" ({verdict(unit.vin).value})"
        facts = [
            unit.name,
            f"VIN {vin}{digit}" if vin else "",
            *(
                f"calibration {name}" + (f", verification {check}" if check else "")
                for name, check in _paired(unit.calibrations, unit.verifications)
            ),
        ]
        yield from _wrapped(f"{unit.unit}: {'; '.join(filter(None, facts))}", "  ")
        if unit.ratios:
            ratios = ", ".join(f"{name} {count}" for name, count in unit.ratios)
            yield from _wrapped(f"in use: {ratios}", "    ")


def _paired(
    names: tuple[str, ...], checks: tuple[str, ...]
) -> Iterator[tuple[str, str]]:
    for i, name in enumerate(names):
        yield name, checks[i] if i < len(checks) else ""


def _unread(seen: Snapshot) -> Iterator[str]:
    if not seen.unread:
        return
    yield "Not read (this is not the same as none)"
    for line in seen.unread:
        yield from _wrapped(line, "  ")


def clearing_caution() -> str:
    """The caution shown before codes are cleared."""
    return "\n".join(_wrapped(CAUTIONS["clearing"], "  "))
