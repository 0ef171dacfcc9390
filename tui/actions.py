"""What the keys do, by the names in the key table, and what panes may ask for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from textual.binding import Binding

from bankwise.signals.remarks import AT_TAG
from bankwise.tui import playing, view_actions
from bankwise.tui.feed_kinds import Playing
from bankwise.tui.help import Help
from bankwise.tui.intents import carry_out, keep, open_source
from bankwise.tui.key_answers import answer
from bankwise.tui.keys import KEYS, Key
from bankwise.tui.lane_chooser import LaneChooser
from bankwise.tui.messages import ListSessions
from bankwise.tui.panes.table import PANES
from bankwise.tui.prompts import Leave, Prompt
from bankwise.tui.snapshot import PaneState, Snapshot
from bankwise.tui.start import Start
from bankwise.tui.themes import PALETTES, next_theme
from bankwise.tui.timeview import TimeView
from bankwise.tui.words import clock, parse_clock, span

if TYPE_CHECKING:
    from bankwise.tui.app import BankwiseApp

Arg = float | str | None
_WITH_LANES = ("road", "review")
Action = Callable[["BankwiseApp", Arg], None]


def _replay(app: BankwiseApp) -> Playing | None:
    source = app.feed.source if app.feed is not None else None
    return source if isinstance(source, Playing) else None


def _set_view(app: BankwiseApp, view: TimeView) -> None:
    app.look = replace(app.look, view=view)


def _say_elsewhere(app: BankwiseApp, text: str) -> None:
    """Says what the lanes would show, where there are none to show it."""
    if app.pane_id not in _WITH_LANES:
        app.say(text)


def _situation(app: BankwiseApp, arg: Arg) -> None:
    if str(arg) not in PANES:
        app.say("not part of this version")
        return
    app.pane_id = str(arg)
    if app.pane_id == "sessions" and not app.files and not app.viewer:
        carry_out(app, ListSessions())


def _hold(app: BankwiseApp, _arg: Arg) -> None:
    replay = _replay(app)
    if replay is not None and not app.look.view.held:
        playing.toggle(replay)
    elif app.shot is not None:
        _set_view(app, app.look.view.hold(app.shot.now_s))


def _scroll(app: BankwiseApp, arg: Arg) -> None:
    if app.shot is not None and isinstance(arg, float):
        _set_view(app, view_actions.scroll(app.look.view, arg, app.shot))


def _zoom(app: BankwiseApp, arg: Arg) -> None:
    if app.shot is not None and isinstance(arg, int | float):
        view = app.look.view.zoom(int(arg), app.shot.now_s)
        if view == app.look.view:
            return
        _set_view(app, view)
        words = f"window {span(view.span_s)}, front sensors {span(view.short_s)}"
        _say_elsewhere(app, words)
        keep(app)


def _cursor(app: BankwiseApp, _arg: Arg) -> None:
    if app.shot is not None:
        view = app.look.view.toggle_cursor(app.shot.now_s)
        _set_view(app, view)
        at = "away" if view.cursor_s is None else f"at {clock(view.cursor_s, True)}"
        _say_elsewhere(app, f"cursor {at}")


def _anchor(app: BankwiseApp, _arg: Arg) -> None:
    if app.shot is not None:
        view = app.look.view.drop_anchor(app.shot.now_s)
        _set_view(app, view)
        from_ = view.anchor_s
        at = "no more" if from_ is None else f"from {clock(from_, True)}"
        _say_elsewhere(app, f"measuring {at}")


def _jump(app: BankwiseApp, arg: Arg) -> None:
    if app.shot is None or not isinstance(arg, int | float):
        return
    view = view_actions.jump(app.look.view, arg > 0, app.shot)
    if view is app.look.view:
        app.say("no flag or mark further on" if arg > 0 else "no flag or mark before")
    elif view.cursor_s is not None:
        _say_elsewhere(app, f"at {clock(view.cursor_s, tenths=True)}")
    _set_view(app, view)


def _to_start(app: BankwiseApp, _arg: Arg) -> None:
    if app.shot is not None:
        _set_view(app, view_actions.to_start(app.look.view, app.shot))


def _to_now(app: BankwiseApp, _arg: Arg) -> None:
    _set_view(app, app.look.view.back_to_now())


def _go_to(app: BankwiseApp, _arg: Arg) -> None:
    def go(text: str | None) -> None:
        t = parse_clock(text) if text else None
        shot = app.shot
        if text and t is None:
            app.say(f"{text!r} is not a time: 90, 1:30 or 1:02:03")
        if t is None or shot is None:
            return
        replay = _replay(app)
        if replay is not None and t > replay.now():
            replay.seek(min(t, replay.duration_s))
            _to_now(app, None)
        else:
            _set_view(app, app.look.view.show(min(t, shot.now_s), shot.now_s))

    app.push_screen(Prompt("Go to which moment? (m:ss)"), go)


def _mark(app: BankwiseApp, _arg: Arg) -> None:
    if app.feed is not None:
        count = len(app.shot.columns.marks) + 1 if app.shot else 1
        app.feed.source.mark(f"mark {count}")
        app.say(f"mark {count} set at {clock(app.feed.source.now(), tenths=True)}")


def _note(app: BankwiseApp, _arg: Arg) -> None:
    if app.feed is None:
        return
    pressed = app.feed.source.now()

    def write(text: str | None) -> None:
        if text and app.feed is not None:
            app.feed.source.mark(text, f"{AT_TAG}{pressed:.1f}")

    app.push_screen(Prompt(f"Note for {clock(pressed, tenths=True)}"), write)


def _open_newest(app: BankwiseApp, _arg: Arg) -> None:
    if app.shot is None or not app.shot.flags:
        app.say("no flag so far")
        return
    flag = (*app.shot.active, *app.shot.flags)[0]
    app.pane_id = "flags"
    app.states["flags"] = PaneState(app.shot.flags.index(flag), opened=True)


def _acknowledge(app: BankwiseApp, _arg: Arg) -> None:
    up = {flag.key for flag in app.shot.active} if app.shot is not None else set()
    fresh = up - app.look.acknowledged
    app.look = replace(app.look, acknowledged=app.look.acknowledged | up)
    if fresh:
        app.say(f"seen: {_flags(len(fresh))}; stop flags stay in sight")
    else:
        app.say("every flag that is up was seen before" if up else "no flag is up")


def _flags(count: int) -> str:
    return "1 flag" if count == 1 else f"{count} flags"


def _bell(app: BankwiseApp, _arg: Arg) -> None:
    app.look = replace(app.look, bell=not app.look.bell)
    app.say("the bell rings on act and stop" if app.look.bell else "the bell is off")
    keep(app)


def _lanes(app: BankwiseApp, _arg: Arg) -> None:
    def take(choice: tuple[tuple[str, ...], frozenset[str]] | None) -> None:
        if choice is not None:
            app.look = replace(app.look, lanes=choice[0], tall=choice[1])
            keep(app)

    app.push_screen(LaneChooser(app.look.lanes, app.look.tall), take)


def _sweep(app: BankwiseApp, _arg: Arg) -> None:
    app.look = replace(app.look, sweep=not app.look.sweep)
    app.say("sweep: a write head moves" if app.look.sweep else "scroll: traces move")
    keep(app)


def _step(app: BankwiseApp, arg: Arg) -> None:
    replay = _replay(app)
    if replay is None or app.shot is None:
        app.say("steps are for replays; here ← and → look back")
    elif isinstance(arg, int | float):
        playing.step(replay, int(arg))


def _speed(app: BankwiseApp, arg: Arg) -> None:
    replay = _replay(app)
    if replay is None:
        app.say("only a replay has a speed")
    elif isinstance(arg, int | float):
        app.say(f"replay ×{playing.change_speed(replay, int(arg)):g}")


def pane_act(app: BankwiseApp, name: str) -> None:
    """Hands a key to the situation shown, if it answers keys."""
    if app.pane.act is None or app.shot is None:
        return
    state, intent = app.pane.act(name, app.shot, app.pane_look())
    app.states[app.pane_id] = state
    if intent is not None:
        carry_out(app, intent)


def watch_panes(app: BankwiseApp, shot: Snapshot) -> None:
    """Lets situations go on with what a person began in them, shown or not."""
    for pane in PANES.values():
        state = app.states.get(pane.id)
        if pane.watch is None or state is None or not state.tag:
            continue
        app.states[pane.id], intent = pane.watch(shot, state)
        if intent is not None:
            carry_out(app, intent)


def _pick(app: BankwiseApp, arg: Arg) -> None:
    pane_act(app, "up" if isinstance(arg, int | float) and arg < 0 else "down")


def _theme(app: BankwiseApp, _arg: Arg) -> None:
    app.palette = PALETTES[next_theme(app.palette.name)]
    app.theme = f"bankwise-{app.palette.name}"
    app.say(f"theme {app.palette.name}")
    keep(app)


def _help(app: BankwiseApp, _arg: Arg) -> None:
    app.push_screen(Help(app.pane))


def _palette(app: BankwiseApp, _arg: Arg) -> None:
    app.action_command_palette()


def _leave(app: BankwiseApp, _arg: Arg) -> None:
    if any(isinstance(screen, Leave) for screen in app.screen_stack):
        return
    recording = app.shot is not None and app.shot.link.file and not app.shot.link.error
    if not recording:
        app.end()
        return

    def answer(leave: bool | None) -> None:
        if leave:
            app.end()

    app.push_screen(Leave(app.shot.link.file if app.shot else ""), answer)


def start(app: BankwiseApp, _arg: Arg) -> None:
    """Asks what to watch."""

    def chosen(open_it: Callable[[], object] | None) -> None:
        if open_it is not None:
            open_source(app, open_it)
        elif app.feed is None:
            app.exit(0)

    app.push_screen(Start(app.sessions_dir), chosen)


ACTIONS: dict[str, Action] = {
    "situation": _situation,
    "start": start,
    "hold": _hold,
    "scroll": _scroll,
    "zoom": _zoom,
    "cursor": _cursor,
    "anchor": _anchor,
    "jump": _jump,
    "go_to": _go_to,
    "to_start": _to_start,
    "to_now": _to_now,
    "mark": _mark,
    "note": _note,
    "open_newest": _open_newest,
    "acknowledge": _acknowledge,
    "bell": _bell,
    "lanes": _lanes,
    "sweep": _sweep,
    "step": _step,
    "speed": _speed,
    "pick": _pick,
    "open": lambda app, _: pane_act(app, "open"),
    "close": lambda app, _: pane_act(app, "close"),
    "theme": _theme,
    "help": _help,
    "palette": _palette,
    "leave": _leave,
}
"""What every key of the table does."""

NOT_FOR_VIEWERS = frozenset(("start", "mark", "note"))
"""Who only looks must not change the session or open another way to the car."""


def perform(app: BankwiseApp, key: Key) -> None:
    """Does what a key means."""
    if app.viewer and key.action in NOT_FOR_VIEWERS:
        app.say("a viewer only looks")
        return
    answer(app, key, lambda: ACTIONS[key.action](app, key.arg))


BINDINGS: list[Binding | tuple[str, str] | tuple[str, str, str]] = [
    Binding(
        ",".join(key.keys),
        f"act({place})",
        key.words,
        show=False,
        # Leaving must work whatever has the keys.
        priority="ctrl+q" in key.keys,
    )
    for place, key in enumerate(KEYS)
]
"""The key table as Textual wants it."""
