"""How a person goes through a guided test: pages, keys, and what each key leads to.

Pure: a snapshot and the page so far in, the next page and an intent out. The page is a
word or a few in the pane's state, so that it can be kept like any other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from bankwise.signals.guided.breathing import DISPLACEMENT
from bankwise.signals.guided.case import Case
from bankwise.signals.guided.conditions import diesel, obstacle
from bankwise.signals.guided.road import FREEZE_FRAME, frame_words
from bankwise.signals.guided.runs import (
    BROKEN,
    END,
    Run,
    answer_tag,
    given_tag,
    jump_tag,
    result_tag,
    runs,
    step_tag,
)
from bankwise.signals.guided.script import Finding, GuidedTest, Step
from bankwise.signals.guided.table import GUIDED, judge, rates, subjects
from bankwise.signals.guided.wiggle import new_jumps
from bankwise.signals.thresholds import DEFAULTS
from bankwise.tui.guided_hands import hands
from bankwise.tui.messages import (
    Intent,
    MarkNow,
    Ring,
    Say,
    Several,
    Touch,
    Want,
)
from bankwise.tui.panes.rows import step as pick
from bankwise.tui.snapshot import PaneState, Snapshot

LIST, SUBJECT, FACT, CARE, RUN, ENDED, RESULT = (
    "",
    "subject",
    "fact",
    "care",
    "run",
    "ended",
    "result",
)
"""The pages, as the pane's state names them."""

WAIT_S = 5.0
"""Longest wait for the last values after a run's end. Unit: s. Our choice, because a
link that is lost brings no more."""
FIRST_LITRES, LITRES_STEP = 2.0, 0.1
CARE_S = 2.0
"""Shortest time that cautions stand on the screen before a test begins, so that no
key that is held or pressed twice leads past them. Unit: s. Our choice."""
_ONLY_LOOK = ("replay", "viewer")

Acted = tuple[PaneState, Intent | None]


@dataclass(frozen=True, slots=True)
class Page:
    """What the pane shows.

    Attributes:
        kind: one of the pages.
        test: id of the guided test, or the number of a run on a result page.
        about: what it is about.
        step: place of the step in the script.
        since: newest jump noted, or when the run was ended. Unit: s.
    """

    kind: str = LIST
    test: str = ""
    about: str = ""
    step: int = 0
    since: float = -math.inf

    @property
    def tag(self) -> str:
        """The page as kept in the pane's state."""
        if self.kind == LIST:
            return ""
        return f"{self.kind}|{self.test}|{self.about}|{self.step}|{self.since}"

    @property
    def guided(self) -> GuidedTest:
        """The test of the page."""
        return GUIDED[self.test]

    @property
    def now(self) -> Step:
        """The present step."""
        return self.guided.steps[self.step]


def page_of(state: PaneState) -> Page:
    """The page that a pane's state keeps."""
    parts = state.tag.split("|")
    if len(parts) != 5:
        return Page()
    return Page(parts[0], parts[1], parts[2], int(parts[3]), float(parts[4]))


def _at(state: PaneState, page: Page) -> PaneState:
    return replace(state, tag=page.tag, first_row=0)


def case_of(run: Run, shot: Snapshot) -> Case:
    """A run with the session's data so far."""
    limits = getattr(shot.ticks, "thresholds", DEFAULTS)
    return Case(run, shot.columns, shot.ticks, limits, shot.now_s)


def the_run(page: Page, shot: Snapshot) -> Run:
    """The run of a page; an empty one before its first mark came back."""
    found = runs(shot.columns.marks)
    if page.kind == RESULT:
        number = int(page.test)
        return found[number] if number < len(found) else Run("", "engine", {})
    mine = [r for r in found if (r.test, r.about) == (page.test, page.about)]
    if mine and (page.kind == ENDED or not mine[-1].ended):
        return mine[-1]
    return Run(page.test, page.about, {})


def left_s(page: Page, shot: Snapshot) -> float:
    """How long the present step should still last. Unit: s."""
    span = the_run(page, shot).span(page.now.id)
    begun = shot.now_s if span is None else span[0]
    return max(page.now.least_s - (shot.now_s - begun), 0.0)


def in_the_way(page: Page, shot: Snapshot) -> str:
    """What must be put right before going on; empty when nothing.

    The last step can always be ended, and a question always answered.
    """
    if page.now.asks or page.step + 1 == len(page.guided.steps):
        return ""
    if shot.link.state == "lost":
        return "no answer: is the key on, the cable in?"
    return obstacle(page.guided, case_of(the_run(page, shot), shot))


