"""Force rich, force lean: both banks get the same stimulus; who follows?

Nobody is judged unless the stimulus was seen. A sensor follows when it stays on the
forced side longer than it does by itself, or when its own bank's trim takes the
stimulus out again. It ignores a stimulus only when that reached the engine for sure,
and it never came to that side at all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from bankwise.signals.guided.case import Case
from bankwise.signals.guided.reading import Answer, answer, longest_stay, trace
from bankwise.signals.guided.script import Finding
from bankwise.signals.guided.stimulus import (
    Window,
    closed,
    corrected,
    snapped,
    swing,
    trim_moved,
    unfit,
)

GAS_HOLD_S = 1.0
"""How long a forced mixture must show at least. Unit: s. Our choice."""
SNAP_HOLD_S = 0.2
"""How long the brief change of a throttle snap must show. Unit: s. Our choice."""
LONGER_GAS, LONGER_SNAP = 2.0, 1.5
"""By which factor a stay must outlast the longest one before. Our choice, because a
loop's own half-periods differ by less."""
SURE_TRIM_PCT = 5.0
"""A trim that moves so far shows that the sensor it listens to has told. Unit: %. Our
choice, above what learning moves in seconds."""
RICH_WITHIN_S, LEAN_WITHIN_S = 1.5, 5.0
"""After a snap: rich with the opening, lean with the closing throttle. Unit: s. Common
practice, no source; the lean part ends with the engine's own run down."""
REAR_S = 30.0
"""What the catalyst may delay a rear sensor. Unit: s. Common practice, no source."""
REAR_FLAT_V = 0.1
"""A rear sensor within this band all the time did not move. Unit: V. Common practice,
no source."""
OTHER_SIDE_SHARE = 0.8
"""Share of the time before on the other side from which a reading counts as parked
there. Our choice."""
QUIET_S = 10.0
LEAST_QUIET_S = 3.0
"""How much of a sensor's own switching must be seen before. Unit: s. Our choice."""

FRONTS, REARS = ("B1S1", "B2S1"), ("B1S2", "B2S2")
RICH, LEAN = "rich", "lean"
_OTHER = {RICH: LEAN, LEAN: RICH}


@dataclass(frozen=True, slots=True)
class _Forced:
    """One direction: its stretch, who answered how, and whether it was fed."""

    step: str
    window: Window
    answers: Mapping[str, Answer] = field(default_factory=dict)
    seen: bool = False


def judge_gas(case: Case) -> tuple[Finding, ...]:
    """What propane and an air leak showed."""
    found: list[Finding] = []
    forced = []
    for step in (RICH, LEAN):
        window = _window(case, step)
        if window is None:
            continue
        why = unfit(case, window, snap=False)
        if why:
            over = math.isfinite(window.end)
            found.append(_not_done(step, why, over=over))
            continue
        forced.append(_gas(case, step, window))
    return (*found, *_told(case, forced))


def judge_snap(case: Case) -> tuple[Finding, ...]:
    """What a snap of the throttle showed."""
    window = _window(case, RICH)
    if window is None:
        return ()
    lean = case.span(LEAN)
    end = window.end + 3.0 if lean is None else lean[1] + 1.0
    whole = replace(window, end=min(end, case.run.until))
    why = unfit(case, whole, snap=True)
    if why:
        return (_not_done("", why, over=lean is not None),)
    at = snapped(case, whole.begin, whole.end)
    if at is None:
        if lean is None or math.isinf(lean[1]):
            return ()
        why = "no snap seen in throttle, speed and airflow"
        return (_not_done("", f"{why}: press the key, then snap", over=True),)
    return _told(case, _snap(case, replace(whole, begin=at, key=at)))


def _not_done(step: str, why: str, *, over: bool) -> Finding:
    what = f"Forced {step}: not" if step else "Not"
    return Finding("engine", f"{what} judged, {why}.", "not-done" if over else "")


def _window(case: Case, step: str) -> Window | None:
    span = case.span(step)
    if span is None:
        return None
    feed = case.span(f"feed-{step}")
    begin = span[0] if feed is None else feed[0]
    settle = case.span("settle") or (begin - QUIET_S, begin)
    stop = min(settle[1], begin)
    return Window(begin, span[0], span[1], (max(settle[0], stop - QUIET_S), stop))


def _longer(case: Case, place: str, window: Window, *, rich: bool) -> float | None:
    """The longest stay that a sensor's own switching can have had, or None."""
    quiet = trace(case, place, *window.quiet)
    if quiet is None or quiet.t[-1] - quiet.t[0] < LEAST_QUIET_S:
        return None
    return longest_stay(quiet, rich)


