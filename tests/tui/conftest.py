"""A made-up drive for the screen: a source and a reader that live in memory.

Curves, not physics: what is tested here is drawing and keys. The real engine and the
simulated car are tested through the whole screen in `test_drive.py`.
"""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from bankwise.adapters.pids import Layout
from bankwise.adapters.records import (
    AdapterInfo,
    Exchange,
    FlagRecord,
    Header,
    MarkRecord,
    Record,
)
from bankwise.adapters.source import LinkState, Recording
from bankwise.signals.columns import Columns, Floats, Mark
from bankwise.signals.severity import Severity
from bankwise.signals.thresholds import DEFAULTS
from bankwise.tui.app import BankwiseApp
from bankwise.tui.feed import Feed
from bankwise.tui.settings import Settings
from bankwise.tui.snapshot import Flag, Link, Look, Snapshot
from bankwise.tui.timeview import TimeView

if TYPE_CHECKING:
    from textual.pilot import Pilot

LONGEST_S = 120.0
"""Longest wait for what a test waits for; far from usual. Our choice."""

HEADER = Header("id", "2026-03-01T10:00:00Z", "test", AdapterInfo("made up", "6"))


def series(length_s: float, hz: float, value: Callable[[Floats], Floats]) -> Any:
    """Times, values and intervals of a made-up signal."""
    t = np.arange(0.0, length_s, 1 / hz)
    return t, value(t), np.full(len(t), 0.05)


def make_columns(length_s: float) -> Columns:
    """A two-bank engine whose second bank subtracts fuel."""
    columns = Columns(end_s=length_s)

    def switching(phase: float) -> Callable[[Floats], Floats]:
        return lambda t: 0.45 + 0.4 * np.tanh(3 * np.sin(6.0 * t + phase))

    for name, hz, value in (
        ("rpm", 10, lambda t: 1500 + 700 * np.sin(t / 9)),
        ("load_pct", 2, lambda t: 45 + 20 * np.sin(t / 7)),
        ("speed_kmh", 2, lambda t: 60 + 30 * np.sin(t / 20)),
        ("ect_c", 0.2, lambda t: np.minimum(70 + t / 4, 90)),
        ("maf_gps", 10, lambda t: 18 + 9 * np.sin(t / 7)),
        ("o2_b1s1_v", 10, switching(0.0)),
        ("o2_b2s1_v", 10, switching(1.3)),
        ("o2_b1s2_v", 5, lambda t: 0.7 + 0.05 * np.sin(t / 5)),
        ("o2_b2s2_v", 5, lambda t: 0.3 + 0.08 * np.sin(t / 6)),
        ("stft_b1_pct", 2, lambda t: 2 * np.sin(t / 2)),
        ("stft_b2_pct", 2, lambda t: -6 + 2 * np.sin(t / 2)),
    ):
        columns.extend(name, *series(length_s, hz, value))
    columns.marks.append(Mark(length_s / 2, "at the lights"))
    return columns


class MadeUpTicks:
    """Derived signals of the made-up drive."""

    def __init__(self, length_s: float) -> None:
        self.ticks = np.arange(0.0, length_s, 0.5)
        t = self.ticks
        on = np.ones(len(t))
        self._values = {
            "total_trim_b1_pct": 9 + 2 * np.sin(t / 2),
            "total_trim_b2_pct": -11 + 2 * np.sin(t / 2),
            "state": 3 * on,
            "warm": on,
            "closed_trim_b1_pct": 9 + 2 * np.sin(t / 2),
            "closed_trim_b2_pct": -11 + 2 * np.sin(t / 2),
            "status_b1": 2 * on,
            "status_b2": 8 * on,
            "rpm": 1500 + 700 * np.sin(t / 50),
            "load_pct": 45 + 20 * np.sin(t / 40),
            "map_kpa": 40 * on,
        }

    def __getitem__(self, name: str) -> Floats:
        return self._values[name]

    def why(self, name: str) -> str:
        """The made-up drive has no reasons."""
        return ""


def make_flag(at_s: float, until_s: float, **changes: Any) -> Flag:
    """A flag about bank 2 with all its words."""
    values: dict[str, Any] = {
        "id": "mirror-trims",
        "about": "B2",
        "severity": Severity.ACT,
        "text": "B2 subtracts 11.0 % while B1 adds 9.0 %.",
        "first_s": at_s,
        "last_s": until_s,
        "total_s": until_s - at_s,
        "spans": ((at_s, until_s),),
        "active": True,
        "does_not_prove": "Not that the injectors are bad.",
        "causes": ("blocked exhaust", "late cam"),
        "next": "Measure backpressure on both banks.",
    }
    return Flag(**(values | changes))


def make_shot(length_s: float = 90.0, **changes: Any) -> Snapshot:
    """A snapshot of the made-up drive at its end."""
    values: dict[str, Any] = {
        "now_s": length_s,
        "columns": make_columns(length_s),
        "ticks": MadeUpTicks(length_s),
        "flags": (make_flag(length_s * 0.7, length_s),),
        "link": Link(
            "simulated", "up", "11-bit CAN, 500 kbit/s", "drive.jsonl", 120_000, 85.0
        ),
        "exchanges_hz": 41.0,
    }
    return Snapshot(**(values | changes))