def rows(shot: Snapshot) -> list[GuidedTest | Run]:
    """The list: every test, then the runs of this session, newest first."""
    return [*GUIDED.values(), *reversed(runs(shot.columns.marks))]


def choices(page: Page, shot: Snapshot) -> tuple[str, ...]:
    """What the page's test can be about on this car."""
    return subjects(page.guided, case_of(Run("", "engine", {}), shot))


def act(name: str, shot: Snapshot, state: PaneState) -> Acted:
    """The next page after a key, and what it leads to."""
    page = page_of(state)
    if page.kind in (RUN, ENDED):
        return _run(name, page, shot, state)
    if name == "close":
        back = {CARE: SUBJECT, FACT: SUBJECT}.get(page.kind, LIST)
        if back == SUBJECT and len(choices(page, shot)) < 2:
            back = LIST
        if back == LIST and page.test in GUIDED:
            state = replace(state, picked=list(GUIDED).index(page.test))
        return _at(state, replace(page, kind=back)), None
    if page.kind == RESULT:
        by = {"up": -2, "down": 2}.get(name, 0)
        return replace(state, first_row=max(state.first_row + by, 0)), None
    if page.kind == FACT:
        return _fact(name, page, shot, state)
    if page.kind == CARE:
        return _care(name, page, shot, state)
    if page.kind == SUBJECT:
        return _subject(name, page, shot, state)
    return _list(name, shot, state)


def _list(name: str, shot: Snapshot, state: PaneState) -> Acted:
    found = rows(shot)
    moved = pick(state, name, len(found))
    if name != "open":
        return replace(moved, tag=""), None
    state = replace(state, picked=min(state.picked, len(found) - 1))
    row = found[state.picked]
    if isinstance(row, Run):
        number = len(found) - 1 - state.picked
        return _at(state, Page(RESULT, str(number))), None
    if shot.link.kind in _ONLY_LOOK:
        return state, Say("only who drives makes a test: pick a run below to see it")
    if row.spark and diesel(case_of(Run("", "engine", {}), shot)):
        return state, Say("a diesel runs lean on purpose: this test cannot judge it")
    page = Page(SUBJECT, row.id)
    about = choices(page, shot)
    if len(about) == 0:
        return state, Say("no sensor for this test has told anything yet")
    if len(about) > 1:
        # The place in the list comes back from the test's own place.
        return _at(replace(state, picked=0), page), None
    return _chosen(replace(page, about=about[0]), shot, state), None


def _subject(name: str, page: Page, shot: Snapshot, state: PaneState) -> Acted:
    about = choices(page, shot)
    moved = pick(state, name, len(about))
    if name != "open" or not about:
        return replace(moved, tag=page.tag), None
    chosen = about[min(state.picked, len(about) - 1)]
    place = list(GUIDED).index(page.test)
    state = replace(state, picked=place)
    return _chosen(replace(page, about=chosen), shot, state), None


def _chosen(page: Page, shot: Snapshot, state: PaneState) -> PaneState:
    asked = DISPLACEMENT in page.guided.wants and not _litres_known(shot)
    kind = FACT if asked else CARE
    since = FIRST_LITRES if asked else math.nan
    shown = round(10 * shot.now_s)
    return _at(state, replace(page, kind=kind, since=since, step=shown))


def _litres_known(shot: Snapshot) -> bool:
    if shot.columns.vehicle.displacement_l is not None:
        return True
    return any(f":{DISPLACEMENT}:" in mark.tag for mark in shot.columns.marks)


def _fact(name: str, page: Page, shot: Snapshot, state: PaneState) -> Acted:
    by = {"up": LITRES_STEP, "down": -LITRES_STEP}.get(name, 0.0)
    since = round(min(max(page.since + by, 0.6), 9.0), 1)
    kind = CARE if name == "open" else FACT
    shown = round(10 * shot.now_s)
    return _at(state, replace(page, kind=kind, since=since, step=shown)), None


def _care(name: str, page: Page, shot: Snapshot, state: PaneState) -> Acted:
    if name != "open":
        by = {"up": -1, "down": 1}.get(name, 0)
        return replace(state, first_row=max(state.first_row + by, 0)), None
    if shot.now_s - page.step / 10 < CARE_S:
        return state, Say("read the cautions first")
    test = page.guided
    intents: list[Intent] = [
        MarkNow(f"{key}: {value}", given_tag(test.id, key, value))
        for key, value in _given(page, shot).items()
    ]
    intents.append(Want(rates(test, page.about)))
    begun = replace(page, kind=RUN, step=0, since=-math.inf)
    intents.append(_begin(begun))
    return _at(state, begun), Several(tuple(intents))