def _one(case: Case, place: str, window: Window, step: str, hold_s: float) -> Answer:
    rear, rich = place in REARS, step == RICH
    later = REAR_S if rear else 0.0
    end = window.end + later
    following = case.span(f"feed-{_OTHER[step]}") or case.span(_OTHER[step])
    if rear and following is not None and following[0] > window.key:
        end = min(end, following[0])
    own = _longer(case, place, window, rich=rich)
    if own is None:
        return Answer(None, "how it switches by itself was not seen before")
    factor = LONGER_GAS if hold_s >= GAS_HOLD_S else LONGER_SNAP
    seen = trace(case, place, window.begin, end)
    told = answer(seen, window.key, rich, hold_s, factor * own)
    if rear or hold_s < GAS_HOLD_S:
        return told
    return _with_trim(case, place, window, told, rich=rich)


def _with_trim(
    case: Case, place: str, window: Window, told: Answer, *, rich: bool
) -> Answer:
    """The trim of a bank listens to its own front sensor: both must agree."""
    bank = int(place[1])
    moved = trim_moved(case, bank, window)
    if moved is None:
        return told
    sure = max(SURE_TRIM_PCT, 1.5 * swing(case, bank, window))
    against = -moved if rich else moved
    if told.followed and against < 1.0 and not _limit(case, place, window):
        why = f"it went there, but its trim did not answer ({moved:+.1f} %)"
        return replace(told, followed=None, why=why)
    if told.followed is None and told.touched and against >= sure:
        why = f"its trim took the stimulus out by {moved:+.1f} %"
        return replace(told, followed=True, why=why)
    if told.followed is False and against >= sure:
        why = f"it did not reach that side, but its trim moved {moved:+.1f} %"
        return replace(told, followed=None, why=why)
    return told


def _limit(case: Case, place: str, window: Window) -> bool:
    """Whether the trim stood still, as at its limit."""
    name = f"stft_b{place[1]}_pct"
    _, trim = case.samples(name, window.quiet[0], window.end)
    return len(trim) > 3 and bool(np.ptp(trim) < 1.0)


def _gas(case: Case, step: str, window: Window) -> _Forced:
    places = [place for place in (*FRONTS, *REARS) if case.sensor(place)]
    answers = {p: _one(case, p, window, step, GAS_HOLD_S) for p in places}
    seen = any(answers[p].followed for p in places if p in FRONTS) or any(
        corrected(case, bank, window, rich=step == RICH) for bank in case.banks
    )
    return _Forced(step, window, answers, seen)


def _snap(case: Case, window: Window) -> list[_Forced]:
    """Rich with the snap is too short to stand out; the lean part after it does."""
    at = window.begin
    rich = replace(window, end=min(at + RICH_WITHIN_S, case.run.until))
    lean = replace(window, end=min(at + LEAN_WITHIN_S, case.run.until))
    answers: dict[str, dict[str, Answer]] = {RICH: {}, LEAN: {}}
    for place in (*FRONTS, *REARS):
        if not case.sensor(place):
            continue
        late = _one(case, place, lean, LEAN, SNAP_HOLD_S)
        early = _one(case, place, rich, RICH, SNAP_HOLD_S)
        if early.followed is None and (early.touched or early.already):
            # It was rich with the snap; whether by it, its lean part tells.
            if late.followed:
                why = "with the snap, as the lean after it proves"
                early = replace(early, followed=True, why=why)
        elif early.followed and not late.followed:
            why = "it came there, perhaps by itself"
            early = replace(early, followed=None, why=why)
        answers[RICH][place], answers[LEAN][place] = early, late
    return [
        _Forced(RICH, rich, answers[RICH], True),
        _Forced(LEAN, lean, answers[LEAN], True),
    ]


def _told(case: Case, forced: list[_Forced]) -> tuple[Finding, ...]:
    found: list[Finding] = []
    seen: list[_Forced] = []
    for one in forced:
        if one.seen:
            seen.append(one)
        elif math.isfinite(one.window.end):
            unsure = [
                f"{p} {a.why}"
                for p, a in one.answers.items()
                if p in FRONTS and a.followed is None and not (a.touched or a.already)
            ]
            if unsure:
                text = f"Forced {one.step}: cannot tell, {'; '.join(unsure)}."
                found.append(Finding("engine", text))
                continue
            text = (
                f"No sign of a {one.step} mixture in trims or sensors: this direction "
                "was not forced. Feed more, for longer, and make the test again."
            )
            found.append(Finding("engine", text, "not-done"))
    places = dict.fromkeys(place for one in seen for place in one.answers)
    for place in places:
        given = _given(case, place, seen)
        if given:
            found.append(_finding(case, place, given, seen))
    return tuple(found)