def make_look(**changes: Any) -> Look:
    """The screen's state as shipped."""
    values: dict[str, Any] = {"view": TimeView(), "lanes": Settings().lanes}
    return Look(**(values | changes))


@dataclass
class MadeUpSource:
    """A source whose clock stands where the test puts it."""

    kind: str = "simulated"
    header: Header | None = HEADER
    state: LinkState = LinkState.UP
    status: str = "11-bit CAN, 500 kbit/s"
    recording: Recording = field(
        default_factory=lambda: Recording(Path("drive.jsonl"), 120_000, 85.0)
    )
    at_s: float = 90.0
    waiting: list[Record] = field(
        default_factory=lambda: [Exchange(0.0, "010C", ("7E804410C1AF8",), 0.03)]
    )
    marks: list[tuple[str, str | None]] = field(default_factory=list)
    noted: list[FlagRecord] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    wanted: Mapping[str, float] | None = None
    started: bool = False
    stopped: bool = False

    def start(self) -> None:
        """Begins."""
        self.started = True

    def drain(self) -> list[Record]:
        """What is waiting."""
        out, self.waiting = self.waiting, []
        return out

    def mark(self, text: str, tag: str | None = None) -> None:
        """Remembers and hands back the remark."""
        self.marks.append((text, tag))
        self.waiting.append(MarkRecord(self.at_s, text, tag))

    def note(self, record: FlagRecord) -> None:
        """Remembers what the person was told."""
        self.noted.append(record)

    def ask(self, *requests: str) -> None:
        """Remembers what was asked."""
        self.asked.extend(requests)

    def want(self, rates: Mapping[str, float] | None) -> None:
        """Remembers the rates."""
        self.wanted = rates

    def now(self) -> float:
        """Where the test put the clock."""
        return self.at_s

    def stop(self) -> None:
        """Closed."""
        self.stopped = True


class MadeUpReader:
    """Ignores records but marks; its columns are the made-up drive."""

    def __init__(self, length_s: float = 90.0) -> None:
        self.columns = make_columns(length_s)
        self.layout = Layout.TWO_BANKS
        flag = make_flag(length_s * 0.7, length_s)
        rule = SimpleNamespace(
            does_not_prove=flag.does_not_prove,
            causes=flag.causes,
            next=flag.next,
            caution="",
            source="made up",
            limits=("imbalance_pct",),
            hold="pattern_hold_s",
        )
        fields = ("id", "about", "severity", "text", "first_s", "last_s")
        more = ("total_s", "spans", "active")
        span = SimpleNamespace(
            rule=rule, **{name: getattr(flag, name) for name in fields + more}
        )
        cause = SimpleNamespace(
            id="bank-breathes-less",
            about="B2",
            share=0.6,
            for_=("mirror-trims on B2",),
            against=("no cam code",),
            next="Measure backpressure.",
        )
        unsaid = SimpleNamespace(about="B1S1", what="response", why="sampled at 10 Hz")
        self.engine = SimpleNamespace(
            frame=MadeUpTicks(length_s),
            flags=[span],
            thresholds=DEFAULTS,
            explanations=lambda: [cause],
            figures=lambda: {},
            cannot_tell=lambda: [unsaid],
        )
        self.events: list[Any] = []

    def feed(self, records: list[Record]) -> list[Any]:
        """Keeps the marks; hands out the events the test put there."""
        self.columns.marks += [
            Mark(r.t, r.text, r.tag or "") for r in records if isinstance(r, MarkRecord)
        ]
        out, self.events = self.events, []
        return out

    def finish(self) -> list[Any]:
        """Nothing more."""
        return []

    def holes(self) -> list[tuple[float, float]]:
        """No hole."""
        return []


@pytest.fixture(name="until")
def _until() -> Callable[[Pilot[int], Callable[[], object]], Awaitable[None]]:
    """Lets the screen live until something holds; a slow machine takes longer."""

    async def wait(pilot: Pilot[int], condition: Callable[[], object]) -> None:
        end = time.monotonic() + LONGEST_S
        while not condition():
            assert time.monotonic() < end, "it never came true"
            await pilot.pause(0.02)

    return wait


@pytest.fixture(name="source")
def _source() -> MadeUpSource:
    return MadeUpSource()


@pytest.fixture(name="reader")
def _reader() -> MadeUpReader:
    return MadeUpReader()


@pytest.fixture(name="app")
def _app(source: MadeUpSource, reader: MadeUpReader, tmp_path: Path) -> BankwiseApp:
    return BankwiseApp(
        source,
        sessions_dir=tmp_path,
        choices=tmp_path / "screen.json",
        make_feed=lambda s: Feed(s, lambda _header: reader),
        quiet=True,
    )


@pytest.fixture(name="shot")
def _shot() -> Snapshot:
    return make_shot()


@pytest.fixture(name="make_shot")
def _make_shot() -> Callable[..., Snapshot]:
    return make_shot


@pytest.fixture(name="make_look")
def _make_look() -> Callable[..., Look]:
    return make_look


@pytest.fixture(name="make_flag")
def _make_flag() -> Callable[..., Flag]:
    return make_flag