def _given(page: Page, shot: Snapshot) -> dict[str, str]:
    """Facts that the run must keep, so that a replay judges by the same."""
    found = {}
    wants = page.guided.wants
    if DISPLACEMENT in wants and math.isfinite(page.since):
        found[DISPLACEMENT] = f"{page.since:g}"
    elif DISPLACEMENT in wants:
        for run in runs(shot.columns.marks):
            if DISPLACEMENT in run.given:
                found[DISPLACEMENT] = run.given[DISPLACEMENT]
    if FREEZE_FRAME in wants and shot.evidence is not None:
        for frame in shot.evidence.frames[:1]:
            found[FREEZE_FRAME] = frame_words(frame.values)
    return {name: value for name, value in found.items() if value}


def _begin(page: Page) -> MarkNow:
    where = "" if page.about == "engine" else f" ({page.about})"
    text = f"{page.guided.title}{where}: {page.now.say}"
    return MarkNow(text, step_tag(page.test, page.now.id, page.about))


def _hand(page: Page, shot: Snapshot) -> Intent:
    lines = hands(page.test, page.now.id, page.about)
    if shot.link.kind != "simulated":
        return Say("this key works on the simulated car only")
    return Touch(lines) if lines else Say("nothing to do by hand in this step")


def _run(name: str, page: Page, shot: Snapshot, state: PaneState) -> Acted:
    test = page.guided
    if page.kind == ENDED:
        return state, None
    if name == "close":
        broken = Finding(page.about, "", "not-done")
        intents = (
            MarkNow(f"{test.title}: broken off", step_tag(test.id, BROKEN, page.about)),
            MarkNow(f"{test.title}: not done", result_tag(test.id, broken)),
            Want(None),
            Say("broken off: it says nothing"),
        )
        return _at(state, Page()), Several(intents)
    if name == "hand":
        return state, _hand(page, shot)
    asks = page.now.asks
    if asks and name == "open":
        return state, Say("answer it: y for yes, n for no")
    if name not in (("yes", "no") if asks else ("open",)):
        return state, None
    wrong = in_the_way(page, shot)
    if wrong:
        return state, Say(wrong)
    left = left_s(page, shot)
    if left > 0:
        return state, Say(f"{math.ceil(left)} s more")
    first: tuple[Intent, ...] = ()
    if asks:
        tag = answer_tag(test.id, page.now.id, page.about, yes=name == "yes")
        first = (MarkNow(f"{page.now.say} {name}", tag),)
    if page.step + 1 < len(test.steps):
        following = replace(page, step=page.step + 1)
        return _at(state, following), Several((*first, _begin(following)))
    end = MarkNow(f"{test.title}: ended", step_tag(test.id, END, page.about))
    ended = replace(page, kind=ENDED, since=shot.now_s)
    return _at(state, ended), Several((*first, end, Want(None)))


def watch(shot: Snapshot, state: PaneState) -> Acted:
    """What happens by itself: jumps are noted and rung for, results written down."""
    page = page_of(state)
    if page.kind == RUN and page.guided.jumps:
        return _jumps(page, shot, state)
    if page.kind != ENDED:
        return state, None
    run = the_run(page, shot)
    waited = shot.now_s - page.since
    if not run.ended:
        # The mark has not come back yet; a source that ended brings none.
        return (_at(state, Page()), None) if waited > WAIT_S else (state, None)
    if shot.columns.end_s <= run.until and waited <= WAIT_S:
        return state, None
    number = runs(shot.columns.marks).index(run)
    found = judge(case_of(run, shot))
    marks = tuple(
        MarkNow(finding.text, result_tag(page.test, finding))
        for finding in found
        if finding.outcome
    )
    return _at(state, Page(RESULT, str(number))), Several(marks) if marks else None


def _jumps(page: Page, shot: Snapshot, state: PaneState) -> Acted:
    at = new_jumps(case_of(the_run(page, shot), shot), page.since)
    if not len(at):
        return state, None
    marks = [
        MarkNow(f"{page.about} jumped", jump_tag(page.test, page.about, float(t)))
        for t in at
    ]
    seen = replace(page, since=float(at[-1]))
    return replace(state, tag=seen.tag), Several((*marks, Ring()))