def _given(case: Case, place: str, forced: list[_Forced]) -> dict[str, Answer]:
    """A sensor's answers, where one that did not follow is believed or doubted."""
    given = {}
    for one in forced:
        told = one.answers[place]
        over = math.isfinite(one.window.end)
        if not told.followed and not over:
            # While a step runs, only a sensor that has followed has answered.
            continue
        if told.followed is False and place in FRONTS:
            doubt = _doubt(case, place, one)
            if doubt:
                told = replace(told, followed=None, why=doubt)
        given[one.step] = told
    return given


def _doubt(case: Case, place: str, one: _Forced) -> str:
    """Why a front that did not follow is not condemned; empty when it is."""
    rich = one.step == RICH
    others = [p for p, a in one.answers.items() if p in FRONTS and p != place]
    by_other = any(one.answers[p].followed for p in others)
    by_trims = any(
        corrected(case, bank, one.window, rich=rich)
        for bank in case.banks
        if closed(case, bank, *one.window.quiet) is not False
    )
    if not by_other and not by_trims:
        return "nothing else shows that the stimulus reached the engine"
    if case.run.answers.get("same") is False:
        return "its bank did not get the same"
    quiet = trace(case, place, *one.window.quiet)
    parked = quiet is not None and (
        float(np.mean(quiet.on_side(not rich))) >= OTHER_SIDE_SHARE
    )
    if parked and not _rear_contradicts(case, place, one.window, rich=rich):
        word = "lean" if rich else "rich"
        return (
            f"its bank may really be so {word}, no rear sensor contradicts it; feed "
            "more, or prove the mixture first"
        )
    return ""


def _rear_contradicts(case: Case, place: str, window: Window, *, rich: bool) -> bool:
    """Whether the bank's own rear sensor was seen on the forced side."""
    rear = trace(case, f"{place[:3]}2", window.quiet[0], window.end + 5.0)
    if rear is None or len(rear.t) < 3:
        return False
    return bool(np.mean(rear.on_side(rich)) >= 0.3)


def _finding(
    case: Case, place: str, given: Mapping[str, Answer], forced: list[_Forced]
) -> Finding:
    words = "; ".join(_words(step, one) for step, one in given.items())
    text = f"{place} {words}."
    verdicts = [one.followed for one in given.values()]
    if place in REARS:
        return _rear(case, place, text, given, forced)
    if False in verdicts:
        return Finding(place, text, "ignores-forcing")
    if None in verdicts:
        return Finding(place, text)
    if len(given) == 2:
        return Finding(place, text, "answers-forcing")
    return Finding(place, text, "forced-one-way")


def _rear(
    case: Case,
    place: str,
    text: str,
    given: Mapping[str, Answer],
    forced: list[_Forced],
) -> Finding:
    """A catalyst may hide a short stimulus: only a reading that stood still ignores."""
    both = len(given) == 2
    sides = [bool(one.followed) or one.already for one in given.values()]
    if both and all(sides) and any(one.followed for one in given.values()):
        return Finding(place, text, "answers-forcing")
    front = [one.answers.get(f"{place[:3]}1") for one in forced]
    led = len(front) == 2 and all(a is not None and a.followed for a in front)
    seen = trace(case, place, case.run.began, case.run.until)
    still = seen is not None and len(seen.t) > 10 and np.ptp(seen.v) < REAR_FLAT_V
    long = case.run.until - case.run.began >= REAR_S
    known = all(a.followed is False or a.already for a in given.values())
    if led and still and long and known and both:
        more = " It stood still although its bank was forced both ways."
        return Finding(place, text + more, "ignores-forcing")
    return Finding(place, text + " The catalyst may have hidden it: no verdict.")


def _words(step: str, one: Answer) -> str:
    if one.followed is None:
        return f"forced {step}: cannot tell, {one.why}"
    if not one.followed:
        reached = "" if one.extreme is None else f", reached {one.extreme:.2f}"
        return f"forced {step}: did not follow{reached}"
    if one.delay_s is None:
        return f"forced {step}: followed" + (f", {one.why}" if one.why else "")
    least, most = one.delay_s
    when = f"after {least:.1f} to {most:.1f} s" if most > 0 else "as it came on"
    text = f"forced {step}: followed {when}"
    if one.passage_s is not None:
        low, high = (1000 * bound for bound in one.passage_s)
        text += f", passing in {low:.0f} to {high:.0f} ms"
    return text
